"""How long the daemon waits for its sender, and when it asks whether it still lives.

Pure: times are boot times in nanoseconds and come in as arguments.
"""

from dataclasses import dataclass

from relayd.core.plan import SECOND


@dataclass(frozen=True, slots=True)
class Pace:
    """The waits, in nanoseconds (common practice, no source)."""

    ping: int = 5 * SECOND
    """Between an answer and the next question; the daemon's thread turns this often at least."""
    answer: int = 10 * SECOND
    load: int = 120 * SECOND
    """For loading the library, which takes a slow computer about 20 s."""
    first: int = 1 * SECOND
    longest: int = 30 * SECOND
    settled: int = 60 * SECOND
    """A life this long is no sign of trouble, however it ends."""
    parting: int = 5 * SECOND

    def pause(self, deaths: int) -> int:
        """How long to wait before the next start: after a first death not at all, then doubling."""
        return 0 if deaths <= 1 else min(self.longest, self.first << min(deaths - 2, 30))


class Patience:
    """What one life of the sender owes: first to be ready, then an answer to every question."""

    def __init__(self, pace: Pace, now: int) -> None:
        self.ready = False
        self._pace = pace
        self._number = 0
        self._asked: int | None = now
        self._next = 0

    def heard_ready(self, now: int) -> None:
        """It is ready."""
        self.ready = True
        self._asked, self._next = None, now + self._pace.ping

    def heard_beat(self, number: int, now: int) -> None:
        """It answered a question; an answer to an older one counts for nothing."""
        if self.ready and number == self._number:
            self._asked, self._next = None, now + self._pace.ping

    def question(self, now: int) -> int | None:
        """The number of the question to ask now, or None."""
        if self._asked is not None or now < self._next:
            return None
        self._number += 1
        self._asked = now
        return self._number

    def due(self) -> int:
        """When to ask or to give up."""
        return self._next if self._asked is None else self._asked + self._limit()

    def overdue(self, now: int) -> str:
        """Why to give it up, or ''."""
        if self._asked is None or now < self._asked + self._limit():
            return ""
        what = "does not answer" if self.ready else "does not get ready"
        return f"{what} within {self._limit() / SECOND:g} s"

    def _limit(self) -> int:
        return self._pace.answer if self.ready else self._pace.load
