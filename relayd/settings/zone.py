"""Time zones for a core that opens no file: each change of the local time, worked out beforehand.

Out: `Offset` entries, UTC in nanoseconds since 1970. Whoever runs on for months, or learns that
the clock was wrong, asks again.
"""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo, available_timezones

from relayd.core.plan import SECOND, Offset
from relayd.words import did_you_mean, quoted

YEARS_BEFORE, YEARS_AHEAD = 1, 3
_STEP = 12 * 3600
"""Seconds between two looks: no zone changes and changes back within half a day."""
_FIRST_YEAR, _LAST_YEAR = 1971, 9000
_NAME = re.compile(r"[A-Za-z0-9_+-]+(/[A-Za-z0-9_+-]+)*")


def zone_name(value: str) -> str:
    """The name itself if it is an IANA zone of this machine. Raises ValueError with what to do."""
    if _NAME.fullmatch(value) and _known(value):
        return value
    allowed = 'write an IANA name such as "Europe/Vienna"'
    raise ValueError(
        f"{quoted(value)} is no time zone; {allowed}{did_you_mean(value, sorted(available_timezones()))}"
    )


def offsets(zone: str, wall: int) -> tuple[Offset, ...]:
    """Every change of local time from the year before `wall` to the end of the third year after it."""
    place = ZoneInfo(zone)
    year = year_of(wall)
    at, end = _new_year(year - YEARS_BEFORE), _new_year(year + YEARS_AHEAD + 1)
    found = [_offset(place, at)]
    while at < end:
        following = min(at + _STEP, end)
        if _look(place, following) != _look(place, at):
            found.append(_offset(place, _change(place, at, following)))
        at = following
    return tuple(found)


def _known(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (LookupError, ValueError, OSError):
        # A folder of zones, a file that is no zone, or nothing of that name.
        return False
    return True


def year_of(wall: int) -> int:
    """The year of `wall`; a clock that is out of all reason is brought back into it."""
    top = _new_year(_LAST_YEAR)
    second = min(max(wall // SECOND, 0), top)
    return max(datetime.fromtimestamp(second, UTC).year, _FIRST_YEAR)


def _new_year(year: int) -> int:
    return int(datetime(year, 1, 1, tzinfo=UTC).timestamp())


def _look(place: ZoneInfo, second: int) -> tuple[int, str]:
    there = datetime.fromtimestamp(second, place)
    ahead = there.utcoffset()
    return (round(ahead.total_seconds()) if ahead else 0), there.tzname() or ""


def _change(place: ZoneInfo, before: int, after: int) -> int:
    """The first second at which local time is what it is at `after`."""
    old = _look(place, before)
    while after - before > 1:
        middle = (before + after) // 2
        if _look(place, middle) == old:
            before = middle
        else:
            after = middle
    return after


def _offset(place: ZoneInfo, second: int) -> Offset:
    ahead, label = _look(place, second)
    return Offset(second * SECOND, ahead, label)
