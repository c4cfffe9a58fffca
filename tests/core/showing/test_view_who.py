"""Who would be told now, who next, and who waits until when: a table worked by hand.

The site lies in UTC. Its on-call schedule: Anna from Monday 11 January 2027, 08:00; Ben from Friday
the 15th, 17:00; Carla from Monday the 18th, 08:00. Its list for high and medium alarms calls
whoever is on call at once and again after 10 min, then Carla after 20 min; the one for low alarms
calls whoever is on call, then Carla. Everybody may be woken from 07:00 to 22:00 and works Monday to
Friday, 08:00 to 17:00; Tuesday the 19th is a holiday of theirs.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import cast

import pytest

from relayd.core.events import Now
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Hours,
    Means,
    OnCall,
    Plan,
    Priority,
    Step,
    Turn,
)
from relayd.core.showing import view
from relayd.core.state import Away, Stamp, State, Subject
from tests.core.build import contact, panel, plan_of

UP = 500_000 * SECOND
HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW


def wall(text: str) -> int:
    """UTC in ns of 'day hh:mm' in January 2027."""
    day, _, time = text.partition(" ")
    at = datetime.fromisoformat(f"2027-01-{day} {time}").replace(tzinfo=UTC)
    return int(at.timestamp()) * SECOND


def plan(**changes: object) -> Plan:
    turns = (("11 08:00", "anna"), ("15 17:00", "ben"), ("18 08:00", "carla"))
    duty = OnCall("duty", tuple(Turn(wall(begins), who) for begins, who in turns))
    night = CallList(
        "night",
        (Step(0, ("duty",)), Step(10 * MINUTE, ("duty",)), Step(20 * MINUTE, ("carla",))),
    )
    day = CallList("day", (Step(0, ("duty",)), Step(0, ("carla",))))
    # 1970-01-01 + 20,837 days is 19 January 2027.
    office = Hours("office", dict.fromkeys(range(5), (8 * HOUR, 17 * HOUR)), frozenset({20_837}))
    cabin = panel("cabin", contact(Means.HIGH_LEVEL), medium_list="night", low_list="day")
    made = plan_of(
        cabin,
        call_lists={"night": night, "day": day},
        on_call={"duty": duty},
        hours={"office": office},
        work="office",
    )
    return replace(made, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Case:
    """When, how urgent, who is away (person -> who stands in), and the steps worked out by hand."""

    at: str
    priority: Priority
    steps: tuple[tuple[str, list[str], dict[str, str]], ...]
    away: Mapping[str, str] = field(default_factory=dict)
    trusted: bool = True


# (in, who, held for whom until when); 15 January 2027 is a Friday.
CASES: dict[str, Case] = {
    "high, Friday noon: Anna is on call": Case(
        "15 12:00",
        HIGH,
        (("now", ["Anna"], {}), ("10 min", ["Anna"], {}), ("20 min", ["Carla"], {})),
    ),
    "high at 03:00 waits for nobody's hours": Case(
        "16 03:00",
        HIGH,
        (("now", ["Ben"], {}), ("10 min", ["Ben"], {}), ("20 min", ["Carla"], {})),
    ),
    "high, 16:55: the schedule turns between two steps": Case(
        "15 16:55",
        HIGH,
        (("now", ["Anna"], {}), ("10 min", ["Ben"], {}), ("20 min", ["Carla"], {})),
    ),
    "high, the very minute of the turn": Case(
        "15 17:00",
        HIGH,
        (("now", ["Ben"], {}), ("10 min", ["Ben"], {}), ("20 min", ["Carla"], {})),
    ),
    "medium at 23:00: all of them sleep until 07:00": Case(
        "15 23:00",
        MEDIUM,
        (
            ("now", ["Ben"], {"Ben": "until 07:00"}),
            ("10 min", ["Ben"], {"Ben": "until 07:00"}),
            ("20 min", ["Carla"], {"Carla": "until 07:00"}),
        ),
    ),
    "medium at 21:45: the last step comes when Carla sleeps": Case(
        "15 21:45",
        MEDIUM,
        (
            ("now", ["Ben"], {}),
            ("10 min", ["Ben"], {}),
            ("20 min", ["Carla"], {"Carla": "until 07:00"}),
        ),
    ),
    "low, Friday noon: Carla's step is a working day later, on Monday": Case(
        "15 12:00",
        LOW,
        (("now", ["Anna"], {}), ("2 d 20 h", ["Carla"], {})),
    ),
    "low, Saturday noon: whoever is on call on Monday, and Carla after the holiday": Case(
        "16 12:00",
        LOW,
        (
            ("now", ["Carla"], {"Carla": "until 18 Jan 08:00"}),
            ("3 d 20 h", ["Carla"], {}),
        ),
    ),
    "high, Anna is away and Ben stands in": Case(
        "15 12:00",
        HIGH,
        (("now", ["Ben"], {}), ("10 min", ["Ben"], {}), ("20 min", ["Carla"], {})),
        away={"anna": "ben"},
    ),
    "high, Anna is away and nobody stands in": Case(
        "15 12:00",
        HIGH,
        (("now", [], {}), ("10 min", [], {}), ("20 min", ["Carla"], {})),
        away={"anna": ""},
    ),
    "high, nobody is there: then all of the list": Case(
        "15 12:00",
        HIGH,
        (("now", ["Anna", "Ben", "Carla"], {}),),
        away={"anna": "", "carla": ""},
    ),
    "high, the clock is not set: nobody knows whose turn it is": Case(
        "15 12:00",
        HIGH,
        (
            ("now", ["Anna", "Ben", "Carla"], {}),
            ("10 min", ["Anna", "Ben", "Carla"], {}),
            ("20 min", ["Carla"], {}),
        ),
        trusted=False,
    ),
    "record-only": Case("15 12:00", Priority.RECORD_ONLY, ()),
}


def now(case: Case) -> Now:
    return Now("boot", UP, wall(case.at), case.trusted)


def state(case: Case) -> State:
    at = now(case)
    stamp = Stamp(UP - HOUR, at.wall - HOUR, True)
    gone = {
        person: Away(person, stamp, UP + 200 * HOUR, at.wall + 200 * HOUR, stand_in)
        for person, stand_in in case.away.items()
    }
    return State("k3f9ab", subjects={"unit": Subject("unit", away=gone)})


def steps(told: Mapping[str, object]) -> list[tuple[object, object, object]]:
    found = cast(list[dict[str, object]], told["steps"])
    return [(each["in"], each["who"], each["held"]) for each in found]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_who_is_told_now_who_next_and_who_waits_until_when(case: Case) -> None:
    told = view.who(plan(), state(case), "cabin", case.priority, now(case))
    assert (told["place"], told["priority"]) == ("Panel cabin", case.priority.value)
    assert steps(told) == [*case.steps]


def test_who_is_told_of_the_unit_itself() -> None:
    case = CASES["high, Friday noon: Anna is on call"]
    told = view.who(plan(), state(case), "", HIGH, now(case))
    assert told["place"] == "Creek"
    assert steps(told) == [*case.steps]


def test_a_medium_alarm_that_waits_for_working_hours_waits_over_the_weekend() -> None:
    case = Case("16 12:00", MEDIUM, ())
    told = view.who(plan(medium_waits=True), state(case), "cabin", MEDIUM, now(case))
    monday = {"Carla": "until 18 Jan 08:00"}
    # Ben is on call now, but Carla will be when the hours begin: she hears it, and once.
    assert steps(told) == [
        ("now", ["Carla"], monday),
        ("10 min", ["Carla"], monday),
        ("20 min", ["Carla"], monday),
    ]


def test_the_steps_come_after_as_many_nanoseconds_as_they_say() -> None:
    case = CASES["high, Friday noon: Anna is on call"]
    told = view.who(plan(), state(case), "cabin", HIGH, now(case))
    found = cast(list[dict[str, object]], told["steps"])
    assert [each["after"] for each in found] == [0, 10 * MINUTE, 20 * MINUTE]
