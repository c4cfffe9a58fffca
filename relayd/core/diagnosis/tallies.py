"""A pump's starts, finished runs and run time, in all and by the local day: for counters, not for alarms.

In: what was remembered of one pump before and after a look at it, the time, the site's local time.
Out: the memory with its tally. Knows nothing of contacts and limits. A run is counted when it ends;
what happens while the clock is not set is counted for no day.
"""

from collections.abc import Iterable
from dataclasses import replace

from relayd.core.plan import DAY, SECOND, Offset
from relayd.core.saying.when import offset_in
from relayd.core.state import PumpLog, Stamp, Tally


def local_day(offsets: Iterable[Offset], wall: int) -> tuple[int, int]:
    """The local day (counted from 1970-01-01) of a UTC instant, and how long it has gone on (ns)."""
    return divmod(wall + offset_in(offsets, wall).seconds * SECOND, DAY)


def counted(
    before: PumpLog | None, after: PumpLog, stamp: Stamp, offsets: Iterable[Offset]
) -> PumpLog:
    """`after` with its tally: one more start, one more run, or as it was."""
    if after.tally.since is None:
        after = replace(after, tally=replace(after.tally, since=stamp))
    if before is None:
        return after
    started = int(after.last != before.last)
    ended = int(before.running is not None and after.running is None)
    ran = stamp.up - before.running if ended and before.running is not None else 0
    if not started and not ended:
        return after
    tally = replace(
        after.tally,
        starts=after.tally.starts + started,
        cycles=after.tally.cycles + ended,
        ran=after.tally.ran + ran,
    )
    return replace(after, tally=_of_day(tally, started, ended, ran, stamp, offsets))


def _of_day(
    tally: Tally, started: int, ended: int, ran: int, stamp: Stamp, offsets: Iterable[Offset]
) -> Tally:
    """The same counted for the day; of a run that began before midnight only what came after it."""
    if not stamp.trusted:
        return tally
    day, gone = local_day(offsets, stamp.wall)
    if day != tally.day:
        tally = replace(tally, day=day, day_starts=0, day_cycles=0, day_ran=0)
    return replace(
        tally,
        day_starts=tally.day_starts + started,
        day_cycles=tally.day_cycles + ended,
        day_ran=tally.day_ran + min(ran, gone),
    )
