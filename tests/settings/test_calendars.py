"""Working hours, public holidays and on-call schedules come out as plain days and instants."""

from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from relayd.core.plan import HOUR, SECOND, Hours, Turn
from relayd.settings.calendars import EPOCH, public_holidays
from tests.settings.plans import SOUND, changed, loaded

HOURS = """
[[hours]]
id = "office"
days = ["mon", "sat"]
from = "08:00"
until = "16:30"
"""
CALL = """
[[on_call]]
id = "standby"
persons = ["anna", "ben"]
begins = 2026-01-05
"""
CALLED = ('tell = ["anna"]', 'tell = ["standby"]')


def office(folder: Path, more: str = "") -> Hours:
    return loaded(folder, SOUND + HOURS + more).plan.hours["office"]


def turns(folder: Path, more: str = "", zone: str = "Europe/Vienna") -> tuple[Turn, ...]:
    text = changed(CALLED, ("America/New_York", zone)) + CALL + more
    return loaded(folder, text).plan.on_call["standby"].turns


def at(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * SECOND


def on_duty(found: tuple[Turn, ...], instant: str) -> str:
    return next(each.person for each in reversed(found) if each.begins <= at(instant))


def test_hours_are_times_of_day_by_weekday(tmp_path: Path) -> None:
    span = (8 * HOUR, 16 * HOUR + HOUR // 2)
    assert office(tmp_path) == Hours("office", {0: span, 5: span})


def test_holidays_of_ones_own_are_days_since_1970(tmp_path: Path) -> None:
    found = office(tmp_path, 'holidays_list = [1970-01-02, "2026-12-24"]\n').holidays
    assert found == {1, (date(2026, 12, 24) - EPOCH).days}


def test_a_countrys_holidays_cover_the_year_before_and_three_ahead(tmp_path: Path) -> None:
    found = office(tmp_path, 'holidays = "AT"\nholidays_list = [2026-12-24]\n').holidays
    christmas = {year: (date(year, 12, 25) - EPOCH).days in found for year in range(2023, 2030)}
    assert christmas == {2023: False, 2024: True, 2025: True, 2026: True, 2027: True, 2028: True, 2029: False}  # fmt: skip
    assert (date(2026, 12, 24) - EPOCH).days in found


@pytest.mark.parametrize(
    ("code", "days"),
    [
        # The legal holidays of Austria (Arbeitsruhegesetz, section 7); Easter Sunday 2026 is 5 April.
        # Values from memory.
        (
            "AT",
            "01-01 01-06 04-06 05-01 05-14 05-25 06-04 08-15 10-26 11-01 12-08 12-25 12-26",
        ),
        # United States federal holidays (5 U.S.C. 6103); 4 July 2026 is a Saturday, observed the day
        # before. Values from memory.
        ("US", "01-01 01-19 02-16 05-25 06-19 07-03 07-04 09-07 10-12 11-11 11-26 12-25"),
    ],
)
def test_the_holidays_of_2026_are_those_of_the_law(code: str, days: str) -> None:
    found = sorted(each.strftime("%m-%d") for each in public_holidays(code, [2026]))
    assert found == days.split()


def test_a_part_of_a_country_has_days_of_its_own() -> None:
    """Lincoln's birthday, 12 February: a public holiday of New York's (General Construction Law, section 24)."""
    lincoln = date(2026, 2, 12)
    assert lincoln in public_holidays("US-NY", [2026])
    assert lincoln not in public_holidays("US", [2026])


def test_the_turns_change_weekly_at_the_local_hour_through_both_changes_of_the_clocks(
    tmp_path: Path,
) -> None:
    found = turns(tmp_path)
    begins = {each.begins: each.person for each in found}
    # By hand: Vienna is UTC+1, from 29 March to 25 October 2026 UTC+2; weeks of anna are even ones.
    wanted = {
        "2026-01-05T07:00": "anna",
        "2026-01-12T07:00": "ben",
        "2026-03-23T07:00": "ben",
        "2026-03-30T06:00": "anna",
        "2026-10-19T06:00": "ben",
        "2026-10-26T07:00": "anna",
    }
    assert {text: begins.get(at(text)) for text in wanted} == wanted


def test_before_its_first_day_a_schedule_runs_backwards_and_leaves_no_gap(tmp_path: Path) -> None:
    found = turns(tmp_path)
    assert found[0].begins <= at("2024-01-01T00:00")
    assert on_duty(found, "2025-12-29T12:00") == "ben"
    assert on_duty(found, "2025-12-22T12:00") == "anna"


def test_the_turns_are_known_to_the_end_of_the_third_year(tmp_path: Path) -> None:
    last = turns(tmp_path)[-1]
    assert at("2028-12-24T00:00") <= last.begins < at("2029-01-01T00:00")


def test_a_daily_change_at_an_hour_that_the_clocks_leave_out_comes_an_hour_later(
    tmp_path: Path,
) -> None:
    """Vienna, 29 March 2026: 02:30 does not exist; the change is at 03:30 local, 01:30 UTC."""
    found = {each.begins for each in turns(tmp_path, 'change = "daily"\nat = "02:30"\n')}
    assert {at("2026-03-28T01:30"), at("2026-03-29T01:30"), at("2026-03-30T00:30")} <= found


@pytest.mark.parametrize(
    ("instant", "person"),
    [
        ("2026-07-01T05:59", "ben"),
        ("2026-07-01T06:00", "anna"),
        ("2026-07-04T09:59", "anna"),
        ("2026-07-04T10:00", "ben"),
        ("2026-07-06T06:00", "anna"),
    ],
)
def test_somebody_else_for_a_while_and_then_as_before(
    tmp_path: Path, instant: str, person: str
) -> None:
    swap = '[[on_call.instead]]\nfrom = 2026-07-01\nuntil = 2026-07-04T12:00:00\nperson = "anna"\n'
    found = turns(tmp_path, swap)
    assert on_duty(found, instant) == person
    assert all(one.person != two.person and one.begins < two.begins for one, two in pairwise(found))


def test_a_schedule_of_one_person_is_one_turn(tmp_path: Path) -> None:
    text = changed(CALLED) + CALL.replace('["anna", "ben"]', '["ben"]')
    found = loaded(tmp_path, text).plan.on_call["standby"].turns
    assert [each.person for each in found] == ["ben"]
