"""Times as people read them, against the calendar of the standard library."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, strategies as st

from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, SECOND, Offset, Plan
from relayd.core.saying.when import civil, clock, dated, lasted, offset_at, since, until
from relayd.core.state import Stamp
from tests.core.world import plan


def utc(*parts: int) -> int:
    """That moment in ns since 1970."""
    return round(datetime(*parts, tzinfo=UTC).timestamp()) * SECOND  # type: ignore[misc,arg-type]


def zoned() -> Plan:
    """A zone that leaves summer time on 25 October 2026, 01:00 UTC."""
    summer, winter = (
        Offset(utc(2026, 3, 29, 1), 7200, "CEST"),
        Offset(utc(2026, 10, 25, 1), 3600, "CET"),
    )
    return replace(plan(), offsets=(summer, winter))


def at(wall: int, trusted: bool = True) -> Now:
    return Now("boot-1", 1000 * SECOND, wall, trusted)


@given(st.integers(-700_000, 2_900_000))
def test_days_are_counted_as_the_calendar_counts_them(days: int) -> None:
    day = datetime(1970, 1, 1) + timedelta(days=days)  # noqa: DTZ001 - a date, no time
    assert civil(days) == (day.year, day.month, day.day)


@pytest.mark.parametrize(
    ("wall", "text"),
    [
        (utc(2026, 6, 1, 12, 5), "14:05"),
        (utc(2026, 6, 1, 23, 59), "01:59"),
        (utc(2026, 6, 2, 0, 0), "2 Jun 02:00"),
        (utc(2026, 5, 31, 22, 0), "1 Jun 00:00"),
        (utc(2026, 12, 31, 23, 30), "1 Jan 00:30"),
    ],
)
def test_a_moment_is_told_in_the_site_s_own_time(wall: int, text: str) -> None:
    assert clock(zoned(), wall, at(utc(2026, 6, 1, 12, 0))) == text


@pytest.mark.parametrize(
    ("wall", "label"),
    [
        (utc(2026, 1, 1), "UTC"),
        (utc(2026, 3, 29, 1), "CEST"),
        (utc(2026, 10, 25, 0, 59), "CEST"),
        (utc(2026, 10, 25, 1), "CET"),
    ],
)
def test_the_offset_in_force_is_the_last_that_began(wall: int, label: str) -> None:
    assert offset_at(zoned(), wall).label == label


@pytest.mark.parametrize(
    ("duration", "text"),
    [
        (-5 * SECOND, "0 s"),
        (40 * SECOND, "40 s"),
        (12 * MINUTE, "12 min"),
        (2 * HOUR + 5 * MINUTE, "2 h 05 min"),
        (76 * HOUR, "3 d 4 h"),
    ],
)
def test_a_duration_is_told_in_its_largest_parts(duration: int, text: str) -> None:
    assert lasted(duration) == text


@pytest.mark.parametrize(
    ("stamped", "read", "text"),
    [
        (True, True, "since 11:50"),
        (False, True, "for 10 min (clock not set)"),
        (True, False, "for 10 min (clock not set)"),
    ],
)
def test_since_when_is_elapsed_time_where_the_clock_is_not_set(
    stamped: bool, read: bool, text: str
) -> None:
    wall = utc(2026, 6, 1, 12, 0)
    stamp = Stamp(1000 * SECOND - 10 * MINUTE, wall - 10 * MINUTE, stamped)
    assert since(plan(), stamp, at(wall, read)) == text


@pytest.mark.parametrize(
    ("wall", "text"),
    [
        (utc(2026, 10, 25, 0, 59), "25 Oct 02:59"),
        (utc(2026, 10, 25, 1, 5), "25 Oct 02:05"),
        (utc(2026, 12, 31, 23, 5), "1 Jan 00:05"),
    ],
)
def test_a_date_is_told_by_the_site_s_clock_whenever_it_is_read(wall: int, text: str) -> None:
    assert dated(zoned().offsets, wall) == text


def test_what_has_just_begun_is_told_so_where_the_clock_is_not_set() -> None:
    wall = utc(2026, 6, 1, 12, 0)
    assert (
        since(plan(), Stamp(1000 * SECOND, wall, False), at(wall, False))
        == "just now (clock not set)"
    )


@pytest.mark.parametrize(("trusted", "text"), [(True, "until 12:35"), (False, "for 35 min")])
def test_until_when_is_a_duration_where_the_clock_is_not_set(trusted: bool, text: str) -> None:
    wall = utc(2026, 6, 1, 12, 0)
    promise = wall + 35 * MINUTE
    assert until(plan(), promise, 1000 * SECOND + 35 * MINUTE, at(wall, trusted)) == text
