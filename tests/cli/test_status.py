"""The status in words: what a person reads at three in the morning."""

import pytest

from relayd.cli.status import lines, open_places, standing
from relayd.core.events import Event, InputLost, LevelRead, Now, Started, TimePassed
from relayd.core.machine import step
from relayd.core.plan import (
    SECOND,
    CallList,
    Input,
    Kind,
    Means,
    Panel,
    Person,
    Plan,
    Position,
    Step,
)
from relayd.core.showing import view
from relayd.core.state import State

ALARM = {
    "condition": "high-level",
    "name": "High level",
    "state": "UNACK",
    "priority": "high",
    "occurrence": "unit-1.k3f9ab.12",
    "text": "The water stands at or above the alarm float.",
    "since": "since 02:10",
    "for": "12 min",
    "told": ["Anna"],
    "seen": [],
    "taken": None,
    "next": {"in": "3 min", "who": ["Bert", "Cleo"]},
}
PANEL = {
    "id": "creek-1",
    "name": "Creek pump",
    "where": "behind the shed",
    "kind": "sewage-ejector",
    "level": "The water stands at or above the alarm float.",
    "inputs": [
        {"id": "creek-1.level", "means": "high-level", "reads": "closed", "fact": "alarm"},
        {
            "id": "creek-1.power",
            "means": "alarm-power",
            "reads": "lost",
            "fact": "unknown",
            "lost": "chip gone",
        },
    ],
    "alarms": [ALARM],
}
UNIT = {
    "id": "unit-1",
    "name": "Creek house",
    "clock": "set",
    "journal": "in time",
    "ways": {"mqtt": "down: refused", "sender": "up"},
}


def texts(status: dict[str, object]) -> list[str]:
    return [line.text for line in lines(status)]


def test_a_status_reads_from_the_alarm_to_the_unit() -> None:
    assert texts({"unit": UNIT, "panels": [PANEL]}) == [
        "open alarms: 1",
        "",
        "Creek pump (creek-1), behind the shed, sewage ejector",
        "  ALARM High level (high): nobody has answered yet",
        "    since 02:10, for 12 min, unit-1.k3f9ab.12",
        "    The water stands at or above the alarm float.",
        "    told: Anna",
        "    next to be told: Bert, Cleo, in 3 min",
        "  level: The water stands at or above the alarm float.",
        "  input creek-1.level (high-level): reads closed, in alarm",
        "  input creek-1.power (alarm-power): reads lost (chip gone), not known",
        "",
        "unit Creek house (unit-1)",
        "  clock: set",
        "  journal: in time",
        "  mqtt: down: refused",
        "  sender: up",
    ]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        pytest.param({}, "nobody has answered yet", id="new"),
        pytest.param({"seen": ["Anna"]}, "seen by Anna; nobody has taken it yet", id="seen"),
        pytest.param(
            {"state": "ACKED", "seen": ["Anna", "Bert"]},
            "seen by Anna, Bert; nobody has taken it yet",
            id="seen by two",
        ),
        pytest.param(
            {"state": "ACKED", "taken": {"by": "Anna", "until": "until 14:00"}},
            "taken by Anna until 14:00",
            id="taken",
        ),
        pytest.param(
            {"state": "ACKED", "taken": {"by": "Anna", "until": "14:00"}},
            "taken by Anna until 14:00",
            id="taken, the bare time",
        ),
        pytest.param(
            {"state": "ACKED", "taken": {"by": "Anna", "until": "for 35 min"}},
            "taken by Anna for 35 min",
            id="taken, clock not set",
        ),
        pytest.param({"state": "RTNUN"}, "level fell, not acknowledged", id="level fell"),
        pytest.param(
            {"state": "RTNUN", "condition": "alarm-power"},
            "over, not acknowledged",
            id="power came back",
        ),
        pytest.param({"state": "ACKED"}, "acknowledged", id="acknowledged, nobody knows by whom"),
        pytest.param(
            {"state": "LATAK"}, "over, but it stays until it is reset; acknowledged", id="latched"
        ),
        pytest.param({"state": "odd"}, "odd", id="a state of a later version"),
    ],
)
def test_how_an_alarm_stands_is_said_in_words(changes: dict[str, object], says: str) -> None:
    assert standing({**ALARM, **changes}) == says


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        pytest.param({"since": "02:10"}, "since 02:10, for 12 min", id="the bare time"),
        pytest.param(
            {"since": "for 12 min (clock not set)"}, "for 12 min (clock not set)", id="no clock"
        ),
        pytest.param({"since": None, "for": None}, "", id="nothing known"),
    ],
)
def test_since_when_is_said_with_or_without_a_clock(changes: dict[str, object], says: str) -> None:
    alarm = {**ALARM, **changes, "occurrence": "x"}
    found = texts({"panels": [{**PANEL, "alarms": [alarm]}]})
    assert f"    {', '.join(filter(None, [says, 'x']))}" in found


def test_a_time_of_the_clock_for_the_next_step_is_said() -> None:
    alarm = {**ALARM, "next": {"at": "02:25", "who": ["Bert"]}}
    found = texts({"panels": [{**PANEL, "alarms": [alarm]}]})
    assert "    next to be told: Bert, at 02:25" in found


@pytest.mark.parametrize(
    "status",
    [
        pytest.param({}, id="nothing at all"),
        pytest.param({"panels": None, "unit": 3}, id="odd types"),
        pytest.param({"panels": [{}, 3], "unit": {"ways": []}}, id="empty parts"),
        pytest.param(
            {"panels": [{"alarms": [{"next": {}, "taken": {}}], "inputs": [{}]}]}, id="bare alarm"
        ),
    ],
)
def test_missing_keys_are_blanks(status: dict[str, object]) -> None:
    assert texts(status)[0].startswith("open alarms: ")


def test_places_with_open_alarms_are_found() -> None:
    unit = {**UNIT, "alarms": [ALARM]}
    assert open_places({"panels": [PANEL, {"id": "hill-1"}], "unit": unit}) == ["creek-1", "unit-1"]
    assert open_places({}) == []


PLAN = Plan(
    unit="unit-1",
    unit_name="Creek house",
    zone="UTC",
    offsets=(),
    call_list="all",
    panels={
        "creek-1": Panel(
            id="creek-1",
            name="Creek pump",
            where="behind the shed",
            kind=Kind.SUMP,
            call_list="all",
            inputs=(Input("creek-1.level", "creek-1", Means.HIGH_LEVEL, Position.CLOSED),),
        )
    },
    people={"anna": Person("anna", "Anna", ("anna-mail",), responds=True)},
    call_lists={"all": CallList("all", (Step(0, ("anna",)),))},
    channels={"anna-mail": "anna"},
)


def after(*events: Event) -> State:
    """The state after these events, 11 s apart."""
    state = State("k3f9ab")
    for number, event in enumerate(events):
        state = step(PLAN, state, event, now(number)).state
    return state


def now(number: int) -> Now:
    up = (100 + 11 * number) * SECOND
    return Now("boot", up, up, True)


def test_the_core_s_own_view_reads_well() -> None:
    level = LevelRead("creek-1.level", True, 100 * SECOND)
    state = after(Started(True), level, TimePassed(), TimePassed())
    found = texts(view.status(PLAN, state, now(4)))
    assert "open alarms: 1" in found
    assert any("ALARM High level (high): nobody has answered yet" in each for each in found)
    assert "    told: Anna" in found
    assert any("creek-1.level (high-level): reads closed, in alarm" in each for each in found)


def test_an_input_that_the_core_has_lost_is_said() -> None:
    state = after(Started(True), InputLost("creek-1.level", "the line is busy"))
    found = texts(view.status(PLAN, state, now(2)))
    assert "  input creek-1.level (high-level): reads lost (the line is busy), not known" in found
