"""Whether a code proves what it is to prove, by each way within its limits.

In: a way, who sends (as far as the way tells), what may be codes. Out: what the code means, or
why not; a way that was locked, and which remain, is posted: it is an alarm. Safe from any thread.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from threading import RLock

from relayd.answering.codes import Codes, Meant
from relayd.answering.limits import BY_SENDER, BY_WAY, Tries
from relayd.core.events import Act, ChannelDown, ChannelUp, Event, Now, Unused
from relayd.core.plan import Plan
from relayd.core.saying import when

ANSWERS = "answers"
"""What the ways back are called together, as a way that can fail."""
ON_THE_UNIT = "on the unit (relayd ack)"


@dataclass(frozen=True, slots=True)
class NotProved:
    """Why a code proves nothing; `meant` where it was a good one that has served, or came by a way
    that is locked."""

    why: Unused
    say: str
    meant: Meant | None = None


class Proving:
    """Knows the codes, counts wrong tries, locks ways."""

    def __init__(
        self,
        plan: Plan,
        codes: Codes,
        ways: Mapping[str, str],
        post: Callable[[Event], None],
        now: Callable[[], Now],
    ) -> None:
        """`ways`: each way by which codes come -> what people call it ('by mail')."""
        self.plan, self._codes, self._ways, self._post, self._now = plan, codes, ways, post, now
        self._tries = {way: Tries() for way in ways}
        self._told = ""
        self._lock = RLock()

    def prove(self, way: str, sender: str, given: Sequence[str]) -> Meant | NotProved:
        """What the first good code among these means; `sender` is '' where nobody tells who it is."""
        now = self._now()
        with self._lock:
            tries = self._tries[way]
            found = [meant for each in given if (meant := self._codes.find(each)) is not None]
            best = min(found, key=lambda each: each.used, default=None)
            if why := self._shut(way, sender, now):
                return NotProved(Unused.LOCKED, why, best)
            if best is not None:
                return best
            if tries.wrong(sender, now.up):
                self._judge(now)
        return NotProved(
            Unused.UNKNOWN, "that code is of no open alarm: it is wrong, or it is over"
        )

    def serve(self, meant: Meant, act: Act) -> NotProved | None:
        """Let it serve for that act, once; why not, where it has."""
        if not meant.used and self._codes.serve(meant, act):
            return None
        say = "that code has served already: the newest message carries another"
        return NotProved(Unused.SERVED, say, meant)

    def give_back(self, meant: Meant, act: Act) -> None:
        """The act was refused for another reason."""
        self._codes.give_back(meant, act)

    def look(self) -> None:
        """Say so where a lock has ended. Called now and then."""
        with self._lock:
            if self._told:
                self._judge(self._now())

    def locked_words(self, way: str, until: int, now: Now) -> str:
        """That this way is locked, until when, and which others remain."""
        time = when.until(self.plan, now.wall + until - now.up, until, now)
        what = f"{BY_WAY} wrong codes came {self._ways[way]} within an hour: locked {time}"
        return f"{what}. It still goes {self._others(way)}"

    def _shut(self, way: str, sender: str, now: Now) -> str:
        """Why nothing that comes so is taken now, and which ways remain; '' where it may be."""
        tries = self._tries[way]
        if until := tries.locked(now.up):
            return self.locked_words(way, until, now)
        if tries.shut(sender, now.up):
            say = f"{BY_SENDER} wrong codes came from this sender within an hour: it must wait"
            return f"{say}. It still goes {self._others(way)}"
        return ""

    def _others(self, way: str) -> str:
        now = self._now().up
        rest = [
            words
            for each, words in self._ways.items()
            if each != way and not self._tries[each].locked(now)
        ]
        return " or ".join([*rest, ON_THE_UNIT])

    def _judge(self, now: Now) -> None:
        """Post that ways are locked, or that none is any more, where that is news."""
        locked = {
            way: until for way, tries in self._tries.items() if (until := tries.locked(now.up))
        }
        told = ", ".join(locked)
        if told == self._told:
            return
        self._told = told
        words = [self.locked_words(way, until, now) for way, until in locked.items()]
        self._post(ChannelDown(ANSWERS, "; ".join(words)) if words else ChannelUp(ANSWERS))
