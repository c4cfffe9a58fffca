"""The one queue of the alarm path: every thread puts events in, the loop takes them out.

Bounded by kind: when the loop cannot keep up, edges are dropped first (the next poll reads the
level), then commands; levels, outcomes and judgements never. What was dropped is counted.
"""

from collections import Counter
from queue import Empty, SimpleQueue
from threading import Lock

from relayd.core.events import Commanded, EdgeSeen, Event

EDGES_AT_MOST = 4096
COMMANDS_AT_MOST = 256


class Inbox:
    """Takes events from any thread without blocking; gives them out in order."""

    def __init__(self) -> None:
        self._queue: SimpleQueue[Event] = SimpleQueue()
        self._waiting: Counter[type] = Counter()
        self._dropped: Counter[str] = Counter()
        self._lock = Lock()

    def put(self, event: Event) -> None:
        """Queue an event, or count it as dropped."""
        kind = type(event)
        most = {EdgeSeen: EDGES_AT_MOST, Commanded: COMMANDS_AT_MOST}.get(kind)
        with self._lock:
            if most is not None and self._waiting[kind] >= most:
                self._dropped[kind.__name__] += 1
                return
            self._waiting[kind] += 1
        self._queue.put(event)

    def get(self, timeout: float) -> Event | None:
        """The next event, or None after `timeout` seconds."""
        try:
            event = self._queue.get(timeout=max(0.0, timeout))
        except Empty:
            return None
        with self._lock:
            self._waiting[type(event)] -= 1
        return event

    def dropped(self) -> dict[str, int]:
        """What was dropped since the last call, by kind."""
        with self._lock:
            dropped, self._dropped = dict(self._dropped), Counter()
        return dropped
