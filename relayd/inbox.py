"""The one queue of the alarm path: every thread puts events in, the loop takes them out.

Bounded by kind: when the loop cannot keep up, edges are dropped first (the next poll reads the
level), then commands, then answers, faults and outcomes of sends; levels and judgements never.
What was dropped is counted, and the daemon says it.

It waits on a descriptor of its own. `queue.SimpleQueue.get` with a time-out of microseconds may
never come back (CPython 3.11 and 3.12: tests/test_inbox.py shows how), and the loop would miss its
deadline without a word.
"""

import os
import select
from collections import Counter, deque
from contextlib import suppress
from threading import RLock
from weakref import finalize

from relayd.clock import boottime
from relayd.core.events import AnswerUnused, Commanded, EdgeSeen, Event, FaultFound, Sent
from relayd.core.plan import SECOND, seconds

EDGES_AT_MOST = 4096
COMMANDS_AT_MOST = 256
AT_MOST: dict[type, int] = {
    EdgeSeen: EDGES_AT_MOST,
    Commanded: COMMANDS_AT_MOST,
    # Whoever shouts does not fill the memory; a send whose end is dropped is tried again.
    AnswerUnused: 256,
    FaultFound: 256,
    Sent: 4096,
}
"""Of levels and judgements none is dropped: each is a change, and of what changes there is little."""


class Inbox:
    """Takes events from any thread or signal handler without blocking; gives them out in order, to one thread."""

    def __init__(self) -> None:
        self._queue: deque[Event] = deque()
        self._waiting: Counter[type] = Counter()
        self._dropped: Counter[str] = Counter()
        # A signal's handler may put while its own thread holds the lock.
        self._lock = RLock()
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        finalize(self, os.close, self._bell)

    def put(self, event: Event) -> None:
        """Queue an event, or count it as dropped."""
        kind = type(event)
        most = AT_MOST.get(kind)
        with self._lock:
            if most is not None and self._waiting[kind] >= most:
                self._dropped[kind.__name__] += 1
                return
            self._waiting[kind] += 1
            self._queue.append(event)
        os.eventfd_write(self._bell, 1)

    def get(self, timeout: float) -> Event | None:
        """The next event, or None after `timeout` seconds."""
        end = boottime() + seconds(timeout)
        while (event := self._next()) is None and (left := end - boottime()) > 0:
            if select.select([self._bell], [], [], left / SECOND)[0]:
                with suppress(BlockingIOError):  # it rang for an event that was taken meanwhile
                    os.eventfd_read(self._bell)
        return event

    def dropped(self) -> dict[str, int]:
        """What was dropped since the last call, by kind."""
        with self._lock:
            dropped, self._dropped = dict(self._dropped), Counter()
        return dropped

    def _next(self) -> Event | None:
        with self._lock:
            if not self._queue:
                return None
            event = self._queue.popleft()
            self._waiting[type(event)] -= 1
        return event
