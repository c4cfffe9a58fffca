"""The plan's offsets say what the zone itself says, through the nights when the clocks change."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, strategies as st

from relayd.core.plan import SECOND, Plan
from relayd.core.saying.when import offset_at
from relayd.settings import offsets
from relayd.settings.zone import zone_name
from tests.settings.plans import SOUND, WALL, loaded

ZONES = ["America/New_York", "Australia/Lord_Howe", "Europe/Dublin"]
"""A plain one, one that moves by half an hour south of the equator, one whose winter is the exception."""
NIGHTS = {
    "America/New_York": [(2026, 3, 8, 7, 0), (2026, 11, 1, 6, 0)],
    "Australia/Lord_Howe": [(2026, 4, 4, 15, 0), (2026, 10, 3, 15, 30)],
    "Europe/Dublin": [(2026, 3, 29, 1, 0), (2026, 10, 25, 1, 0)],
}


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    return loaded(Path(tmp_path_factory.mktemp("plan")), SOUND).plan


def in_zone(plan: Plan, zone: str) -> Plan:
    return replace(plan, zone=zone, offsets=offsets(zone, WALL))


def told(plan: Plan, at: datetime) -> tuple[int, str]:
    found = offset_at(plan, round(at.timestamp()) * SECOND)
    return found.seconds, found.label


def true(zone: str, at: datetime) -> tuple[int, str | None]:
    there = at.astimezone(ZoneInfo(zone))
    ahead = there.utcoffset()
    assert ahead is not None
    return round(ahead.total_seconds()), there.tzname()


@pytest.mark.parametrize(
    ("zone", "night"),
    [(zone, night) for zone, nights in NIGHTS.items() for night in nights],
    ids=str,
)
def test_each_minute_of_the_night_is_right_when_the_clocks_change(
    plan: Plan, zone: str, night: tuple[int, int, int, int, int]
) -> None:
    there = in_zone(plan, zone)
    change = datetime(*night, tzinfo=UTC)
    before, after = change - timedelta(seconds=1), change
    assert true(zone, before) != true(zone, after)
    for at in [before, after, *(change + timedelta(minutes=n) for n in range(-180, 181))]:
        assert told(there, at) == true(zone, at)


@pytest.mark.parametrize("zone", ZONES)
def test_every_day_from_the_year_before_to_three_years_ahead_is_right(
    plan: Plan, zone: str
) -> None:
    there = in_zone(plan, zone)
    at = datetime(2024, 1, 1, tzinfo=UTC)
    while at < datetime(2029, 1, 1, tzinfo=UTC):
        assert told(there, at) == true(zone, at)
        at += timedelta(hours=23)


@given(
    zone=st.sampled_from(
        ["Africa/Casablanca", "America/St_Johns", "Asia/Kathmandu", "Pacific/Apia", *ZONES]
    ),
    second=st.integers(
        int(datetime(2024, 1, 1, tzinfo=UTC).timestamp()),
        int(datetime(2028, 12, 31, tzinfo=UTC).timestamp()),
    ),
)
def test_any_second_is_right(plan: Plan, zone: str, second: int) -> None:
    at = datetime.fromtimestamp(second, UTC)
    assert told(in_zone(plan, zone), at) == true(zone, at)


def test_a_zone_without_changes_has_one_entry() -> None:
    assert [(each.seconds, each.label) for each in offsets("Asia/Kathmandu", WALL)] == [
        (20_700, "+0545")
    ]


def test_the_entries_rise_and_begin_with_the_year_before() -> None:
    begins = [each.begins for each in offsets("Europe/Dublin", WALL)]
    assert begins == sorted(set(begins))
    assert begins[0] == int(datetime(2024, 1, 1, tzinfo=UTC).timestamp()) * SECOND


@pytest.mark.parametrize("wall", [-(10**20), -1, 0, 10**20, 10**40])
def test_a_clock_out_of_all_reason_makes_nothing_fail(wall: int) -> None:
    found = offsets("Europe/Dublin", wall)
    assert found
    assert all(-86_400 < each.seconds < 86_400 for each in found)


@pytest.mark.parametrize(
    "name",
    ["", "America", "No/Where", "../etc/passwd", "/etc/localtime", "a b", "x" * 300, "UTC\0"],
)
def test_what_is_no_zone_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="is no time zone; write an IANA name"):
        zone_name(name)


@pytest.mark.parametrize(
    ("name", "near"),
    [("america/new_york", "America/New_York"), ("Europe/Dublim", "Europe/Dublin")],
)
def test_a_misspelt_zone_is_told_with_the_nearest(name: str, near: str) -> None:
    with pytest.raises(ValueError, match="is no time zone") as refused:
        zone_name(name)
    assert str(refused.value).endswith(f'did you mean "{near}"?')
