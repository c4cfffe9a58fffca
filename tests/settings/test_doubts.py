"""What is not wired, who is not reached and what is used by nobody is told; the plan is used all the same."""

from pathlib import Path

import pytest

from relayd.settings import build
from tests.settings.plans import SOUND, Case, changed, warnings

PUSH = "wakes = true }]"
CLOSES = ('in_alarm = "open"\nunpowered = "open"', 'in_alarm = "closed"\nunpowered = "closed"')
COMMON = 'means = "common-alarm"\ncarries = ["high-level", "overload"]'
SUMP = ("sewage-ejector", "sump")
LATE = "in the worst case the last person is told after 9 min"
CUT = (
    '"closed": a cut wire reads normal, and that is SILENT; best is a relay with two throws on two inputs '
    "(second_line), next the throw that opens in an alarm, third a cable-loop"
)
ASLEEP = (
    "a high alarm at 03:00 reaches nobody by a channel that wakes (wakes = true): a text or a mail waits until "
    "somebody looks; a telephone call, or an alert that sounds in silent mode"
)

DOUBTS = [
    Case("1.5 no reference input", '[[unit.input]]\nmeans = "wetting-supply"\nline = 7\n', "", [
        'plan.toml:56: unit.input: has none with means = "wetting-supply": when the supply of the inputs fails, '
        "each contact that closes in an alarm reads normal for ever, and that is SILENT"
    ]),
    Case("1.19 no supply of the unit", '[[unit.input]]\nmeans = "unit-power"\nline = 6\n', "", [
        'plan.toml:57: unit.input: has none with means = "unit-power": an outage of the whole site cannot be told '
        "from the loss of a panel's feed, and nobody hears that the unit runs on its battery"
    ]),
    Case("1.6 a common alarm alone", 'means = "high-level"', COMMON, [
        "plan.toml:13: panel.input: has a common-alarm as the only contact about water: no message can say which "
        "alarm it is; ask the panel's builder for a contact of the high level alone"
    ]),
    Case("1.23 no witness of a stuck float", 'means = "pump-running"', 'means = "pump-power"', [
        "plan.toml:13: panel.input: has no pump-running or pump-called: nothing notices that the pump has not run "
        "for days, and that is the only witness of an alarm float that is stuck"
    ]),
    Case("1.9 a contact that closes", *CLOSES, [f"plan.toml:16: panel.input.in_alarm: {CUT}"]),
    Case("1.9 Form C needs nothing more", CLOSES[0], f"{CLOSES[1]}\nsecond_line = 18", []),
    Case("5 nobody is woken", PUSH, "wakes = false }]", [f"plan.toml:9: panel.id: {ASLEEP}"]),
    Case("5 a basin that does not last", *SUMP, [
        f"plan.toml:8: panel.reserve: is not written, and a sump can be full in minutes: {LATE}; write the "
        "reserve, or tell everybody within 6 min"
    ]),
    Case("5 a reserve that is shorter", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nreserve = "8 min"', [
        f"plan.toml:12: panel.reserve: this basin's pessimistic reserve is 8 min: {LATE}; shorten the steps of "
        "its call list"
    ]),
    Case("5 a reserve that lasts", 'kind = "sewage-ejector"', 'kind = "sewage-ejector"\nreserve = "9 min"', []),
    Case("nothing but high", '"push", address', '"push", least = "high", address', [
        'plan.toml:36: person.channel.least: is "high" at every channel: this person never hears of a medium or '
        "low alarm"
    ]),
    Case("hours of nobody", "[mqtt]", (
        '[[hours]]\nid = "office"\ndays = ["mon"]\nfrom = "08:00"\nuntil = "17:00"\n\n[mqtt]'
    ), ["plan.toml:50: hours.id: is used by no person and not by the unit"]),
    Case("a schedule on no list", "[mqtt]", (
        '[[on_call]]\nid = "standby"\npersons = ["anna"]\nbegins = 2026-01-05\n\n[mqtt]'
    ), ["plan.toml:50: on_call.id: is on no call list: nobody is told by it"]),
    Case("a text that is never used", "[mqtt]", (
        '[[text]]\ncondition = "seal-leak"\nshort = "Seal leak"\n\n[mqtt]'
    ), ["plan.toml:50: text.condition: is a condition that nothing wired here can tell: this text is never used"]),
    Case("a text of the unit's", "[mqtt]", (
        '[[text]]\ncondition = "site-outage"\nshort = "No power here"\n\n[mqtt]'
    ), []),
]  # fmt: skip


@pytest.mark.parametrize("case", DOUBTS, ids=lambda case: case.name)
def test_trade_what_costs_something_is_told(tmp_path: Path, case: Case) -> None:
    """Each id begins with the number of its passage in Trade where it has one."""
    assert warnings(tmp_path, changed((case.old, case.new))) == case.says


def test_trade_1_9_a_cable_loop_is_the_third_best(tmp_path: Path) -> None:
    loop = '\n[[panel.input]]\nmeans = "cable-loop"\nline = 30\n'
    assert warnings(tmp_path, changed(CLOSES) + loop) == []


def test_pumps_that_take_turns_unseen_are_told(tmp_path: Path) -> None:
    text = changed(
        ('name = "Tank"', 'name = "Tank"\npumps = 2\nalternates = true'),
        ('means = "pump-running"', 'means = "pump-power"\npump = 0'),
    )
    assert warnings(tmp_path, text)[0] == (
        "plan.toml:12: panel.alternates: is written, and no pump-called or pump-running input shows whether the "
        "pumps take turns"
    )


@pytest.mark.parametrize(
    ("wakes", "says"), [("", []), (PUSH, [f"plan.toml:9: panel.id: {ASLEEP}"])]
)
def test_trade_5_everybody_of_an_on_call_schedule_must_wake(
    tmp_path: Path, wakes: str, says: list[str]
) -> None:
    """Anna's mail does not wake: in her week nobody would be woken."""
    persons = '["ben"]' if not wakes else '["anna", "ben"]'
    schedule = f'\n[[on_call]]\nid = "standby"\npersons = {persons}\nbegins = 2026-01-05\n'
    text = changed(
        ('tell = ["anna"]', 'tell = ["standby"]'), ('tell = ["anna", "ben"]', 'tell = ["anna"]')
    )
    assert warnings(tmp_path, text + schedule) == says


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        ({"High level": "Nivel alto"}, []),
        (
            {},
            [
                "plan.toml:27: person.language: has no catalogue here: this person's messages come in English"
            ],
        ),
    ],
    ids=["there", "missing"],
)
def test_a_language_without_its_catalogue_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, texts: dict[str, str], says: list[str]
) -> None:
    monkeypatch.setattr(build, "texts_of", lambda language: texts)
    text = changed(("responds = true", 'responds = true\nlanguage = "es"'))
    lines = [each.replace("plan.toml:28", "plan.toml:27") for each in warnings(tmp_path, text)]
    assert lines == says


def test_the_sound_plan_costs_nothing_that_is_known(tmp_path: Path) -> None:
    assert warnings(tmp_path, SOUND) == []
