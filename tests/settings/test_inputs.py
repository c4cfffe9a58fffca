"""An input of any means gets what the trade usually does where the plan says nothing."""

from pathlib import Path

import pytest

from relayd.core.plan import (
    ALARM_CONTACTS,
    HOUR,
    MINUTE,
    REFERENCES,
    SECOND,
    SUPPLIES,
    UNIT_MEANS,
    FedBy,
    Input,
    Limit,
    Means,
    Panel,
    Position,
    Priority,
    Reach,
    Step,
    Unpowered,
)
from relayd.settings import Loaded
from relayd.settings.inputs import MUST_SAY
from relayd.words import MS
from tests.settings.plans import SOUND, changed, loaded

ALARM_POWER = 'means = "alarm-power"\nline = 27\n'
HELD = 'unpowered = "holds"\n'


def with_input(folder: Path, keys: str, kind: str = "sewage-ejector", **other: str) -> Loaded:
    """The sound plan with its alarm-power input made into another one."""
    pairs = [(ALARM_POWER, f"{keys}line = 27\n"), ("sewage-ejector", kind)]
    return loaded(folder, changed(*pairs, *other.items()))


def made(folder: Path, keys: str, kind: str = "sewage-ejector") -> Input:
    return with_input(folder, keys, kind).plan.panels["tank"].inputs[1]


def panel(folder: Path, keys: str) -> Panel:
    return loaded(folder, changed(('name = "Tank"', f'name = "Tank"\n{keys}'))).plan.panels["tank"]


SINGLE = [each for each in Means if each not in UNIT_MEANS | {Means.HIGH_LEVEL, Means.PUMP_RUNNING}]


@pytest.mark.parametrize("means", SINGLE)
def test_every_means_of_a_panel_can_be_wired(tmp_path: Path, means: Means) -> None:
    keys = f'means = "{means}"\n'
    keys += 'in_alarm = "closed"\n' if means in MUST_SAY else ""
    keys += 'carries = ["overload", "seal-leak"]\n' if means is Means.COMMON_ALARM else ""
    keys += 'name = "other"\ntext = "Heat trace off"\n' if means is Means.OTHER else ""
    found = made(tmp_path, keys)
    opens = means in SUPPLIES | REFERENCES | {Means.AIR_SUPPLY}
    assert (found.id, found.panel, found.means) == (f"tank.{means}", "tank", means)
    assert found.in_alarm is (Position.OPEN if opens else Position.CLOSED)
    assert found.exempt == (means in (Means.HORN_DRIVEN, Means.HORN_HEARD))


@pytest.mark.parametrize("means", sorted(UNIT_MEANS))
def test_every_means_of_the_unit_can_be_wired(tmp_path: Path, means: Means) -> None:
    text = SOUND if f'"{means}"' in SOUND else changed(('"unit-power"', f'"{means}"'))
    found = loaded(tmp_path, text)
    spec = found.plan.input(f"unit.{means}")
    assert spec is not None
    assert (spec.panel, spec.means) == ("unit", means)
    assert f"unit.{means}" in [each.input for each in found.rig.lines]


@pytest.mark.parametrize(
    ("keys", "kind", "on", "off"),
    [
        ('means = "high-high-level"\nin_alarm = "open"\n', "lift-station", 6, 60),
        (f'means = "high-high-level"\nin_alarm = "open"\n{HELD}', "lift-station", 2, 60),
        (f'means = "high-high-level"\nin_alarm = "open"\n{HELD}', "sump", 2, 60),
        ('means = "low-level"\nin_alarm = "open"\n', "sump", 30, 60),
        ('means = "control-power"\n', "sump", 60, 30),
        ('means = "overload"\nin_alarm = "open"\n', "sump", 5, 5),
        ('means = "over-temperature"\nin_alarm = "open"\n', "sump", 5, 300),
        ('means = "seal-leak"\nin_alarm = "open"\n', "sump", 60, 600),
        ('means = "in-hand"\n', "sump", 900, 10),
        ('means = "in-off"\n', "sump", 1800, 10),
        ('means = "air-supply"\n', "treatment", 300, 300),
        ('means = "tank-lid"\n', "sump", 10, 10),
    ],
)
def test_trade_5_the_delays_of_what_says_none(
    tmp_path: Path, keys: str, kind: str, on: int, off: int
) -> None:
    """Trade 5's table; a relay contact's on-delay lies beyond the 5 s of Trade 1.10."""
    found = made(tmp_path, keys, kind)
    assert (found.on_delay, found.off_delay) == (on * SECOND, off * SECOND)


def test_trade_5_a_horn_that_sounds_in_pulses_is_one_sound(tmp_path: Path) -> None:
    found = made(tmp_path, 'means = "horn-driven"\n')
    assert (found.close_time, found.open_time, found.exempt) == (50 * MS, 3 * SECOND, True)


def test_trade_5_a_supply_sensed_by_its_cycles_is_held_for_200_ms(tmp_path: Path) -> None:
    found = made(tmp_path, 'means = "alarm-power"\npulsing = true\n')
    assert (found.close_time, found.open_time, found.exempt) == (5 * MS, 200 * MS, True)


@pytest.mark.parametrize(
    ("in_alarm", "unpowered", "other", "dead"),
    [
        ("open", "closed", Position.CLOSED, Unpowered.OPEN),
        ("closed", "open", Position.OPEN, Unpowered.CLOSED),
        ("open", "holds", Position.CLOSED, Unpowered.HOLDS),
        ("open", "unknown", Position.CLOSED, Unpowered.UNKNOWN),
    ],
)
def test_trade_1_9_two_throws_are_two_inputs_that_stand_the_other_way_round(
    tmp_path: Path, in_alarm: str, unpowered: str, other: Position, dead: Unpowered
) -> None:
    text = changed(
        ("line = 17", 'line = 17\nsecond_line = 18\nclosed_when = "high"'),
        ('in_alarm = "open"', f'in_alarm = "{in_alarm}"'),
        ('unpowered = "open"', f'unpowered = "{unpowered}"'),
    )
    found = loaded(tmp_path, text)
    first, second = found.plan.panels["tank"].inputs[:2]
    assert (second.id, second.throw_of) == ("tank.high-level-other", first.id)
    assert (second.in_alarm, second.unpowered) == (other, dead)
    assert (second.means, second.on_delay) == (first.means, first.on_delay)
    assert found.plan.panels["tank"].input(Means.HIGH_LEVEL) == first
    wired = [(each.input, each.line, each.chip, each.closed_when_low) for each in found.rig.lines]
    assert wired[:2] == [(first.id, 17, "board", False), (second.id, 18, "board", False)]


def test_trade_1_22_a_pumps_input_carries_its_number(tmp_path: Path) -> None:
    text = changed(
        ('name = "Tank"', 'name = "Tank"\npumps = 2\nalternates = true'),
        (ALARM_POWER, 'means = "overload"\npump = 0\nline = 27\nin_alarm = "closed"\n'),
        (
            "line = 5\n",
            'line = 5\npump = 1\n[[panel.input]]\nmeans = "pump-running"\npump = 2\nline = 8\n',
        ),
    )
    found = loaded(tmp_path, text).plan.panels["tank"]
    assert (found.pumps, found.alternates) == (2, True)
    assert [(each.id, each.pump) for each in found.inputs[1:]] == [
        ("tank.overload", 0),
        ("tank.pump-running-1", 1),
        ("tank.pump-running-2", 2),
    ]


def test_trade_1_6_a_common_alarm_says_what_it_may_be(tmp_path: Path) -> None:
    keys = 'means = "common-alarm"\nin_alarm = "open"\ncarries = ["low-level", "overload"]\n'
    found = made(tmp_path, keys)
    assert found.carries == (Means.LOW_LEVEL, Means.OVERLOAD)
    assert found.means in ALARM_CONTACTS


def test_a_common_alarm_may_be_the_only_contact(tmp_path: Path) -> None:
    keys = 'means = "common-alarm"\ncarries = ["high-level", "overload"]'
    text = changed(('means = "high-level"', keys))
    assert loaded(tmp_path, text).plan.panels["tank"].inputs[0].id == "tank.common-alarm"


@pytest.mark.parametrize(
    ("preset", "priority"),
    [
        ("backup-control", Priority.MEDIUM),
        ("dry-well-flood", Priority.HIGH),
        ("temperature-low", Priority.MEDIUM),
        ("generator-fault", Priority.MEDIUM),
    ],
)
def test_trade_1_27_a_preset_gives_name_text_and_priority(
    tmp_path: Path, preset: str, priority: Priority
) -> None:
    found = made(tmp_path, f'means = "other"\nin_alarm = "closed"\npreset = "{preset}"\n')
    assert (found.id, found.priority) == (f"tank.{preset}", priority)
    assert found.text


def test_a_preset_may_be_said_and_weighed_otherwise(tmp_path: Path) -> None:
    keys = 'means = "other"\nin_alarm = "closed"\npreset = "dry-well-flood"\n'
    found = made(tmp_path, f'{keys}name = "well"\ntext = "Wet floor"\npriority = "low"\n')
    assert (found.id, found.text, found.priority) == ("tank.well", "Wet floor", Priority.LOW)


def test_an_input_may_latch_and_have_a_priority_of_its_own(tmp_path: Path) -> None:
    found = made(
        tmp_path, 'means = "overload"\nin_alarm = "closed"\nlatch = true\npriority = "low"\n'
    )
    assert (found.latch, found.priority) == (True, Priority.LOW)


@pytest.mark.parametrize(
    ("kind", "given", "limit", "starts"),
    [
        ("sewage-ejector", "", 20 * MINUTE, 20),
        ("treatment", "", 20 * MINUTE, 20),
        ("effluent-timed", "", HOUR, 20),
        ("effluent-demand", "", HOUR, 20),
        ("sump", "", None, 60),
        ("sump", 'run_limit = "2 h"\nstarts_limit = 30', 2 * HOUR, 30),
        ("sewage-ejector", 'run_limit = "never"', None, 20),
    ],
)
def test_trade_5_how_long_and_how_often_a_pump_may_run(
    tmp_path: Path, kind: str, given: str, limit: int | None, starts: int
) -> None:
    text = changed(("sewage-ejector", kind), ('name = "Tank"', f'name = "Tank"\n{given}'))
    found = loaded(tmp_path, text).plan.panels["tank"]
    assert (found.run_limit, found.starts_limit) == (limit, starts)


def test_a_panel_is_as_described(tmp_path: Path) -> None:
    found = panel(
        tmp_path,
        'reserve = "4 h"\ncontrol_fed_by = "own"\nshares_breaker = true\nalarm_breaker = "outside"\n'
        'medium_list = "all"\nlow_list = "all"\nlabels = { alarm = "breaker 7" }\n'
        'realarm = { pump-power = "2 h", other-heat = "1 h" }',
    )
    assert (found.reserve, found.control_fed_by, found.shares_breaker) == (
        4 * HOUR,
        FedBy.OWN,
        True,
    )
    assert (found.alarm_breaker, found.medium_list, found.low_list) == (Reach.OUTSIDE, "all", "all")
    assert found.labels == {"alarm": "breaker 7"}
    assert found.realarm == {"pump-power": 2 * HOUR, "other-heat": HOUR}


def test_the_unit_is_as_described(tmp_path: Path) -> None:
    hours = '\n[[hours]]\nid = "office"\ndays = ["mon"]\nfrom = "08:00"\nuntil = "17:00"\n'
    keys = 'chip = "board"\nempty = true\nmedium_waits = true\nhours = "office"'
    plan = loaded(tmp_path, changed(('chip = "board"', keys)) + hours).plan
    assert (plan.empty, plan.medium_waits, plan.work) == (True, True, "office")


def test_a_person_is_as_described(tmp_path: Path) -> None:
    text = changed(
        ("responds = true", 'language = "es"\nwaking = ["06:30", "24:00"]'),
        ('"push", address', '"push", least = "medium", at_most = "20 per hour", address'),
    )
    plan = loaded(tmp_path, text).plan
    anna = plan.people["anna"]
    assert (anna.language, anna.waking) == ("es", (13 * HOUR // 2, 24 * HOUR))
    assert plan.wakes == {"ben.push"}
    assert plan.least == {"ben.push": Priority.MEDIUM}
    assert plan.at_most == {"ben.push": Limit(20, HOUR)}
    assert list(plan.languages) == ["es"]


@pytest.mark.parametrize(
    ("names", "steps"),
    [
        (["anna"], [(0, "anna"), (3, "anna")]),
        (["anna", "ben"], [(0, "anna"), (3, "anna"), (8, "ben")]),
        (["anna", "ben", "carla"], [(0, "anna"), (3, "anna"), (8, "ben"), (15, "carla")]),
    ],
)
def test_trade_5_names_alone_are_told_in_the_usual_steps(
    tmp_path: Path, names: list[str], steps: list[tuple[int, str]]
) -> None:
    tell = ", ".join(f'"{each}"' for each in names)
    carla = '[[person]]\nid = "carla"\nname = "Carla"\nchannel = [{ name = "x", address = "json://x.example" }]\n\n'
    text = changed(("[mqtt]", f'[[call_list]]\nid = "plain"\ntell = [{tell}]\n\n{carla}[mqtt]'))
    found = loaded(tmp_path, text).plan.call_lists["plain"]
    assert found.steps == tuple(Step(after * MINUTE, (who,)) for after, who in steps)
    assert (found.repeat, found.slow_after, found.slow) == (15 * MINUTE, 2 * HOUR, 30 * MINUTE)


def test_a_sites_own_texts_are_kept_by_condition_language_and_form(tmp_path: Path) -> None:
    more = '\n[[text]]\ncondition = "high-level"\nlanguage = "es"\nshort = "Nivel alto"\nlong = """\nNivel\nalto"""\n'
    assert loaded(tmp_path, SOUND + more).plan.texts == {
        "high-level:es:short": "Nivel alto",
        "high-level:es:long": "Nivel\nalto",
    }
