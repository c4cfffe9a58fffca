"""How often may be tried: wrong codes by sender and by way, and what is told or recorded in an hour.

Where a way does not tell who sends, the sender is '' and only the way's own limit counts: else five
guesses of anybody would shut it for everybody, and nobody would hear of that.

Pure: times are boot times in nanoseconds and come in as arguments. Bounded, whoever tries.
"""

from collections import OrderedDict, deque

from relayd.core.plan import HOUR

BY_SENDER, BY_WAY = 5, 50
"""Wrong tries in an hour after which the sender, or the whole way, waits until an hour is over."""
SENDERS = 1000
"""Senders that are remembered; the way's own limit is reached long before."""


class Budget:
    """So many in an hour, and no more."""

    def __init__(self, most: int, span: int = HOUR) -> None:
        self._most, self._span = most, span
        self._times: deque[int] = deque(maxlen=most)

    def spend(self, now: int) -> bool:
        """Whether one more is allowed; then it counts."""
        if self.spent(now):
            return False
        self._times.append(now)
        return True

    def spent(self, now: int) -> bool:
        """Whether no more is allowed now."""
        return len(self._times) == self._most and now - self._times[0] < self._span

    def again(self) -> int:
        """Boot time from which one more is allowed, where it is spent."""
        return self._times[0] + self._span


class Tries:
    """The wrong tries of one way."""

    def __init__(self, by_sender: int = BY_SENDER, by_way: int = BY_WAY) -> None:
        self._each = by_sender
        self._senders: OrderedDict[str, Budget] = OrderedDict()
        self._all = Budget(by_way)
        self._until = 0

    def locked(self, now: int) -> int:
        """Boot time until which the way is locked; 0 where it is open."""
        return self._until if now < self._until else 0

    def shut(self, sender: str, now: int) -> bool:
        """Whether that sender has used up its tries."""
        known = self._senders.get(sender)  # '' is nobody's name, and is never kept
        return known is not None and known.spent(now)

    def wrong(self, sender: str, now: int) -> bool:
        """Count a wrong try; True where it has just locked the way."""
        if sender:
            self._count(sender, now)
        self._all.spend(now)
        if self._all.spent(now) and not self.locked(now):
            self._until = now + HOUR
            return True
        return False

    def _count(self, sender: str, now: int) -> None:
        mine = self._senders.pop(sender, None) or Budget(self._each)
        mine.spend(now)
        self._senders[sender] = mine
        if len(self._senders) > SENDERS:
            self._senders.popitem(last=False)
