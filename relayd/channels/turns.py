"""Whose turn it is in the sender: which waiting send goes next, and which running one makes room.

Pure: sends are values, times are boot times in nanoseconds, nothing is started or ended here.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from relayd.core.plan import SECOND

AT_MOST = 8
"""Children at once, each about 10 MiB of its own."""
A_CHANNEL = 2
"""Children of one channel at once, so that a hanging service holds up its own channel only; one
while half of the places are taken, so that several hanging services leave places to the others."""
MAKE_ROOM = 10 * SECOND
"""When all places are taken, a send running longer than this gives its place to a channel without one."""
URGENCY = {"high": 0, "medium": 1, "over": 1, "low": 2}


@dataclass(frozen=True, slots=True)
class Job:
    """One send as the sender was told it. `address` must not be shown."""

    send: int
    channel: str
    address: str
    title: str
    body: str
    priority: str

    def __repr__(self) -> str:
        return f"Job(send={self.send}, channel={self.channel!r})"


@dataclass(frozen=True, slots=True)
class Running:
    """A send in a child, and since when."""

    job: Job
    since: int


def next_job(waiting: Sequence[Job], running: Iterable[Running]) -> Job | None:
    """The next to start, or None: channels with fewest running first, then by urgency, then by age."""
    busy = Counter(each.job.channel for each in running)
    if busy.total() >= AT_MOST:
        return None
    each = A_CHANNEL if busy.total() < AT_MOST // 2 else 1
    free = [job for job in waiting if busy[job.channel] < each]
    return min(free, key=lambda job: (busy[job.channel], urgency(job.priority)), default=None)


def to_end(
    waiting: Sequence[Job], running: Sequence[Running], now: int, slow: int = MAKE_ROOM
) -> Running | None:
    """The running send that must end so that a channel that has none gets a place, or None."""
    busy = Counter(each.job.channel for each in running)
    starved = any(not busy[job.channel] for job in waiting)
    if busy.total() < AT_MOST or not starved:
        return None
    late = [each for each in running if now - each.since >= slow]
    return min(late, key=lambda each: (-busy[each.job.channel], each.since), default=None)


def urgency(priority: str) -> int:
    """The rank of a priority; the lowest goes first."""
    return URGENCY.get(priority, len(URGENCY))
