"""Times as people read them: the site's local time, or elapsed time where the clock is not set.

In: stamps, the plan's offsets, a language. Out: text. Knows no zone file.
"""

from collections.abc import Iterable

from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Offset, Plan
from relayd.core.saying.language import ENGLISH, Speech, marked
from relayd.core.state import Stamp

_MONTHS = (
    *(marked("Jan"), marked("Feb"), marked("Mar"), marked("Apr"), marked("May"), marked("Jun")),
    *(marked("Jul"), marked("Aug"), marked("Sep"), marked("Oct"), marked("Nov"), marked("Dec")),
)


def offset_at(plan: Plan, wall: int) -> Offset:
    """The offset in force at that UTC instant; UTC itself where the plan has none."""
    return offset_in(plan.offsets, wall)


def offset_in(offsets: Iterable[Offset], wall: int) -> Offset:
    """The one of these that is in force at that UTC instant; UTC itself where there is none."""
    found = Offset(0, 0, "UTC")
    for each in offsets:
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


def clock(plan: Plan, wall: int, now: Now, say: Speech = ENGLISH) -> str:
    """'02:10' for an instant of today or the coming night, '24 Nov 02:10' for another day."""
    local = wall + offset_at(plan, wall).seconds * SECOND
    days, rest = divmod(local, DAY)
    hours, minutes = rest // HOUR, rest % HOUR // MINUTE
    text = f"{hours:02d}:{minutes:02d}"
    if abs(wall - now.wall) < 12 * HOUR:
        return text
    _, month, day = civil(days)
    return f"{day} {say(_MONTHS[month - 1])} {text}"


def dated(offsets: Iterable[Offset], wall: int, say: Speech = ENGLISH) -> str:
    """'24 Nov 02:10' for any instant: a text that does not change as time goes on."""
    days, rest = divmod(wall + offset_in(offsets, wall).seconds * SECOND, DAY)
    _, month, day = civil(days)
    return f"{day} {say(_MONTHS[month - 1])} {rest // HOUR:02d}:{rest % HOUR // MINUTE:02d}"


def lasted(duration: int) -> str:
    """A duration in its one or two largest parts: '40 s', '12 min', '2 h 05 min', '3 d 4 h'."""
    if duration < MINUTE:
        return f"{max(0, duration) // SECOND} s"
    if duration < HOUR:
        return f"{duration // MINUTE} min"
    if duration < DAY:
        return f"{duration // HOUR} h {duration % HOUR // MINUTE:02d} min"
    return f"{duration // DAY} d {duration % DAY // HOUR} h"


def half_hours(duration: int) -> str:
    """A duration rounded down to half hours: '30 min', '1 h', '2 h 30 min'; '' below the first."""
    halves = max(0, duration) // (30 * MINUTE)
    hours = f"{halves // 2} h" if halves > 1 else ""
    return " ".join(filter(None, (hours, "30 min" if halves % 2 else "")))


def since(plan: Plan, stamp: Stamp, now: Now, say: Speech = ENGLISH) -> str:
    """'since 02:10', or 'for 12 min (clock not set)' where wall time is not to be believed."""
    if stamp.trusted and now.trusted:
        return say("since {time}", time=clock(plan, stamp.wall, now, say))
    if now.up - stamp.up < SECOND:
        return say("just now (clock not set)")
    return say("for {time} (clock not set)", time=lasted(now.up - stamp.up))


def until(plan: Plan, wall: int, up: int, now: Now, say: Speech = ENGLISH) -> str:
    """'until 14:00', or 'for 35 min' where wall time is not to be believed."""
    if now.trusted:
        return say("until {time}", time=clock(plan, wall, now, say))
    return say("for {time}", time=lasted(up - now.up))
