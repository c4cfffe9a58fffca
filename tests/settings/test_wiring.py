"""Inputs of every means: what does not fit a panel or the unit is told with its line and the reason."""

from pathlib import Path

import pytest

from tests.settings.plans import Case, changed, refusals

CARRIED = (
    "a list out of high-level, high-high-level, low-level, redundant-off, control-power, pump-power, overload, "
    "over-temperature, seal-leak, phase-fault, pump-fault, air-supply"
)
SAY = (
    'is missing; "open" or "closed": where the contact stands in an alarm, as a contact test shows'
)


def second(what: str) -> tuple[str, str]:
    """The sound plan's alarm-power input (line 21 to 22) replaced by other keys."""
    return 'means = "alarm-power"\nline = 27', what


TWO_PUMPS = ('kind = "sewage-ejector"', 'kind = "sewage-ejector"\npumps = 2')
"""One line more before the inputs: the first input begins at 14, the second at 21, the last one at 52."""
RUNNING = ('means = "pump-running"\nline = 5', 'means = "pump-running"\nline = 5\npump = 1')

PANEL = [
    Case("a unit's input at a panel", *second('means = "unit-power"\nline = 27'), [
        'plan.toml:21: panel.input.means: "unit-power" is of the whole site: it belongs to [[unit.input]]'
    ]),
    Case("a panel's input at the unit", 'means = "unit-power"', 'means = "cable-loop"', [
        'plan.toml:57: unit.input.means: "cable-loop" belongs to a panel: [[panel.input]]; here stands one of '
        '"unit-power", "wetting-supply", "on-generator", "unit-button"'
    ]),
    Case("a pump at the unit", 'means = "unit-power"', 'means = "unit-power"\npump = 1', [
        "plan.toml:58: unit.input.pump: belongs to a panel; the unit has no pump; take it out"
    ]),
    Case("two supplies of the unit", 'means = "wetting-supply"', 'means = "unit-power"', [
        'plan.toml:61: unit.input.means: "unit-power" is used twice, first on line 57; '
        "the unit has one input for each means"
    ]),
    Case("a panel called unit", 'id = "tank"', 'id = "unit"', [
        'plan.toml:9: panel.id: is "unit", and that is where the unit\'s own inputs belong; any other id'
    ]),
    Case("a pump's number on a simplex", *RUNNING, [
        "plan.toml:55: panel.input.pump: this panel has one pump; take it out, or write pumps = 2 at the panel"
    ]),
    Case("a pump's number on what is of no pump", "line = 27", "line = 27\npump = 1", [
        "plan.toml:23: panel.input.pump: says nothing about alarm-power, which is of no single pump; take it out"
    ]),
    Case("no pump's number on a duplex", *TWO_PUMPS, [
        "plan.toml:53: panel.input.pump: is missing: this panel has 2 pumps; 1 to 2, or 0 where one contact "
        "speaks of all"
    ]),
    Case("alternates on a simplex", 'name = "Tank"', 'name = "Tank"\nalternates = true', [
        "plan.toml:11: panel.alternates: one pump cannot take turns; take it out, or write pumps = 2"
    ]),
    Case("too many pumps", 'name = "Tank"', 'name = "Tank"\npumps = 5', [
        "plan.toml:11: panel.pumps: is out of bounds; 1 to 4"
    ]),
    Case("a supply that closes on loss", 'means = "unit-power"', 'means = "unit-power"\nin_alarm = "closed"', [
        'plan.toml:58: unit.input.in_alarm: "closed" is not possible for unit-power; wire it so that the supply '
        'holds the contact closed: a cut wire then tells of itself; leave it out or write "open"'
    ]),
    *(
        Case(f"{means} without its place in an alarm", *second(f'means = "{means}"\nline = 27'), [
            f"plan.toml:20: panel.input.in_alarm: {SAY}"
        ])
        for means in ("high-high-level", "low-level", "redundant-off", "overload", "seal-leak", "phase-fault")
    ),
    Case("a common alarm that carries nothing", *second(
        'means = "common-alarm"\nin_alarm = "open"\nline = 27'
    ), [f"plan.toml:20: panel.input.carries: is missing; what this one contact may mean: {CARRIED}"]),
    Case("a common alarm that carries one thing", *second(
        'means = "common-alarm"\nin_alarm = "open"\nline = 27\ncarries = ["overload"]'
    ), [
        "plan.toml:24: panel.input.carries: names fewer than two things; a contact that means one thing has "
        "that thing as its means"
    ]),
    Case("a common alarm that carries a horn", *second(
        'means = "common-alarm"\nin_alarm = "open"\nline = 27\ncarries = ["overload", "horn-driven"]'
    ), [f'plan.toml:24: panel.input.carries: "horn-driven" is no alarm of a panel; {CARRIED}']),
    Case("a common alarm that carries a thing twice", *second(
        'means = "common-alarm"\nin_alarm = "open"\nline = 27\ncarries = ["overload", "overload"]'
    ), ['plan.toml:24: panel.input.carries: "overload" is named twice; once is enough']),
    Case("carries elsewhere", "line = 17", 'line = 17\ncarries = ["overload"]', [
        "plan.toml:16: panel.input.carries: says nothing about high-level; it belongs to common-alarm; take it out"
    ]),
    Case("an own contact without name and text", *second('means = "other"\nline = 27\nin_alarm = "open"'), [
        'plan.toml:20: panel.input.name: is missing for means = "other"; an id such as "heat-trace", or a preset',
        'plan.toml:20: panel.input.text: is missing for means = "other"; what the alarm says, or a preset',
    ]),
    Case("an own contact of an unknown preset", *second(
        'means = "other"\nline = 27\nin_alarm = "open"\npreset = "dry-well"'
    ), [
        'plan.toml:24: panel.input.preset: "dry-well" is not known; one of "backup-control", "dry-well-flood", '
        '"temperature-low", "generator-fault"; did you mean "dry-well-flood"?'
    ]),
    Case("text on a contact with a means", "line = 27", 'line = 27\ntext = "hello"', [
        "plan.toml:23: panel.input.text: says nothing about alarm-power; it belongs to other; take it out"
    ]),
    Case("a second throw of a supply", "line = 27", "line = 27\nsecond_line = 28", [
        "plan.toml:23: panel.input.second_line: says nothing about alarm-power; it belongs to the contacts of a "
        "relay with two throws (Form C); take it out"
    ]),
    Case("a second throw on a line in use", "line = 17", "line = 17\nsecond_line = 17", [
        'plan.toml:16: panel.input.second_line: 17 of chip "board" is used twice, first on line 15; '
        "each input needs a line of its own"
    ]),
    Case("an input that has the second throw's name", *(
        'line = 17\nin_alarm = "open"\nunpowered = "open"\ncontact_follows = "lamp"\n\n'
        '[[panel.input]]\nmeans = "alarm-power"',
        'line = 17\nsecond_line = 18\nin_alarm = "open"\nunpowered = "open"\ncontact_follows = "lamp"\n\n'
        '[[panel.input]]\nname = "high-level-other"\nmeans = "alarm-power"',
    ), [
        'plan.toml:13: panel.input.name: its second input is called "high-level-other", and another input has '
        "that name; rename one"
    ]),
    Case("a level that pulses", "line = 17", "line = 17\npulsing = true", [
        "plan.toml:16: panel.input.pulsing: says nothing about high-level; it belongs to what senses a supply or "
        "a horn; take it out"
    ]),
    Case("a delay that nothing waits for", 'means = "pump-running"', 'means = "pump-running"\non_delay = "5 s"', [
        "plan.toml:54: panel.input.on_delay: says nothing about pump-running; it belongs to inputs whose alarm is "
        "told; take it out"
    ]),
    Case("a latch without an alarm", 'means = "pump-running"', 'means = "pump-running"\nlatch = true', [
        "plan.toml:54: panel.input.latch: says nothing about pump-running; it belongs to inputs whose alarm is "
        "told; take it out"
    ]),
    Case("a high level that nobody hears of", "line = 17", 'line = 17\npriority = "record-only"', [
        'plan.toml:16: panel.input.priority: "record-only" would keep high-level from everybody; '
        'one of "high", "medium", "low"'
    ]),
    Case("a high high level that moves with its circuit", *second(
        'means = "high-high-level"\nin_alarm = "open"\nline = 27\non_delay = "2 s"'
    ), [
        'plan.toml:24: panel.input.on_delay: "2 s" is too short; at least 5.5 s unless unpowered = "holds": '
        "a contact moves within 5 s of a loss of its power, and that is no level"
    ]),
    Case("a horn that is heard later than it stops", *second(
        'means = "horn-driven"\nline = 27\nclose_time = "1 s"\nopen_time = "500 ms"'
    ), [
        'plan.toml:23: panel.input.close_time: "1 s" is longer than open_time ("500 ms"); at most as long: '
        "this is the way to the alarm, and a contact that is let go faster than it is believed can chatter unheard"
    ]),
    Case("a label of no circuit", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nlabels = { pump = "9" }', [
        'plan.toml:12: panel.labels.pump: is no circuit of this panel; one of "main", "alarm", "control", "pump-1"; '
        'did you mean "pump-1"?'
    ]),
    Case("labels that are no table", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nlabels = "9"', [
        "plan.toml:12: panel.labels: is not written as a table; begin it with [panel.labels]"
    ]),
    Case("a re-alarm of nothing", 'kind = "sewage-ejector"', (
        'kind = "sewage-ejector"\nrealarm = { high-levle = "1 h" }'
    ), [
        'plan.toml:12: panel.realarm.high-levle: there is no condition "high-levle"; such as high-level, '
        'pump-power or overload-2; did you mean "high-level"?'
    ]),
    Case("a re-alarm of own contacts without a name", 'kind = "sewage-ejector"', (
        'kind = "sewage-ejector"\nrealarm = { other = "1 h" }'
    ), ['plan.toml:12: panel.realarm.other: names no input; "other-" and the name of the input']),
    Case("a re-alarm every minute", 'kind = "sewage-ejector"', (
        'kind = "sewage-ejector"\nrealarm = { high-level = "1 min" }'
    ), ['plan.toml:12: panel.realarm.high-level: "1 min" is out of bounds; 15 min to 168 h']),
    Case("a reserve as a number", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nreserve = 4', [
        'plan.toml:12: panel.reserve: is a number without a unit; write it as text with its unit, such as "10 s"'
    ]),
    Case("a run limit of nothing", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nrun_limit = "0 s"', [
        'plan.toml:12: panel.run_limit: "0 s" is out of bounds; 1 min to 24 h'
    ]),
    Case("an unknown feeder", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\ncontrol_fed_by = "pumps"', [
        'plan.toml:12: panel.control_fed_by: "pumps" is not known; one of "alarm", "pump", "own", "unknown"; '
        'did you mean "pump"?'
    ]),
    Case("an unknown medium list", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nmedium_list = "day"', [
        'plan.toml:12: panel.medium_list: there is no call list "day"; one of "all"'
    ]),
]  # fmt: skip


@pytest.mark.parametrize("case", PANEL, ids=lambda case: case.name)
def test_an_input_that_does_not_fit_is_told_with_its_line_and_the_reason(
    tmp_path: Path, case: Case
) -> None:
    assert refusals(tmp_path, changed((case.old, case.new))) == case.says


def test_a_pump_beyond_the_panels_is_told(tmp_path: Path) -> None:
    text = changed(TWO_PUMPS, ("line = 5\n", "line = 5\npump = 3\n"))
    assert refusals(tmp_path, text) == [
        "plan.toml:56: panel.input.pump: 3 is beyond the 2 pumps of this panel; 1 to 2, or 0 for all of them"
    ]


def test_one_pump_has_one_input_for_each_means(tmp_path: Path) -> None:
    more = 'line = 5\npump = 1\n[[panel.input]]\nmeans = "pump-running"\npump = 1\nline = 9\n'
    assert refusals(tmp_path, changed(TWO_PUMPS, ("line = 5\n", more))) == [
        'plan.toml:58: panel.input.means: "pump-running" of pump 1 is used twice, first on line 54; '
        "a panel has one input for each means and pump"
    ]
