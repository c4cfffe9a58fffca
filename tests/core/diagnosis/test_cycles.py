"""A pump's starts, runs and gaps. Limits are Trade 1.23's: common practice, no source."""

from dataclasses import replace

import pytest

from relayd.core.diagnosis import cycles
from relayd.core.diagnosis.belief import Seen
from relayd.core.plan import DAY, HOUR, MINUTE
from relayd.core.state import Fact, PumpLog, Stamp

WEEK = 7 * DAY
LIMIT = 3
MONDAY = 2820 * WEEK
"""UTC at which a week of `PumpLog.week` begins; boot time 0 is then."""


def stamp(at: int, trusted: bool = True) -> Stamp:
    return Stamp(at, MONDAY + at, trusted)


def seen(
    log: PumpLog | None,
    runs: bool | None,
    at: int,
    changed: int = 0,
    empty: bool = False,
    trusted: bool = True,
) -> PumpLog | None:
    fact = Fact.UNKNOWN if runs is None else Fact.ALARM if runs else Fact.NORMAL
    now = stamp(at, trusted)
    return cycles.followed(log, Seen(fact, changed, changed), runs, now, LIMIT, empty)


def watched(log: PumpLog | None, to: int, runs: bool = False) -> PumpLog | None:
    """Looked at as often as the memory asks for, until then."""
    at = log.known.up if log and log.known else 0
    while at < to:
        at = min(at + cycles.LOOKS_AGAIN, to)
        log = seen(log, runs, at)
    return log


def started(*starts: int, run: int = MINUTE, trusted: bool = True) -> PumpLog:
    """A pump that was watched all the time and started then."""
    log = seen(None, False, starts[0] - MINUTE, trusted=trusted)
    for at in starts:
        log = seen(watched(log, at - 1), True, at, changed=at, trusted=trusted)
        log = seen(log, False, at + run, changed=at + run, trusted=trusted)
    assert log is not None
    return log


def test_what_was_never_known_is_not_remembered() -> None:
    assert seen(None, None, HOUR) is None


def test_a_contact_that_is_not_known_changes_nothing() -> None:
    log = started(HOUR)
    assert seen(log, None, 2 * HOUR) is log


def test_a_run_under_way_counts_from_then_and_is_no_start() -> None:
    log = seen(None, True, HOUR)
    assert log == PumpLog(running=HOUR, known=stamp(HOUR), since=stamp(HOUR))
    later = seen(log, True, 2 * HOUR)
    assert later is not None
    assert (later.running, later.starts) == (HOUR, ())


def test_a_stop_that_nobody_saw_begins_the_run_anew() -> None:
    log = seen(started(HOUR), True, 2 * HOUR, changed=2 * HOUR)
    again = seen(log, True, 3 * HOUR, changed=3 * HOUR - 1)
    assert again is not None
    assert again.running == 3 * HOUR
    assert seen(log, True, 3 * HOUR, changed=2 * HOUR) == replace(again, running=2 * HOUR)


def test_starts_are_kept_for_an_hour_and_no_more_than_the_limit_needs() -> None:
    log = started(*(HOUR + each * 5 * MINUTE for each in range(10)))
    assert len(log.starts) == LIMIT + 1
    last = HOUR + 45 * MINUTE
    assert len(cycles.starts_now(log, last)) == LIMIT + 1
    assert len(cycles.starts_now(log, last + 50 * MINUTE)) == 2
    late = started(HOUR, 3 * HOUR)
    assert late.starts == (3 * HOUR,)


def test_trade_1_23_the_longest_gap_of_each_week_is_learned() -> None:
    log = started(HOUR, 3 * HOUR, 8 * HOUR)
    assert log.gaps == (5 * HOUR,)
    assert cycles.longest(log, 2) == 12 * HOUR, "never less than 12 h"
    log = started(HOUR, 10 * HOUR)
    assert (cycles.longest(log, 2), cycles.longest(log, 4)) == (18 * HOUR, 36 * HOUR)


def test_trade_1_23_a_new_week_opens_and_eight_are_kept() -> None:
    log = started(*(HOUR + each * WEEK // 2 for each in range(3)))
    # The gap to a week's first start is the new week's.
    assert log.gaps == (WEEK // 2, WEEK // 2)
    log = started(*(HOUR + each * WEEK for each in range(12)))
    assert log.gaps == (WEEK,) * cycles.WEEKS
    assert log.week == 2820 + 11


def test_trade_1_23_after_nine_weeks_without_a_start_only_that_gap_is_left() -> None:
    log = started(HOUR, 20 * HOUR)
    log = replace(log, gaps=(20 * HOUR, 7 * HOUR))
    after = seen(watched(log, 10 * WEEK - 1), True, 10 * WEEK)
    assert after is not None
    assert after.gaps == (0,) * 7 + (10 * WEEK - 20 * HOUR,)


def test_without_a_clock_to_be_believed_the_week_stays() -> None:
    log = started(*(HOUR + each * WEEK for each in range(4)), trusted=False)
    assert (log.week, log.gaps) == (0, (WEEK,))


def test_a_clock_that_goes_back_opens_no_week() -> None:
    log = started(HOUR, WEEK + HOUR)
    log = replace(log, week=log.week + 5)
    after = seen(watched(log, WEEK + 3 * HOUR), True, WEEK + 3 * HOUR)
    assert after is not None
    assert (after.week, len(after.gaps)) == (log.week, len(log.gaps))


@pytest.mark.parametrize("runs", [True, False], ids=["a start", "no start"])
def test_two_hours_blind_count_anew_and_teach_nothing(runs: bool) -> None:
    log = started(HOUR, 2 * HOUR)
    back = 2 * HOUR + MINUTE + cycles.BLIND_FOR + 1
    after = seen(log, runs, back)
    assert after is not None
    assert after.since == stamp(back)
    assert after.gaps == (HOUR,)
    assert cycles.idle_since(after) == back


def test_just_two_hours_blind_are_no_blindness() -> None:
    log = started(HOUR)
    assert log.known is not None
    start = log.known.up + cycles.BLIND_FOR
    after = seen(log, True, start)
    assert after is not None
    assert after.gaps == (start - HOUR,)


def test_boot_time_that_went_back_counts_anew() -> None:
    log = seen(started(10 * HOUR), False, HOUR)
    assert log is not None
    assert log.since == stamp(HOUR)


def test_a_gap_after_blindness_is_learned_from_the_second_start_on() -> None:
    log = seen(started(HOUR), False, 10 * HOUR)
    log = seen(watched(log, 20 * HOUR - 1), True, 20 * HOUR)
    log = seen(log, False, 20 * HOUR + MINUTE)
    assert log is not None
    assert log.gaps == (), "from before the blindness"
    log = seen(watched(log, 29 * HOUR - 1), True, 29 * HOUR)
    assert log is not None
    assert log.gaps == (9 * HOUR,)


def test_an_empty_site_teaches_nothing_and_is_held_against_no_pump() -> None:
    log = seen(None, False, HOUR, empty=True)
    assert log == PumpLog()
    log = seen(log, True, 2 * HOUR, empty=True)
    assert log is not None
    assert (log.last, log.gaps) == (stamp(2 * HOUR), ())
    assert cycles.idle_since(log) is None
    # People come back: what counts begins then.
    log = seen(log, False, 90 * HOUR)
    assert log is not None
    assert cycles.idle_since(log) == 90 * HOUR


def test_idle_since_the_first_look_or_the_last_start() -> None:
    log = seen(None, False, HOUR)
    assert log is not None
    assert cycles.idle_since(log) == HOUR
    assert cycles.idle_since(started(3 * HOUR)) == 3 * HOUR


def test_it_asks_to_be_looked_at_before_it_would_seem_blind_and_no_oftener() -> None:
    log = started(HOUR)
    known = HOUR + MINUTE if log.known is None else log.known.up
    assert list(cycles.due(log, known, LIMIT, False)) == [known + 110 * MINUTE]
    assert list(cycles.due(log, known, LIMIT, True)) == []
    assert seen(log, False, known + 30 * MINUTE) == log, "nothing is written for that"


def test_too_many_starts_ask_for_the_moment_at_which_they_are_fewer() -> None:
    log = started(*(HOUR + each * MINUTE * 2 for each in range(LIMIT + 1)))
    at = HOUR + 10 * MINUTE
    assert min(cycles.due(log, at, LIMIT, False)) == 2 * HOUR
    assert len(cycles.starts_now(log, 2 * HOUR)) == LIMIT
    assert 2 * HOUR not in cycles.due(log, 2 * HOUR, LIMIT, False)


def test_one_pump_s_start_ends_the_other_s_row_and_pump_0_is_nobody() -> None:
    one, two = started(HOUR, 2 * HOUR), started(3 * HOUR)
    assert (one.row, two.row) == (2, 1)
    again = seen(two, True, 4 * HOUR)
    assert again is not None
    turned = cycles.turns({1: one, 2: two}, {1: one, 2: again})
    assert (turned[1].row, turned[2].row) == (0, 2)
    assert cycles.turns({0: two, 1: one}, {0: again, 1: one})[1] is one
    assert cycles.turns({}, {1: one, 2: two}) == {1: one, 2: two}


def test_two_pumps_that_start_together_end_both_rows() -> None:
    one, two = started(HOUR, 2 * HOUR), started(HOUR, 3 * HOUR)
    both = {n: seen(log, True, 4 * HOUR) for n, log in ((1, one), (2, two))}
    found = {n: log for n, log in both.items() if log is not None}
    assert {each.row for each in cycles.turns({1: one, 2: two}, found).values()} == {0}
