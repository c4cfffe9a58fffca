"""What people write as a time, in a zone whose clocks change."""

from datetime import UTC, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from zoneinfo import TZPATH, ZoneInfo

import pytest

from relayd.cli import times
from relayd.core.plan import HOUR, MINUTE, SECOND
from relayd.errors import Usage

ZONE = ZoneInfo("America/New_York")


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * SECOND


@pytest.mark.parametrize(
    ("text", "now", "then"),
    [
        pytest.param("14:00", "2026-01-10 18:59", "2026-01-10 19:00", id="later today"),
        pytest.param("14:00", "2026-01-10 19:00", "2026-01-11 19:00", id="just over: tomorrow"),
        pytest.param("2:00", "2026-01-11 02:00", "2026-01-11 07:00", id="past midnight in UTC"),
        pytest.param("23:30", "2026-01-11 04:00", "2026-01-11 04:30", id="before local midnight"),
        # The clocks go forward at 02:00 on 8 March 2026 and back at 02:00 on 1 November 2026.
        pytest.param("04:00", "2026-03-08 06:00", "2026-03-08 08:00", id="over the change"),
        pytest.param("01:30", "2026-11-01 05:00", "2026-11-01 05:30", id="the first 01:30"),
        pytest.param("01:30", "2026-11-01 05:45", "2026-11-01 06:30", id="the second 01:30"),
    ],
)
def test_until_is_the_next_time_the_site_s_clocks_show_it(text: str, now: str, then: str) -> None:
    assert times.coming(text, ZONE, utc(now)) == utc(then)


@pytest.mark.parametrize("text", ["", "24:00", "14.00", "2 pm", "14:60", "tomorrow"])
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(Usage, match="is not a time"):
        times.coming(text, ZONE, utc("2026-01-10 12:00"))


@pytest.mark.parametrize(
    ("text", "then"),
    [
        pytest.param("02:10", "2026-01-10 07:10", id="this night"),
        pytest.param("13:00", "2026-01-09 18:00", id="yesterday"),
        pytest.param("2026-01-08", "2026-01-08 05:00", id="a day"),
        pytest.param("2026-01-08 02:10", "2026-01-08 07:10", id="a day and a time"),
        pytest.param("2026-01-08T02:10", "2026-01-08 07:10", id="with a T"),
        pytest.param("2 h", "2026-01-10 10:00", id="ago"),
    ],
)
def test_since_is_a_time_that_was(text: str, then: str) -> None:
    assert times.past(text, ZONE, utc("2026-01-10 12:00")) == utc(then)


@pytest.mark.parametrize("text", ["2026-02-30", "2026-01-08 25:00", "2026-01-08 noon", "soon", ""])
def test_what_is_no_date_is_refused(text: str) -> None:
    with pytest.raises(Usage):
        times.past(text, ZONE, utc("2026-01-10 12:00"))


def test_a_span_has_a_unit() -> None:
    assert times.span("45 min") == 45 * MINUTE
    assert times.span("2 h") == 2 * HOUR
    with pytest.raises(Usage, match="not a time"):
        times.span("45")


def zone_file() -> bytes:
    """The zone's file, from where the standard library would take it."""
    found = [Path(folder) / ZONE.key for folder in TZPATH]
    here = next((each for each in found if each.exists()), None)
    return (here or files("tzdata").joinpath("zoneinfo", *ZONE.key.split("/"))).read_bytes()


def test_the_site_s_zone_is_the_plan_s_else_this_machine_s(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert times.site_zone("America/New_York") == ZONE
    monkeypatch.setattr(times, "LOCAL", tmp_path / "localtime")
    assert times.site_zone("") is UTC
    (tmp_path / "localtime").write_bytes(zone_file())
    local = times.site_zone("Nowhere/At_All")
    assert datetime.fromtimestamp(0, local) == datetime.fromtimestamp(0, ZONE)
    assert datetime.fromtimestamp(0, local).utcoffset() == -timedelta(hours=5)
