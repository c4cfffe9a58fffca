"""The sends in hand: which wait here, and which are out at the sender. Any thread may ask.

A send is in hand from `offer` until it is answered, taken back or lost, and it is in hand once:
handed out again meanwhile, it is not sent twice, and the one answer is the answer to both. The
next of a channel leaves when what became of the one before is settled, so that a crash repeats
one send a channel; behind one that is slow it leaves all the same. Times are boot times (ns).
"""

from collections.abc import Iterator
from threading import Lock

from relayd.channels.turns import A_CHANNEL, urgency
from relayd.core.effects import Tell
from relayd.core.plan import SECOND

ROOM = 1000
"""Sends in hand at most."""
BESIDE = 5 * SECOND
"""A send that left longer ago holds up no other of its channel (common practice, no source)."""
NEVER = 1 << 63
FULL = "queue full"
CLOSED = "relayd is stopping"


class Ledger:
    """The sends of one sender, at most `room` of them."""

    def __init__(self, room: int = ROOM) -> None:
        self._room = room
        self._waiting: dict[int, Tell] = {}
        self._out: dict[int, str] = {}
        self._left: dict[int, tuple[str, int]] = {}
        """What left and is not settled: over which channel, and when."""
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

    def next(self, now: int) -> Tell | None:
        """The most urgent, then oldest, whose channel is free; it is out from now on. Or None."""
        with self._lock:
            free = [each for each in self._waiting.values() if self._free_at(each.channel) <= now]
            if not free:
                return None
            tell = min(free, key=lambda each: urgency(each.priority))
            del self._waiting[tell.send]
            self._out[tell.send] = tell.channel
            self._left[tell.send] = tell.channel, now
            return tell

    def due(self) -> int | None:
        """When the next may leave behind a slow one, if nothing is settled before; None: not so."""
        with self._lock:
            waits = {
                each.channel for each in self._waiting.values() if self._room_for(each.channel)
            }
            return min(map(self._free_at, waits), default=None)

    def withdraw(self, send: int) -> bool:
        """Forget a send that waits here; True where it is out, so that the sender must be asked."""
        with self._lock:
            self._waiting.pop(send, None)
            return send in self._out

    def done(self, send: int) -> bool:
        """A send has ended; False where it was not out. Its channel is free when that is settled."""
        with self._lock:
            return self._out.pop(send, None) is not None

    def settled(self, send: int) -> None:
        """What became of a send is remembered, or need not be."""
        with self._lock:
            self._left.pop(send, None)

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

    def _free_at(self, channel: str) -> int:
        """From when on another one of this channel may leave."""
        if not self._room_for(channel):
            return NEVER
        return max((at + BESIDE for at in self._times(channel)), default=0)

    def _room_for(self, channel: str) -> bool:
        return sum(each == channel for each in self._out.values()) < A_CHANNEL

    def _times(self, channel: str) -> Iterator[int]:
        return (at for over, at in self._left.values() if over == channel)
