"""What people write as a time, in the site's zone. All times in nanoseconds, instants in UTC."""

import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from relayd.core.plan import SECOND
from relayd.errors import Usage
from relayd.words import duration

LOCAL = Path("/etc/localtime")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")
_DATE = re.compile(r"(\d{4}-\d\d-\d\d)(?:[ T](\S+))?")


def site_zone(name: str) -> tzinfo:
    """The zone of that name; this machine's own where the name is empty or unknown."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        if not LOCAL.exists():
            return UTC
    with LOCAL.open("rb") as file:
        return ZoneInfo.from_file(file)


def span(text: str) -> int:
    """A duration such as '45 min' or '2 h'. Raises Usage."""
    try:
        return duration(text)
    except ValueError as error:
        raise Usage(str(error)) from None


def coming(text: str, zone: tzinfo, wall: int) -> int:
    """The next instant after `wall` at which the site's clocks show 'HH:MM'. Raises Usage."""
    clock = _clock(text)
    if clock is None:
        raise Usage(f"'{text}' is not a time; write hours and minutes, such as 14:00")
    return min(each for each in _instants(clock, zone, wall, (-1, 0, 1, 2)) if each > wall)


def past(text: str, zone: tzinfo, wall: int) -> int:
    """The instant meant by '02:10' (the last one), '2026-11-24', '2026-11-24 02:10', or '2 h' (ago). Raises Usage."""
    clock, dated = _clock(text), _DATE.fullmatch(text.strip())
    if clock is not None:
        return max(each for each in _instants(clock, zone, wall, (-2, -1, 0, 1)) if each <= wall)
    if dated is None:
        return wall - span(text)
    at = _clock(dated[2]) if dated[2] else time()
    try:
        day = date.fromisoformat(dated[1])
    except ValueError:
        at = None
    if at is None:
        raise Usage(f"'{text}' is not a date; write it such as 2026-11-24 or 2026-11-24 02:10")
    return _instant(day, at, zone)


def _clock(text: str) -> time | None:
    found = _CLOCK.fullmatch(text.strip())
    return time(int(found[1]), int(found[2])) if found else None


def _instants(clock: time, zone: tzinfo, wall: int, days: tuple[int, ...]) -> list[int]:
    """When the clocks show that time around `wall`; twice on a day whose clocks go back over it."""
    today = datetime.fromtimestamp(wall // SECOND, zone).date()
    return [
        _instant(today + timedelta(days=each), clock.replace(fold=fold), zone)
        for each in days
        for fold in (0, 1)
    ]


def _instant(day: date, clock: time, zone: tzinfo) -> int:
    return int(datetime.combine(day, clock, zone).timestamp()) * SECOND
