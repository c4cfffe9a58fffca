"""The wall clock steps, changes with the season, or sleeps: no duration changes, no notice is lost or doubled.

Each state that an open alarm may be in is played twice: once with a clock that behaves, once with
one that does not. What is told by duration must come at the same boot times, to the same persons.
What is told by the calendar must come once, at the right local time.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from relayd.core.events import Act, ClockJudged, OutOfService, Shelve, TimePassed
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Means, Offset, Plan
from relayd.core.state import NoticeKind
from tests.core.build import contact, panel, plan_of
from tests.core.dst_table import ZONES, utc
from tests.core.world import LEVEL, World, plan

pytestmark = pytest.mark.untraced

YEARS = 10 * 365 * 86400
STEPS = {"1 h back": -3600, "1 h on": 3600, "10 years back": -YEARS, "10 years on": YEARS}
Told = list[tuple[float, str, str]]


def zoned(offsets: tuple[Offset, ...] = (), zone: str = "UTC") -> Plan:
    return replace(plan(), offsets=offsets, zone=zone)


def raised(where: Plan, wall: int, trusted: bool = True) -> World:
    """High level has just been raised; Anna is told at once, again after 3 min, Ben after 8."""
    world = World(where, trusted=trusted)
    world.wall_offset = wall - world.up
    world.start().run(10)
    world.alarm(LEVEL)
    return world.run(10.05)


def unacknowledged(world: World) -> None:
    world.run(60)


def seen(world: World) -> None:
    world.run(60)
    world.ack("anna", Act.SEEN)


def taken(world: World) -> None:
    world.run(60)
    world.ack("ben", Act.TAKEN, within=45 * MINUTE)


def taken_until(world: World) -> None:
    """With a time of day, as people say it: from then on it is a time of this boot."""
    world.run(60)
    world.ack("ben", Act.TAKEN, until=world.now().wall + 45 * MINUTE)


def due_again(world: World) -> None:
    """Taken, the promise is over: it calls again half an hour after it, in a minute."""
    world.run(60)
    world.ack("ben", Act.TAKEN, within=10 * MINUTE)
    world.run(39 * 60)


def repeating(world: World) -> None:
    """The last step is over, everybody is told again and again."""
    world.run(20 * 60)


def shelved(world: World) -> None:
    world.run(60)
    world.ask(Shelve("cabin", "high-level", within=HOUR), "anna")


def out_of_service(world: World) -> None:
    world.run(60)
    world.ask(OutOfService("cabin", "high-level", within=HOUR, why="pump work"), "anna")


STATES: dict[str, Callable[[World], None]] = {
    "unacknowledged": unacknowledged,
    "seen": seen,
    "taken for 45 min": taken,
    "taken until a time": taken_until,
    "re-alarm due": due_again,
    "repeating": repeating,
    "shelved": shelved,
    "out of service": out_of_service,
}
every_state = pytest.mark.parametrize("state", STATES.values(), ids=STATES)
CALENDAR = ("Still to be undone", "To look at")
"""Titles of what comes by the calendar; it has tests of its own below."""


def by_duration(world: World, since: int) -> Told:
    """What was told by durations alone, in boot time."""
    return [each for each in world.told(since) if not each[2].startswith(CALENDAR)]


# 4 February 2026, 02:00 UTC; a Wednesday. The next six hours are before anybody's working day.
NIGHT = utc("2026-02-04 02:00")


@cache
def stepped(state: Callable[[World], None], length: int, after: int) -> Told:
    """What is told by durations where the clock steps; the night without a step is played once."""
    world = raised(zoned(), NIGHT)
    state(world)
    since = world.up
    world.run(after)
    world.wall_offset += length * SECOND
    world.run(5 * 3600)
    return by_duration(world, since)


@every_state
@pytest.mark.parametrize("step", STEPS.values(), ids=STEPS)
@pytest.mark.parametrize("after", [1, 7 * 60, 50 * 60], ids=["at once", "7 min", "50 min"])
def test_a_step_of_the_wall_clock_alters_no_duration(
    state: Callable[[World], None], step: int, after: int
) -> None:
    well = stepped(state, 0, after)
    assert stepped(state, step, after) == well
    assert well


@pytest.mark.parametrize(
    "state",
    # A time of day means nothing, and is refused, where the clock is not set.
    [each for name, each in STATES.items() if name != "taken until a time"],
    ids=[name for name in STATES if name != "taken until a time"],
)
def test_a_clock_that_is_set_late_alters_no_duration(state: Callable[[World], None]) -> None:
    """It begins in 1970 and untrusted, and is set an hour after the alarm."""
    played: list[Told] = []
    for is_late in (False, True):
        world = raised(zoned(), 0 if is_late else NIGHT, trusted=not is_late)
        state(world)
        since = world.up
        world.run(3600)
        if is_late:
            world.wall_offset, world.trusted = NIGHT + 3600 * SECOND - world.up, True
            world.give(ClockJudged(True))
        world.run(4 * 3600)
        played.append(by_duration(world, since))
    assert [each[:2] for each in played[1]] == [each[:2] for each in played[0]]
    assert played[0]


@every_state
@pytest.mark.parametrize("step", STEPS.values(), ids=STEPS)
def test_after_a_step_the_end_of_the_alarm_is_told_once_to_those_who_were_told(
    state: Callable[[World], None], step: int
) -> None:
    world = raised(zoned(), NIGHT)
    state(world)
    told = {each.person for each in world.notices(NoticeKind.RAISED)}
    world.wall_offset += step * SECOND
    world.run(30)
    world.alarm(LEVEL, on=False)
    world.run(2 * 3600)
    over = Counter(each.person for each in world.notices(NoticeKind.STAND_DOWN))
    assert set(over) >= told
    assert set(over.values()) == {1}


# ---- the nights in which the clocks change -----------------------------------------------------

SPRING_AND_AUTUMN = [
    (zone, change.begins)
    for zone, offsets in ZONES.items()
    for change in offsets
    if utc("2026-01-01 00:00") < change.begins < utc("2027-01-01 00:00")
]


def in_force(offsets: tuple[Offset, ...], wall: int) -> Offset:
    return next(each for each in reversed(offsets) if each.begins <= wall)


@every_state
@pytest.mark.parametrize(("zone", "change"), SPRING_AND_AUTUMN)
@pytest.mark.parametrize("before", [30, 90], ids=["half an hour before", "an hour and a half"])
def test_a_night_in_which_the_clocks_change_alters_no_duration(
    state: Callable[[World], None], zone: str, change: int, before: int
) -> None:
    """Told as in a zone whose clocks never change."""
    begins, played = change - before * MINUTE, list[Told]()
    for offsets in (ZONES[zone], (replace(in_force(ZONES[zone], begins), begins=0),)):
        world = raised(zoned(offsets, zone), begins)
        state(world)
        since = world.up
        world.run(4 * 3600)
        played.append([(*each[:2], "") for each in by_duration(world, since)])
    assert played[1] == played[0]
    assert played[0]


def test_there_are_two_such_nights_in_each_of_three_zones() -> None:
    assert Counter(zone for zone, _ in SPRING_AND_AUTUMN) == dict.fromkeys(ZONES, 2)


LOW = "cabin.low-level"


def low_level(offsets: tuple[Offset, ...], zone: str, wall: int) -> World:
    """A medium alarm in the night: Anna is told when her waking hours begin, at 07:00."""
    where = plan_of(panel("cabin", contact(Means.LOW_LEVEL)), offsets=offsets, zone=zone)
    world = World(where)
    world.wall_offset = wall - world.up
    world.start().run(10)
    world.alarm(LOW)
    return world.run(40)


def times(world: World) -> list[int]:
    """Boot time of every message to Anna about the low level."""
    return [
        each.made.up
        for each in world.notices(NoticeKind.RAISED)
        if (each.condition, each.person) == ("low-level", "anna")
    ]


@pytest.mark.parametrize(("zone", "change"), SPRING_AND_AUTUMN)
def test_what_is_held_over_such_a_night_comes_once_at_seven_by_the_new_clock(
    zone: str, change: int
) -> None:
    world = low_level(ZONES[zone], zone, change - HOUR)
    world.run(12 * 3600)
    first, *others = times(world)
    assert all(each - first >= 3 * MINUTE for each in others), "the call list's own next step"
    at = world.wall_offset + first
    local = at + in_force(ZONES[zone], at).seconds * SECOND
    assert local % DAY == 7 * HOUR
    assert change < at < change + 8 * HOUR


@pytest.mark.parametrize("step", STEPS.values(), ids=STEPS)
def test_what_is_held_is_told_once_whatever_the_clock_does(step: int) -> None:
    """Held from 02:00 until 07:00 as the clock then had it: that many hours, and then it is told."""
    world = low_level((), "UTC", NIGHT)
    began = world.up
    world.run(60)
    world.wall_offset += step * SECOND
    world.run(5 * 3600)
    first, *others = times(world)
    assert round((first - began) / MINUTE) == 5 * 60 - 1
    assert all(each - first >= 3 * MINUTE for each in others), "the call list's own next step"


# ---- a suspension of thirty days -----------------------------------------------------------------


def asleep(world: World, days: int = 30) -> None:
    """Boot time and wall time go on, and nothing turns."""
    world.up += days * DAY
    world.give(TimePassed())


@every_state
def test_after_thirty_days_asleep_what_was_owed_is_told_at_once_and_once(
    state: Callable[[World], None],
) -> None:
    world = raised(zoned(), NIGHT)
    state(world)
    asleep(world)
    woke = world.up
    at_once = [
        each
        for each in world.made.values()
        if each.made.up == woke and each.kind is NoticeKind.RAISED
    ]
    persons = Counter(each.person for each in at_once)
    assert persons, "an alarm of a month ago that still stands is told when the unit wakes"
    assert set(persons.values()) == {1}
    assert world.process("high-level") == "UNACK"
    assert world.due is not None
    assert world.due > woke
    # And the calls go on at their usual pace: no burst makes good for what was slept through.
    world.run(3600)
    later = [each for each in by_duration(world, woke + SECOND) if each[1] == "anna"]
    assert 1 <= len(later) <= 5


def test_thirty_days_asleep_wear_out_a_promise_a_shelf_and_a_visit() -> None:
    world = raised(zoned(), NIGHT)
    shelved(world)
    asleep(world)
    alarm = world.open_alarm()
    assert (alarm.shelved, alarm.taken) == (None, None)


def test_a_return_during_the_sleep_is_told_once() -> None:
    world = raised(zoned(), NIGHT)
    world.run(10 * 60)
    world.up += 30 * DAY
    world.alarm(LEVEL, on=False)
    world.run(3600)
    over = Counter(each.person for each in world.notices(NoticeKind.STAND_DOWN))
    assert over == {"anna": 1, "ben": 1}
