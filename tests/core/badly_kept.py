"""A week of a badly kept cabin, invented: its plan, what happens there, and the chronicle of it.

`python -m tests.core.badly_kept` prints the chronicle; `--bodies` with every message in full. The
week holds a change to daylight saving time (Sunday, 8 March 2026, 02:00 in that zone).
"""

import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from relayd.core.events import (
    Acknowledge,
    Act,
    AtPanel,
    HornWire,
    Looked,
    PutOff,
    Settled,
    Stage,
    Wire,
)
from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Circuits,
    Follows,
    Input,
    Kind,
    Means,
    Person,
    Plan,
    Position,
    Step,
    Unpowered,
)
from relayd.settings import offsets
from relayd.simulate import (
    Flutters,
    Happening,
    Line,
    Meanwhile,
    Moves,
    PowerCut,
    Says,
    chronicle,
    printed,
)
from tests.core.build import contact, panel

ZONE = "America/Chicago"
BEGIN = datetime(2026, 3, 2, 6, tzinfo=ZoneInfo(ZONE))
"""A Monday."""
LEVEL, CIRCUIT, PUMP = "cabin.high-level", "cabin.alarm-power", "cabin.pump-power"
OFF, RUNNING, SUPPLY = "cabin.in-off", "cabin.pump-running", "unit.unit-power"


def wall(moment: datetime) -> int:
    """UTC in nanoseconds since 1970."""
    return int(moment.astimezone(UTC).timestamp()) * SECOND


def plan() -> Plan:
    """One cabin on a lake: Anna owns it and lives far away, Ben has the key, Carla services it."""
    level = contact(
        Means.HIGH_LEVEL,
        in_alarm=Position.OPEN,
        unpowered=Unpowered.CLOSED,
        follows=Follows.LAMP,
    )
    inputs: tuple[Input, ...] = (
        level,
        contact(Means.ALARM_POWER),
        contact(Means.PUMP_POWER),
        contact(Means.IN_OFF),
        contact(Means.PUMP_RUNNING),
    )
    cabin = panel("cabin", *inputs)
    cabin = replace(
        cabin,
        name="Cabin tank",
        where="behind the wood shed",
        kind=Kind.EFFLUENT_DEMAND,
        circuits=Circuits.SEPARATE,
        reserve=10 * HOUR,
        silence_time=12 * HOUR,
        low_list="day",
        medium_list="day",
        run_limit=HOUR,
        labels={"alarm": "breaker 7", "pump-1": "breaker 9"},
    )
    people = {
        "anna": Person("anna", "Anna", ("anna.push",), "555-0101"),
        "ben": Person("ben", "Ben", ("ben.text",), "555-0102", responds=True),
        "carla": Person(
            "carla", "Carla", ("carla.push",), "555-0103", responds=True, qualified=True
        ),
    }
    night = (
        Step(0, ("ben", "anna")),
        Step(8 * MINUTE, ("ben",)),
        Step(15 * MINUTE, ("carla",)),
    )
    day = (Step(0, ("anna", "ben")), Step(2 * HOUR, ("carla",)))
    return Plan(
        unit="reed",
        unit_name="Reed lake",
        zone=ZONE,
        offsets=offsets(ZONE, wall(BEGIN)),
        call_list="night",
        medium_list="day",
        panels={"cabin": cabin},
        people=people,
        call_lists={"night": CallList("night", night), "day": CallList("day", day)},
        channels={name: each.id for each in people.values() for name in each.channels},
        short_forms=frozenset({"ben.text"}),
        inputs=(contact(Means.UNIT_POWER, panel="unit"),),
    )


def supply(on: bool) -> tuple[Happening, ...]:
    """The whole site's supply goes, or comes back."""
    return tuple(Moves(each, not on) for each in (SUPPLY, CIRCUIT, PUMP))


def week() -> Iterator[tuple[str, Happening]]:
    """What happens, in local time: 'day of March, hour:minute:second'."""
    for day in range(2, 9):
        # An ordinary day's cycles, but while the selector stands in Off and while there is no power.
        for clock in ("07:30:00", "12:30:00", "20:30:00"):
            if (day, clock) in {(4, "20:30:00"), (7, "17:10:00")}:
                continue
            quiet = "" if (day, clock) == (6, "07:30:00") else "-"
            yield f"{day} {clock}", Moves(RUNNING, True, quiet)
            yield f"{day} {clock[:2]}:35:00", Moves(RUNNING, False, quiet)
    for blip in ("2 19:30:00", "2 19:33:00", "2 19:36:00"):
        for each in supply(on=False):
            yield blip, each
        for each in supply(on=True):
            yield f"{blip[:-2]}04", each
    yield "3 01:10:00", Meanwhile("rain, and guests with a full house: the tank fills")
    yield "3 01:10:05", Moves(LEVEL, True)
    yield "3 01:11:00", Moves(RUNNING, True)
    yield "3 01:16:00", Says("anna", Acknowledge(panel="cabin", act=Act.SEEN), "answers: seen")
    yield (
        "3 01:20:00",
        Meanwhile(
            "a guest cannot sleep: opens breaker 7, pulls the horn's wire, closes breaker 7 again"
        ),
    )
    yield "3 01:20:00", Moves(CIRCUIT, True)
    yield "3 01:20:00", Moves(LEVEL, False)
    yield "3 01:24:30", Moves(CIRCUIT, False)
    yield "3 01:24:31", Moves(LEVEL, True)
    yield (
        "3 01:30:00",
        Says(
            "ben",
            Acknowledge(panel="cabin", act=Act.TAKEN, within=90 * MINUTE),
            "answers: I have it, 90 min",
        ),
    )
    yield "3 02:05:00", Moves(LEVEL, False)
    yield "3 02:20:00", Moves(RUNNING, False)
    yield (
        "3 08:15:00",
        Says(
            "ben",
            HornWire("cabin", Wire.OFF, "a guest pulled it"),
            "answers the question: it is off",
        ),
    )
    yield (
        "4 15:00:00",
        Meanwhile("Anna's nephew turns the selector to Off 'to be safe' and drives home"),
    )
    yield "4 15:00:00", Moves(OFF, True)
    yield "5 03:40:00", Moves(LEVEL, True)
    yield (
        "5 03:50:00",
        Says("ben", Acknowledge(panel="cabin", act=Act.SEEN), "answers: seen, I am in town"),
    )
    yield (
        "5 04:00:00",
        Says(
            "carla",
            Acknowledge(panel="cabin", act=Act.TAKEN, within=3 * HOUR),
            "answers: I have it, 3 h",
        ),
    )
    yield (
        "5 06:10:00",
        Says("carla", AtPanel("cabin", Stage.BEGIN, within=2 * HOUR), "is at the panel"),
    )
    yield "5 06:15:00", Moves(OFF, False)
    yield "5 06:15:20", Moves(RUNNING, True)
    yield "5 06:40:00", Moves(LEVEL, False)
    yield "5 07:00:00", Moves(RUNNING, False)
    yield "5 07:05:00", Says("carla", AtPanel("cabin", Stage.END), "leaves")
    yield (
        "5 07:06:00",
        Says(
            "carla",
            AtPanel(
                "cabin",
                Stage.END,
                left=("horn-wire",),
                why="the horn itself is dead, a new one is on order",
            ),
            "leaves, and says what stays undone",
        ),
    )
    yield (
        "5 10:00:00",
        Says(
            "carla",
            PutOff("cabin", "horn-wire", within=2 * DAY, why="horn on order until Saturday"),
            "puts the reminder off",
        ),
    )
    yield "6 02:00:00", Meanwhile("the water stands at the alarm float, and wind moves it")
    yield "6 02:00:00", Flutters(LEVEL, 60, 3 * SECOND, 2 * SECOND)
    yield "6 02:12:00", Says("ben", Acknowledge(panel="cabin", act=Act.TAKEN), "answers: I have it")
    yield (
        "6 02:40:00",
        Meanwhile("Ben looks: the alarm lamp is dark, the water stands below the float"),
    )
    yield "6 02:41:00", Says("ben", Looked("cabin", normal=True), "has looked: it is normal")
    for each in supply(on=False):
        yield "7 14:00:00", each
    for each in supply(on=True):
        yield "7 17:10:00", each
    yield "7 17:12:00", Moves(RUNNING, True)
    yield "7 17:14:00", Moves(LEVEL, True)
    yield "7 17:50:00", Moves(LEVEL, False)
    yield "7 17:55:00", Moves(RUNNING, False)
    yield "8 01:30:00", PowerCut(90 * SECOND)
    yield "8 11:00:00", Says("carla", AtPanel("cabin", Stage.BEGIN, within=HOUR), "is at the panel")
    yield (
        "8 11:20:00",
        Says("carla", HornWire("cabin", Wire.BACK, "new horn"), "the new horn is connected"),
    )
    yield "8 11:25:00", Says("carla", Settled("cabin", "horn-wire"), "says the horn's wire is done")
    yield "8 11:30:00", Says("carla", AtPanel("cabin", Stage.END), "leaves")


def moment(text: str) -> int:
    """Nanoseconds from the beginning to that local time of March 2026."""
    day, _, clock = text.partition(" ")
    hour, minute, second = (int(each) for each in clock.split(":"))
    there = datetime(2026, 3, int(day), hour, minute, second, tzinfo=ZoneInfo(ZONE))
    return wall(there) - wall(BEGIN)


def lines() -> list[Line]:
    """The chronicle of the week."""
    script = [(moment(when), what) for when, what in week()]
    return chronicle(plan(), script, wall(BEGIN), 7 * DAY)


if __name__ == "__main__":
    for text in printed(plan(), lines(), bodies="--bodies" in sys.argv):
        print(text)
