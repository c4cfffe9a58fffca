"""Local time, working hours and waking hours, out of the plan's offsets and calendars.

In: plan, an instant. Out: boot times. Where wall time is not to be believed nothing is held back:
every 'opens' is now. Opens no zone file: the loader has resolved zones and holidays.

A local time that a change of the clocks leaves out is the first instant after the gap; one that
comes twice is the first of the two. Both follow from one rule: the first instant at which the
local clock has reached it.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace

from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, SECOND, Hours, Offset, Person, Plan, Priority

MOST_AHEAD = 14
"""Days. Hours that do not open within two weeks hold nothing back any longer: then it is told."""
HALF_DAY = 12 * HOUR
"""Without a clock nobody knows when the next working morning is; half a day from now is near it."""
USUAL = Hours("usual", dict.fromkeys(range(5), (8 * HOUR, 17 * HOUR)))
"""Monday to Friday, 08:00 to 17:00: common practice, no source."""

Window = Callable[[int], tuple[int, int] | None]
"""From a local day (counted from 1970-01-01) to its opening hours, as local times of day in ns."""


def local(plan: Plan, wall: int) -> tuple[int, int]:
    """Local day, counted from 1970-01-01, and local time of day (ns) at a UTC instant (ns)."""
    ahead = plan.offsets[0].seconds if plan.offsets else 0
    for each in plan.offsets:
        if each.begins <= wall:
            ahead = each.seconds
    return divmod(wall + ahead * SECOND, DAY)


def weekday(day: int) -> int:
    """The weekday (0 = Monday) of a day counted from 1970-01-01, which was a Thursday."""
    return (day + 3) % 7


def instant(plan: Plan, day: int, time_of_day: int) -> int:
    """The first UTC instant (ns) at which the local clock has reached that time of that day."""
    wanted = day * DAY + time_of_day
    first, *others = plan.offsets or (Offset(0, 0, "UTC"),)
    found = wanted - first.seconds * SECOND
    for each in others:
        if found < each.begins:
            break
        found = max(each.begins, wanted - each.seconds * SECOND)
    return found


def later(now: Now, up: int) -> Now:
    """The clocks as they will stand at boot time `up`."""
    return replace(now, up=up, wall=now.wall + up - now.up)


def opens(plan: Plan, person: Person, now: Now) -> int:
    """Boot time at which this person's working hours next begin; now.up within them."""
    return _opens(plan, _working(plan, person), now)


def waking(plan: Plan, person: Person, now: Now) -> int:
    """Boot time at which this person's waking hours next begin; now.up within them."""
    return _opens(plan, lambda day: person.waking, now)


def may_tell(plan: Plan, person: str, priority: Priority, now: Now) -> int:
    """Boot time from which that person may be told of an alarm of that priority: high at any hour."""
    if priority in (Priority.HIGH, Priority.RECORD_ONLY):
        return now.up
    works = priority is Priority.LOW or plan.medium_waits
    return (opens if works else waking)(plan, plan.people[person], now)


def next_opening(plan: Plan, person: Person, now: Now) -> int:
    """Boot time of the next beginning of this person's working hours that is still to come."""
    if not now.trusted:
        return now.up + HALF_DAY
    window = _working(plan, person)
    today = local(plan, now.wall)[0]
    for day in range(today, today + MOST_AHEAD + 1):
        span = window(day)
        begins = instant(plan, day, span[0]) if span else now.wall
        if begins > now.wall:
            return now.up + begins - now.wall
    return now.up + MOST_AHEAD * DAY


def next_at(plan: Plan, time_of_day: int, away: int, now: Now) -> int:
    """Boot time of the next local `time_of_day` (ns) that is at least `away` ns from now.

    Without a clock: `away` from now where that is an hour or more, else a day from now.
    """
    if not now.trusted:
        return now.up + (away if away >= HOUR else DAY)
    least = now.wall + max(away, 1)
    day = local(plan, least)[0]
    while (found := instant(plan, day, time_of_day)) < least:
        day += 1
    return now.up + found - now.wall


def by_day(plan: Plan, up: int, begins: int, ends: int, now: Now) -> int:
    """Boot time `up` where its local time of day is within these (ns), else the next `begins`."""
    if now.trusted and begins <= local(plan, later(now, up).wall)[1] <= ends:
        return up
    return next_at(plan, begins, up - now.up, now)


def _working(plan: Plan, person: Person) -> Window:
    hours = plan.hours.get(person.hours or plan.work, USUAL)
    days: Mapping[int, tuple[int, int]] = hours.days
    return lambda day: None if day in hours.holidays else days.get(weekday(day))


def _opens(plan: Plan, window: Window, now: Now) -> int:
    """The beginning of the window that is open or comes next; one that ends before it begins
    ends on the next day, and so yesterday's may still be open."""
    if not now.trusted:
        return now.up
    today = local(plan, now.wall)[0]
    for day in range(today - 1, today + MOST_AHEAD + 1):
        span = window(day)
        if span is None:
            continue
        begin, end = span
        if now.wall < instant(plan, day + (end <= begin), end):
            return now.up + max(0, instant(plan, day, begin) - now.wall)
    return now.up + MOST_AHEAD * DAY
