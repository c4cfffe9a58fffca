"""Calendars for a core that opens none: public holidays as plain days, on-call schedules as plain turns.

In: tables that broke no rule, the unit's zone, the instant of loading. Out: the plan's hours and
turns, from the year before that instant to the end of the third year after it.
"""

from bisect import bisect_right
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from relayd.core.plan import HOUR, MINUTE, SECOND, Hours, OnCall, Turn
from relayd.settings.schema import Change, HoursTable, OnCallTable, sure
from relayd.settings.zone import YEARS_AHEAD, YEARS_BEFORE, year_of

EPOCH = date(1970, 1, 1)


def hours(table: HoursTable, wall: int) -> Hours:
    """The working hours of this table, their holidays resolved for the years around `wall`."""
    each = (sure(table.from_), sure(table.until))
    free = {sure(day) for day in table.holidays_list or []}
    if table.holidays is not None:
        free |= public_holidays(table.holidays, years(wall))
    return Hours(
        id=sure(table.id),
        days={sure(day): each for day in sure(table.days)},
        holidays=frozenset((day - EPOCH).days for day in free),
    )


def public_holidays(code: str, of: Iterable[int]) -> set[date]:
    """The days without work of that country or part of it, in these years."""
    # Here, since it is large and few plans need it.
    import holidays

    country, _, part = code.partition("-")
    return set(holidays.country_holidays(country, subdiv=part or None, years=list(of)))


def years(wall: int) -> range:
    """The years that a plan loaded at `wall` is resolved for."""
    year = year_of(wall)
    return range(year - YEARS_BEFORE, year + YEARS_AHEAD + 1)


def on_call(table: OnCallTable, zone: str, wall: int) -> OnCall:
    """The turns of this schedule.

    Before its first day the persons take turns too, backwards: a schedule that begins next month
    must not leave this month without anybody.
    """
    place = ZoneInfo(zone)
    usual = _usual(table, place, wall)
    swaps = [
        (instant(each.from_, table, place), instant(each.until, table, place), sure(each.person))
        for each in table.instead or []
    ]
    begins = {at for at, _ in usual} | {at for swap in swaps for at in swap[:2]}
    starts = [at for at, _ in usual]
    turns: list[Turn] = []
    for at in sorted(each for each in begins if each >= starts[0]):
        person = usual[bisect_right(starts, at) - 1][1]
        person = next((who for since, until, who in swaps if since <= at < until), person)
        if not turns or turns[-1].person != person:
            turns.append(Turn(at * SECOND, person))
    return OnCall(sure(table.id), tuple(turns))


def _usual(table: OnCallTable, place: ZoneInfo, wall: int) -> list[tuple[int, str]]:
    """The turns without exceptions: (UTC second, person), the first one before the resolved years."""
    span = timedelta(days=7 if table.change is Change.WEEKLY else 1)
    first, persons = sure(table.begins), [sure(each) for each in sure(table.persons)]
    resolved = years(wall)
    turn = (date(resolved[0], 1, 1) - first) // span - 1
    end = date(resolved[-1] + 1, 1, 1)
    found = []
    while (day := first + turn * span) < end:
        found.append((_second(day, sure(table.at), place), persons[turn % len(persons)]))
        turn += 1
    return found


def instant(value: date | None, table: OnCallTable, place: ZoneInfo) -> int:
    """The UTC second of a local time; of a day alone, at the hour at which the schedule changes."""
    moment = sure(value)
    if isinstance(moment, datetime):
        return int(moment.replace(tzinfo=place).timestamp())
    return _second(moment, sure(table.at), place)


def _second(day: date, at: int, place: ZoneInfo) -> int:
    """The UTC second of that time of day; one that a change of the clocks leaves out comes an hour later."""
    clock = time(at // HOUR, at % HOUR // MINUTE)
    return int(datetime.combine(day, clock, place).astimezone(UTC).timestamp())
