"""A sender without services, for rehearsals, demonstrations and tests: it keeps what it was told.

Keeps the promises of relayd.channels.post.Post: `tell` never waits, and every send that is told is
answered by one Sent, unless it was taken back before.
"""

from collections.abc import Callable
from threading import Lock

from relayd.channels.ledger import CLOSED
from relayd.clock import boottime
from relayd.contacts import Post
from relayd.core.effects import Tell
from relayd.core.events import ChannelDown, ChannelUp, Outcome, Sent

Answer = Callable[[Tell], Sent | None]
"""What becomes of a send; None keeps it out until `answer` is called."""


def taken(tell: Tell) -> Sent:
    """The service takes it."""
    return Sent(tell.send, Outcome.TAKEN)


class RecordingSender:
    """`told` is what has left, in order, `withdrawn` what was asked back; `respond` answers."""

    def __init__(self, post: Post, respond: Answer = taken) -> None:
        self.told: list[Tell] = []
        self.withdrawn: list[int] = []
        self.respond = respond
        self._post = post
        self._out: set[int] = set()
        self._running = self._stopped = False
        self._waiting: list[Tell] = []
        self._lock = Lock()

    def start(self) -> None:
        """Begin to send, first what was told before."""
        self._running = True
        self._post(ChannelUp("sender"))
        self._send_waiting()

    def stop(self) -> None:
        """Fail what is in hand, and all that is told from now on."""
        with self._lock:
            self._running, self._stopped = False, True
            left = [*self._out, *(tell.send for tell in self._waiting)]
            self._out.clear()
            self._waiting.clear()
        for send in left:
            self._post(Sent(send, Outcome.FAILED, CLOSED))

    def tell(self, tell: Tell) -> None:
        """Take one send; a second time only when it is no longer in hand."""
        with self._lock:
            stopped = self._stopped
            held = tell.send in self._out or any(each.send == tell.send for each in self._waiting)
            if not stopped and not held:
                self._waiting.append(tell)
        if stopped:
            self._post(Sent(tell.send, Outcome.FAILED, CLOSED))
        elif self._running:
            self._send_waiting()

    def withdraw(self, send: int) -> None:
        """Forget a send that has not left."""
        with self._lock:
            self.withdrawn.append(send)
            self._waiting = [tell for tell in self._waiting if tell.send != send]

    def settled(self, send: int) -> None:
        """Nothing waits for that here."""

    def answer(self, send: int, outcome: Outcome, detail: str = "") -> None:
        """Let a send that is out end; one that is not out changes nothing."""
        with self._lock:
            out = send in self._out
            self._out.discard(send)
        if out:
            self._post(Sent(send, outcome, detail))

    def fall(self, why: str) -> None:
        """Let the sender die: what is out fails, what is told waits until `start`."""
        with self._lock:
            self._running = False
            lost = sorted(self._out)
            self._out.clear()
        self._post(ChannelDown("sender", why))
        for send in lost:
            self._post(Sent(send, Outcome.FAILED, "the sender ended"))

    def beat(self) -> int:
        """Boot time (ns): always up to date while it is not stopped."""
        return 0 if self._stopped else boottime()

    def alive(self) -> bool:
        """Whether it was not stopped: one that fell is started again."""
        return not self._stopped

    def _send_waiting(self) -> None:
        with self._lock:
            leaving, self._waiting = self._waiting, []
            self.told += leaving
            self._out |= {tell.send for tell in leaving}
        for tell in leaving:
            if sent := self.respond(tell):
                self.answer(sent.send, sent.outcome, sent.detail)
