"""A pump's starts, runs and gaps, from whether it now runs.

In: what is remembered of one pump, whether it runs (None: not known), the time. Out: the memory,
and what it tells. Knows nothing of inputs or people. Limits are common practice, no source.

A run that was under way when it was first seen (at a start of relayd, or after its contact was
not known) counts its run time from then and is no start. A gap during which nobody looked for two
hours, or an empty site's, teaches nothing and is held against no pump.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from statistics import median_low

from relayd.core.diagnosis.belief import Seen
from relayd.core.plan import DAY, HOUR, MINUTE, Panel
from relayd.core.state import PumpLog, Stamp

WEEKS = 8
LEAST_GAP = 12 * HOUR
BLIND_FOR = 2 * HOUR
LOOKS_AGAIN = BLIND_FOR - 10 * MINUTE
"""While nothing else happens, the memory is refreshed that often: a crash leaves no other trace."""
IN_A_ROW = 5
RUNS_KEPT = 20
RUNS_KNOWN = 10
"""So many whole runs must be known before their median is the usual one."""
LEAST_WAIT, CATCHING_UP, LONGEST_LEARNED = 10 * MINUTE, 30 * MINUTE, 2 * HOUR
"""A pump that runs for less beside a high level is given time; what was learned gives it no more."""


def followed(
    log: PumpLog | None, seen: Seen, runs: bool | None, stamp: Stamp, limit: int, empty: bool
) -> PumpLog | None:
    """The memory at `stamp`; None while nothing was ever known of this pump."""
    if runs is None:
        return log
    if log is None:
        log = PumpLog(running=stamp.up if runs else None)
        return log if empty else replace(log, known=stamp, since=stamp)
    log = log if empty else _looked(log, stamp)
    if not runs:
        return log if log.running is None else _stopped(log, log.running, stamp.up)
    if log.running is None:
        return _started(log, stamp, limit, empty)
    return replace(log, running=stamp.up) if seen.changed > log.running else log


def _looked(log: PumpLog, stamp: Stamp) -> PumpLog:
    """Remember to the hour that its contact is known; after a longer blindness, count anew."""
    if log.known is None or not 0 <= stamp.up - log.known.up <= BLIND_FOR:
        return replace(log, known=stamp, since=stamp)
    return replace(log, known=stamp) if stamp.up - log.known.up >= HOUR else log


def _started(log: PumpLog, stamp: Stamp, limit: int, empty: bool) -> PumpLog:
    kept = tuple(each for each in log.starts if stamp.up - HOUR < each <= stamp.up)
    log = replace(log, starts=(*kept, stamp.up)[-limit - 1 :], running=stamp.up, row=log.row + 1)
    log = _this_week(log, stamp)
    watched = log.last is not None and log.since is not None and log.last.up >= log.since.up
    if log.last is not None and watched and not empty:
        *earlier, newest = log.gaps or (0,)
        log = replace(log, gaps=(*earlier, max(newest, stamp.up - log.last.up)))
    return replace(log, last=stamp)


def _stopped(log: PumpLog, running: int, at: int) -> PumpLog:
    """A run is over; one whose start was seen teaches how long a run lasts."""
    if log.last is None or log.last.up != running:
        return replace(log, running=None, ended=at)
    runs = (*log.runs, at - running)[-RUNS_KEPT:]
    return replace(log, running=None, ended=at, runs=runs)


def _this_week(log: PumpLog, stamp: Stamp) -> PumpLog:
    """Open a new week by the calendar; without a clock to be believed, the week stays."""
    week = stamp.wall // DAY // 7 if stamp.trusted else log.week
    if not log.week or week <= log.week:
        return replace(log, week=log.week or week)
    passed = min(week - log.week, WEEKS)
    return replace(log, week=week, gaps=(*log.gaps, *(0,) * passed)[-WEEKS:])


def starts_now(log: PumpLog, at: int) -> tuple[int, ...]:
    """Its starts within the hour before `at`."""
    return tuple(each for each in log.starts if at - HOUR < each <= at)


def idle_since(log: PumpLog) -> int | None:
    """Since when no start was seen though somebody looked; None: unknown."""
    if log.since is None:
        return None
    return log.since.up if log.last is None else max(log.since.up, log.last.up)


def longest(log: PumpLog, times: int) -> int:
    """`times` the longest usual gap; the usual gap is never less than six hours."""
    return times * max(LEAST_GAP // 2, *log.gaps, 0)


def due(log: PumpLog, at: int, limit: int, empty: bool) -> Iterator[int]:
    """When an hour holds no more than `limit` starts again, and when to look though nothing happens."""
    many = starts_now(log, at)
    if len(many) > limit:
        yield many[0] + HOUR
    if log.known is not None and not empty:
        yield log.known.up + LOOKS_AGAIN


def has_run(log: PumpLog, since: int) -> bool:
    """Whether it runs, or was seen to stop, at or after `since`."""
    return log.running is not None or (log.ended is not None and log.ended >= since)


def patience(panel: Panel, logs: Mapping[int, PumpLog], after_outage: bool = False) -> int:
    """How long a pump may run beside a high level before it is said not to get the level down (ns).

    Twice its usual run, as it is declared or was seen; ten minutes at least, half an hour where it
    catches up after an outage, and never longer than half of a declared reserve. Common practice,
    no source.
    """
    usual = _usual(logs) if panel.pump_down is None else 2 * panel.pump_down
    wait = max(CATCHING_UP if after_outage else LEAST_WAIT, usual)
    return wait if panel.reserve is None else min(wait, panel.reserve // 2)


def _usual(logs: Mapping[int, PumpLog]) -> int:
    """Twice the usual run of the pump that runs longest; 0 where too few runs are known."""
    known = [median_low(log.runs) for log in logs.values() if len(log.runs) >= RUNS_KNOWN]
    return min(2 * max(known, default=0), LONGEST_LEARNED)


def turns(before: Mapping[int, PumpLog], after: Mapping[int, PumpLog]) -> dict[int, PumpLog]:
    """Starts in a row: one pump's start ends the others' row; pump 0 is no pump of its own."""
    started = {n for n, log in after.items() if n in before and log.last != before[n].last} - {0}
    return {
        n: replace(log, row=0) if log.row and started - {n} else log for n, log in after.items()
    }
