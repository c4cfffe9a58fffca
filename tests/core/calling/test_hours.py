"""Local time, hours that open, and the next time of a day, in three zones and both changes.

The offsets are made by hand (dst_table states the zones' rules) and held against zoneinfo.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from relayd.core.calling import hours
from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Hours, Person, Plan, Priority
from tests.core.build import plan_of
from tests.core.dst_table import ZONES, day_of, utc

ANNA = Person("anna", "Anna", ())
NAMES = list(ZONES)
SIX_MINUTES = 6 * MINUTE


def plan_in(zone: str, **changes: object) -> Plan:
    """A plan in that zone."""
    return plan_of(zone=zone, offsets=ZONES[zone], **changes)


def now_at(wall: int, trusted: bool = True) -> Now:
    """Clocks at a UTC instant; boot time began an hour before."""
    return Now("boot", HOUR, wall, trusted)


def there(zone: str, wall: int) -> datetime:
    """The local time by the zone's own file."""
    return datetime.fromtimestamp(wall // SECOND, UTC).astimezone(ZoneInfo(zone))


def at(plan: Plan, text: str, trusted: bool = True) -> Now:
    """Clocks at '2026-03-09 07:30' local."""
    day, _, clock = text.partition(" ")
    hour, minute = clock.split(":")
    return now_at(
        hours.instant(plan, day_of(day), int(hour) * HOUR + int(minute) * MINUTE), trusted
    )


def local_text(plan: Plan, up: int, now: Now) -> str:
    """The local time of a boot time, '2026-03-09 08:00'."""
    day, time_of_day = hours.local(plan, hours.later(now, up).wall)
    text = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day, microseconds=time_of_day // 1000)
    return f"{text:%Y-%m-%d %H:%M}"


# Local time


@pytest.mark.parametrize("zone", NAMES)
def test_local_time_is_the_zone_s_own_at_every_minute_around_each_change(zone: str) -> None:
    plan = plan_in(zone)
    for each in ZONES[zone]:
        for minute in range(-200, 200):
            wall = each.begins + minute * MINUTE
            day, time_of_day = hours.local(plan, wall)
            if wall < ZONES[zone][0].begins:
                continue
            seen = there(zone, wall)
            assert day * DAY + time_of_day == _naive(seen), f"{zone} {seen}"
            assert hours.weekday(day) == seen.weekday()


@pytest.mark.parametrize("zone", NAMES)
def test_an_instant_is_the_first_at_which_the_zone_s_clock_has_reached_that_time(zone: str) -> None:
    """Found by zoneinfo alone, looking forward minute by minute; gap and fold included."""
    plan = plan_in(zone)
    for each in ZONES[zone][1:]:
        begin = each.begins - 3 * HOUR
        reached = [(begin + n * MINUTE) for n in range(7 * 60)]
        clocks = [_naive(there(zone, wall)) for wall in reached]
        for minute in range(60, 5 * 60, 7):
            wanted = clocks[0] + minute * MINUTE
            first = next(
                wall for wall, clock in zip(reached, clocks, strict=True) if clock >= wanted
            )
            assert hours.instant(plan, *divmod(wanted, DAY)) == first


def _naive(seen: datetime) -> int:
    """Local time as a count of ns, as if it were UTC."""
    return int(seen.replace(tzinfo=UTC).timestamp()) * SECOND


@pytest.mark.parametrize(
    ("zone", "local", "world"),
    [
        ("America/New_York", "2026-03-08 02:30", "2026-03-08 07:00"),
        ("America/New_York", "2026-11-01 01:30", "2026-11-01 05:30"),
        ("Europe/Vienna", "2026-03-29 02:00", "2026-03-29 01:00"),
        ("Europe/Vienna", "2026-10-25 02:15", "2026-10-25 00:15"),
        ("Europe/Vienna", "2026-10-25 03:00", "2026-10-25 02:00"),
        ("Australia/Lord_Howe", "2026-10-04 02:10", "2026-10-03 15:30"),
        ("Australia/Lord_Howe", "2026-04-05 01:45", "2026-04-04 14:45"),
        ("Europe/Vienna", "2025-06-01 12:00", "2025-06-01 11:00"),
    ],
    ids=["gap", "fold", "gap's begin", "fold 2", "after the fold", "gap 3", "fold 3", "before all"],
)
def test_instants_worked_by_hand(zone: str, local: str, world: str) -> None:
    plan = plan_in(zone)
    assert at(plan, local).wall == utc(world)


def test_without_offsets_local_time_is_utc() -> None:
    plan = plan_of()
    assert hours.local(plan, utc("2026-05-05 10:00")) == (day_of("2026-05-05"), 10 * HOUR)
    assert hours.instant(plan, day_of("2026-05-05"), 10 * HOUR) == utc("2026-05-05 10:00")


# Working hours


@pytest.mark.parametrize(
    ("now", "opens"),
    [
        ("2026-03-06 07:59", "2026-03-06 08:00"),
        ("2026-03-06 08:00", "2026-03-06 08:00"),
        ("2026-03-06 16:59", "2026-03-06 16:59"),
        ("2026-03-06 17:00", "2026-03-09 08:00"),
        ("2026-03-07 12:00", "2026-03-09 08:00"),
        ("2026-03-08 23:00", "2026-03-09 08:00"),
    ],
    ids=["before", "at the minute", "last minute", "Friday evening", "Saturday", "Sunday of DST"],
)
def test_trade_5_usual_working_hours_are_monday_to_friday_8_to_17(now: str, opens: str) -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, now)
    assert local_text(plan, hours.opens(plan, ANNA, clock), clock) == opens


def office(*holidays: str) -> dict[str, Hours]:
    """Monday to Friday 9 to 12, and nights from 22 to 06 for whoever works them."""
    days = frozenset(day_of(each) for each in holidays)
    return {
        "office": Hours("office", dict.fromkeys(range(5), (9 * HOUR, 12 * HOUR)), days),
        "nights": Hours("nights", {4: (22 * HOUR, 6 * HOUR)}),
        "never": Hours("never", {}),
    }


@pytest.mark.parametrize(
    ("whose", "now", "opens"),
    [
        ("", "2026-03-05 13:00", "2026-03-06 09:00"),
        ("", "2026-03-06 13:00", "2026-03-10 09:00"),
        ("nights", "2026-03-06 21:00", "2026-03-06 22:00"),
        ("nights", "2026-03-07 05:59", "2026-03-07 05:59"),
        ("nights", "2026-03-07 06:00", "2026-03-13 22:00"),
        ("never", "2026-03-07 06:00", "2026-03-21 07:00"),
    ],
    ids=[
        "the unit's",
        "over a holiday",
        "own",
        "still yesterday's",
        "a week on",
        "14 days at most",
    ],
)
def test_hours_of_the_person_else_of_the_unit_and_holidays(
    whose: str, now: str, opens: str
) -> None:
    """'never': 14 days of 24 h from 06:00 EST are 07:00 EDT."""
    plan = plan_in("America/New_York", hours=office("2026-03-09"), work="office")
    clock = at(plan, now)
    person = replace(ANNA, hours=whose)
    assert local_text(plan, hours.opens(plan, person, clock), clock) == opens


def test_all_holidays_hold_nothing_back_for_more_than_14_days() -> None:
    holidays = [f"2026-03-{day:02d}" for day in range(1, 32)]
    plan = plan_in("Europe/Vienna", hours=office(*holidays), work="office")
    clock = at(plan, "2026-03-02 10:00")
    assert hours.opens(plan, ANNA, clock) == clock.up + 14 * DAY
    assert hours.next_opening(plan, ANNA, clock) == clock.up + 14 * DAY


# Waking hours


@pytest.mark.parametrize(
    ("waking", "now", "opens"),
    [
        ((7, 22), "2026-03-08 01:30", "2026-03-08 07:00"),
        ((7, 22), "2026-03-08 07:00", "2026-03-08 07:00"),
        ((7, 22), "2026-03-08 22:00", "2026-03-09 07:00"),
        ((14, 4), "2026-03-08 03:30", "2026-03-08 03:30"),
        ((14, 4), "2026-03-08 04:00", "2026-03-08 14:00"),
        ((0, 24), "2026-03-08 03:30", "2026-03-08 03:30"),
        ((7, 7), "2026-03-08 03:30", "2026-03-08 03:30"),
    ],
    ids=["night", "on the hour", "evening", "past midnight", "sleeps by day", "all day", "same"],
)
def test_trade_5_waking_hours(waking: tuple[int, int], now: str, opens: str) -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, now)
    person = replace(ANNA, waking=(waking[0] * HOUR, waking[1] * HOUR))
    assert local_text(plan, hours.waking(plan, person, clock), clock) == opens


@pytest.mark.parametrize(
    ("priority", "waits", "opens"),
    [
        (Priority.HIGH, False, "2026-03-07 02:00"),
        (Priority.MEDIUM, False, "2026-03-07 07:00"),
        (Priority.MEDIUM, True, "2026-03-09 08:00"),
        (Priority.LOW, False, "2026-03-09 08:00"),
        (Priority.RECORD_ONLY, False, "2026-03-07 02:00"),
    ],
    ids=["high", "medium", "medium waits", "low", "record-only"],
)
def test_trade_5_high_at_any_hour_medium_when_awake_low_at_work(
    priority: Priority, waits: bool, opens: str
) -> None:
    plan = plan_in("America/New_York", medium_waits=waits)
    clock = at(plan, "2026-03-07 02:00")
    assert local_text(plan, hours.may_tell(plan, "anna", priority, clock), clock) == opens


def test_a_clock_that_is_not_to_be_believed_holds_nothing_back() -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, "2026-03-07 02:00", trusted=False)
    for priority in Priority:
        assert hours.may_tell(plan, "anna", priority, clock) == clock.up


# The next opening, and the next time of a day


@pytest.mark.parametrize(
    ("now", "opens"),
    [
        ("2026-03-06 02:31", "2026-03-06 08:00"),
        ("2026-03-06 08:00", "2026-03-09 08:00"),
        ("2026-03-06 10:00", "2026-03-09 08:00"),
        ("2026-03-08 01:00", "2026-03-09 08:00"),
    ],
    ids=["this morning", "at its begin", "at work", "weekend"],
)
def test_the_next_opening_is_still_to_come(now: str, opens: str) -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, now)
    assert local_text(plan, hours.next_opening(plan, ANNA, clock), clock) == opens


def test_without_a_clock_the_next_morning_is_half_a_day_away() -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, "2026-03-06 02:31", trusted=False)
    assert hours.next_opening(plan, ANNA, clock) == clock.up + 12 * HOUR


@pytest.mark.parametrize(
    ("now", "time_of_day", "away", "found"),
    [
        ("2026-03-07 02:00", 9 * HOUR, 6 * HOUR, "2026-03-07 09:00"),
        ("2026-03-07 15:00", 9 * HOUR, 6 * HOUR, "2026-03-08 09:00"),
        ("2026-03-07 03:00", 9 * HOUR, 6 * HOUR, "2026-03-07 09:00"),
        ("2026-03-07 03:01", 9 * HOUR, 6 * HOUR, "2026-03-08 09:00"),
        ("2026-03-08 02:59", 9 * HOUR, 6 * HOUR, "2026-03-08 09:00"),
        ("2026-03-07 09:00", 9 * HOUR, 0, "2026-03-08 09:00"),
        ("2026-03-08 00:30", 2 * HOUR + 30 * MINUTE, 0, "2026-03-08 03:00"),
    ],
    ids=["same morning", "next", "just", "just not", "short night", "not now", "in the gap"],
)
def test_trade_5_the_next_time_of_day_that_is_far_enough_away(
    now: str, time_of_day: int, away: int, found: str
) -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, now)
    assert local_text(plan, hours.next_at(plan, time_of_day, away, clock), clock) == found


@pytest.mark.parametrize(
    ("away", "found"), [(6 * HOUR, 6 * HOUR), (0, DAY), (SIX_MINUTES, DAY)], ids=str
)
def test_without_a_clock_the_next_time_of_day_is_that_far_away(away: int, found: int) -> None:
    plan = plan_in("America/New_York")
    clock = at(plan, "2026-03-07 02:00", trusted=False)
    assert hours.next_at(plan, 9 * HOUR, away, clock) == clock.up + found


@pytest.mark.parametrize(
    ("hour", "minute", "found"),
    [(10, 0, (10, 0)), (9, 0, (9, 0)), (20, 0, (20, 0)), (20, 1, (33, 0)), (3, 0, (9, 0))],
    ids=str,
)
def test_what_is_put_off_comes_at_its_time_by_day_and_else_the_next_morning(
    hour: int, minute: int, found: tuple[int, int]
) -> None:
    midnight = Now("boot-1", 50 * DAY, 20_000 * DAY, True)
    wanted = midnight.up + hour * HOUR + minute * MINUTE
    expected = midnight.up + found[0] * HOUR + found[1] * MINUTE
    plan = plan_of()
    assert hours.by_day(plan, wanted, 9 * HOUR, 20 * HOUR, midnight) == expected
