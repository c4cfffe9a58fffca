"""Times as people read them: the site's local time, or elapsed time where the clock is not set.

In: stamps and the plan's offsets. Knows no zone file. Out: text.
"""

from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, SECOND, Offset, Plan
from relayd.core.state import Stamp

DAY = 24 * HOUR
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def offset_at(plan: Plan, wall: int) -> Offset:
    """The offset in force at that UTC instant; UTC itself where the plan has none."""
    found = Offset(0, 0, "UTC")
    for each in plan.offsets:
        if each.begins <= wall:
            found = each
    return found


def civil(days: int) -> tuple[int, int, int]:
    """Year, month, day of the proleptic Gregorian calendar, `days` after 1970-01-01."""
    era, day = divmod(days + 719468, 146097)
    year = (day - day // 1460 + day // 36524 - day // 146096) // 365
    left = day - (365 * year + year // 4 - year // 100)
    month = (5 * left + 2) // 153
    date = left - (153 * month + 2) // 5 + 1
    real = month + 3 if month < 10 else month - 9
    return year + era * 400 + (1 if real <= 2 else 0), real, date


def clock(plan: Plan, wall: int, now: Now) -> str:
    """'02:10' for an instant of today or the coming night, '24 Nov 02:10' for another day."""
    local = wall + offset_at(plan, wall).seconds * SECOND
    days, rest = divmod(local, DAY)
    hours, minutes = rest // HOUR, rest % HOUR // MINUTE
    text = f"{hours:02d}:{minutes:02d}"
    if abs(wall - now.wall) < 12 * HOUR:
        return text
    _, month, day = civil(days)
    return f"{day} {_MONTHS[month - 1]} {text}"


def lasted(duration: int) -> str:
    """A duration in its one or two largest parts: '40 s', '12 min', '2 h 05 min', '3 d 4 h'."""
    if duration < MINUTE:
        return f"{max(0, duration) // SECOND} s"
    if duration < HOUR:
        return f"{duration // MINUTE} min"
    if duration < DAY:
        return f"{duration // HOUR} h {duration % HOUR // MINUTE:02d} min"
    return f"{duration // DAY} d {duration % DAY // HOUR} h"


def since(plan: Plan, stamp: Stamp, now: Now) -> str:
    """'since 02:10', or 'for 12 min (clock not set)' where wall time is not to be believed."""
    if stamp.trusted and now.trusted:
        return f"since {clock(plan, stamp.wall, now)}"
    if now.up - stamp.up < SECOND:
        return "just now (clock not set)"
    return f"for {lasted(now.up - stamp.up)} (clock not set)"


def until(plan: Plan, wall: int, up: int, now: Now) -> str:
    """'until 14:00', or 'for 35 min' where wall time is not to be believed."""
    if now.trusted:
        return f"until {clock(plan, wall, now)}"
    return f"for {lasted(up - now.up)}"
