"""A pump's counters: starts, finished runs, run time, in all and of the local day."""

from dataclasses import replace

import pytest

from relayd.core.diagnosis import tallies
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Offset
from relayd.core.state import PumpLog, Stamp, Tally

WEST = (Offset(0, -5 * 3600, "EST"),)
MIDNIGHT = 20_000 * DAY + 5 * HOUR
"""UTC of a midnight five hours west; boot time 0 is an hour before it."""


def stamp(at: int, trusted: bool = True) -> Stamp:
    return Stamp(at, MIDNIGHT - HOUR + at, trusted)


def after(before: PumpLog | None, now: PumpLog, at: int, trusted: bool = True) -> Tally:
    return tallies.counted(before, now, stamp(at, trusted), WEST).tally


RESTING = PumpLog(tally=Tally(since=stamp(0)))


def test_counting_begins_when_the_pump_is_first_known() -> None:
    assert after(None, PumpLog(running=7), 7) == Tally(since=stamp(7))


def test_a_memory_of_before_there_were_counters_begins_at_the_next_look() -> None:
    assert after(PumpLog(), PumpLog(), 9) == Tally(since=stamp(9))


def test_where_nothing_happened_the_memory_is_the_same() -> None:
    assert tallies.counted(RESTING, RESTING, stamp(MINUTE), WEST) is RESTING


def test_a_start_is_counted_when_it_begins_and_its_run_when_it_ends() -> None:
    begun = replace(RESTING, last=stamp(MINUTE), running=MINUTE)
    running = tallies.counted(RESTING, begun, stamp(MINUTE), WEST)
    assert (running.tally.starts, running.tally.cycles, running.tally.ran) == (1, 0, 0)
    tally = after(running, replace(running, running=None), 5 * MINUTE)
    assert (tally.starts, tally.cycles, tally.ran) == (1, 1, 4 * MINUTE)
    assert (tally.day_starts, tally.day_cycles, tally.day_ran) == (1, 1, 4 * MINUTE)
    assert tally.day == 19_999


def test_a_run_that_was_under_way_when_first_seen_is_no_start() -> None:
    under_way = replace(RESTING, running=0)
    tally = after(under_way, replace(under_way, running=None), MINUTE)
    assert (tally.starts, tally.cycles, tally.ran) == (0, 1, MINUTE)


def test_of_a_run_over_midnight_the_new_day_has_what_came_after_it() -> None:
    begun = replace(RESTING, last=stamp(50 * MINUTE), running=50 * MINUTE)
    running = tallies.counted(RESTING, begun, stamp(50 * MINUTE), WEST)
    assert (running.tally.day, running.tally.day_starts) == (19_999, 1)
    tally = after(running, replace(running, running=None), HOUR + 4 * MINUTE)
    assert (tally.starts, tally.ran) == (1, 14 * MINUTE)
    assert (tally.day, tally.day_starts, tally.day_cycles) == (20_000, 0, 1)
    assert tally.day_ran == 4 * MINUTE


def test_while_the_clock_is_not_set_nothing_is_counted_for_a_day() -> None:
    begun = replace(RESTING, last=stamp(MINUTE, False), running=MINUTE)
    tally = after(RESTING, begun, MINUTE, trusted=False)
    assert (tally.starts, tally.day, tally.day_starts) == (1, 0, 0)


DAYS = {
    "just before midnight": (MIDNIGHT - SECOND, (19_999, DAY - SECOND)),
    "midnight": (MIDNIGHT, (20_000, 0)),
    "noon": (MIDNIGHT + 12 * HOUR, (20_000, 12 * HOUR)),
}


@pytest.mark.parametrize(("wall", "wanted"), DAYS.values(), ids=DAYS)
def test_the_day_is_the_site_s_own(wall: int, wanted: tuple[int, int]) -> None:
    assert tallies.local_day(WEST, wall) == wanted
