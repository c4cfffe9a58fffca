"""The sends in hand: which wait here, and which are out at the sender. Any thread may ask.

A send is in hand from `offer` until it is answered, taken back or lost, and it is in hand once:
handed out again meanwhile, it is not sent twice, and the one answer is the answer to both.
"""

from threading import Lock

from relayd.core.effects import Tell

ROOM = 1000
"""Sends in hand at most."""
FULL = "queue full"
CLOSED = "relayd is stopping"


class Ledger:
    """The sends of one sender, at most `room` of them."""

    def __init__(self, room: int = ROOM) -> None:
        self._room = room
        self._waiting: dict[int, Tell] = {}
        self._out: set[int] = set()
        self._closed = False
        self._lock = Lock()

    def offer(self, tell: Tell) -> str:
        """Take a send in hand; otherwise say why not."""
        with self._lock:
            if self._closed:
                return CLOSED
            if tell.send in self._out or tell.send in self._waiting:
                return ""
            if len(self._waiting) + len(self._out) >= self._room:
                return FULL
            self._waiting[tell.send] = tell
            return ""

    def next(self) -> Tell | None:
        """The send that has waited longest; it is out from now on. None where none waits."""
        with self._lock:
            if not self._waiting:
                return None
            tell = self._waiting.pop(next(iter(self._waiting)))
            self._out.add(tell.send)
            return tell

    def withdraw(self, send: int) -> bool:
        """Forget a send that waits here; True where it is out, so that the sender must be asked."""
        with self._lock:
            self._waiting.pop(send, None)
            return send in self._out

    def done(self, send: int) -> bool:
        """A send has ended; False where it was not out."""
        with self._lock:
            known = send in self._out
            self._out.discard(send)
            return known

    def lost(self) -> list[int]:
        """The sends that were out, of which nothing more will be heard."""
        with self._lock:
            lost = sorted(self._out)
            self._out.clear()
            return lost

    def close(self) -> list[int]:
        """Take nothing more, and give up all that is in hand."""
        with self._lock:
            self._closed = True
            left = sorted({*self._out, *self._waiting})
            self._out.clear()
            self._waiting.clear()
            return left
