"""A thread that reads the board's senses now and then, and posts what has changed.

A file of the kernel may hang (a dying disk, a broken bus): then this thread hangs, and nothing else.
"""

from collections.abc import Callable
from threading import Event as Flag, Thread

from relayd.clock import boottime
from relayd.core.events import Event, UnitSensed
from relayd.supervision.senses import Senses

EVERY = 30.0
"""Seconds between two looks (common practice, no source)."""


class Sensing:
    """The thread. One object lives once."""

    def __init__(self, senses: Senses, post: Callable[[Event], None], every: float = EVERY) -> None:
        self._senses, self._post, self._every = senses, post, every
        self._told: dict[str, UnitSensed] = {}
        self._stop = Flag()
        self._beat = boottime()
        self._thread = Thread(target=self._run, name="senses", daemon=True)

    @property
    def free(self) -> int | None:
        """MiB left where the journal lies, as last read."""
        return self._senses.free

    def start(self) -> None:
        """Begin with a look."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread; a file that hangs is not waited for."""
        self._stop.set()

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def beat(self) -> int:
        """Boot time (ns) of the last look."""
        return self._beat

    def _run(self) -> None:
        while not self._stop.is_set():
            for each in self._senses.look():
                if self._told.get(each.condition) != each:
                    self._told[each.condition] = each
                    self._post(each)
            self._beat = boottime()
            self._stop.wait(self._every)
