"""Keeps what a sender posts, and waits for it with a deadline."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from threading import Condition
from time import monotonic

from relayd.channels.patience import Pace
from relayd.channels.post import COMMAND, Post
from relayd.core.effects import Tell
from relayd.core.events import ChannelDown, ChannelUp, Event, Outcome, Sent
from relayd.core.plan import SECOND
from relayd.rig import Secret

DEADLINE = 30.0
LOOK_AGAIN = 0.005
QUICK = Pace(
    ping=SECOND // 10,
    answer=SECOND // 2,
    first=SECOND // 100,
    longest=SECOND // 20,
    parting=SECOND // 5,
)
"""For tests of what happens when patience ends."""


NUMBER = count(1)


class Posted:
    """The events that were posted, in order, each with the time it came (s)."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.times: list[float] = []
        self.settled: Callable[[int], None] = lambda _send: None
        """Told of every outcome, as the daemon does when it is on the disk."""
        self._news = Condition()

    def __call__(self, event: Event) -> None:
        with self._news:
            self.events.append(event)
            self.times.append(monotonic())
            self._news.notify_all()
        if isinstance(event, Sent):
            self.settled(event.send)

    def until(self, true: Callable[[], object]) -> None:
        """Wait until something is true of the events; fail with all of them at the deadline."""
        with self._news:
            assert self._news.wait_for(true, DEADLINE), self.events

    def sent(self, *sends: int) -> list[Sent]:
        """Wait until all of these are answered; their answers in the order of `sends`."""
        self.until(lambda: set(sends) <= {each.send for each in self._sent()})
        return [each for send in sends for each in self._sent() if each.send == send]

    def watch(self, true: Callable[[], object]) -> None:
        """Wait until something is true that no event tells of."""
        until = monotonic() + DEADLINE
        while not true():
            assert monotonic() < until, self.events
            with self._news:
                self._news.wait(LOOK_AGAIN)

    def outcome(self, send: int) -> tuple[Outcome, str]:
        """Wait for the one answer to this send."""
        (answer,) = self.sent(send)
        return answer.outcome, answer.detail

    def downs(self) -> list[str]:
        return [each.why for each in self.events if isinstance(each, ChannelDown)]

    def ups(self) -> int:
        return sum(isinstance(each, ChannelUp) for each in self.events)

    def when(self, event: Event) -> float:
        return self.times[self.events.index(event)]

    def _sent(self) -> list[Sent]:
        return [each for each in self.events if isinstance(each, Sent)]


def children_of(parent: int | None) -> list[int]:
    """The process ids of a process's children: of the sender's, those of the running sends."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        # An OSError: it has ended meanwhile.
        with suppress(OSError):
            state, above = stat.read_text().rpartition(")")[2].split()[:2]
            if int(above) == parent and state != "Z":
                found.append(int(stat.parent.name))
    return found


def tell(send: int, channel: str, title: str = "High level", priority: str = "high") -> Tell:
    return Tell(send, f"unit.1.{send}", channel, title, f"body of {send}", priority)


Running = tuple[Post, Posted]


@contextmanager
def posting(
    addresses: dict[str, str],
    limit: float = 20,
    room: float = 20,
    pace: Pace | None = None,
    command: list[str] | None = None,
) -> Iterator[Running]:
    """A running sender with these addresses. `limit`, `room`: seconds a send may take."""
    posted = Posted()
    secrets = {name: Secret(address) for name, address in addresses.items()}
    words = command or [*COMMAND, "--limit", str(limit), "--room", str(room)]
    post = Post(posted, secrets, words, pace)
    posted.settled = post.settled
    post.start()
    try:
        yield post, posted
    finally:
        post.stop()
        assert not post.alive()


def send(
    running: Running, channel: str, title: str = "High level", priority: str = "high"
) -> tuple[Outcome, str]:
    """Hand out one send with a number of its own, and wait for its end."""
    post, posted = running
    number = next(NUMBER)
    post.tell(tell(number, channel, title, priority))
    return posted.outcome(number)
