"""Contacts that a script moves: for rehearsals, demonstrations and tests. Keeps every promise."""

from collections.abc import Mapping
from dataclasses import dataclass
from threading import RLock

from relayd.clock import boottime
from relayd.contacts import Post
from relayd.core.events import EdgeSeen, Event, InputFound, InputLost, LevelRead


@dataclass(slots=True)
class _Input:
    """One input as it stands, and the time of the last event about it."""

    closed: bool
    lost: str = ""
    at: int = 0


class ScriptedContacts:
    """A source of edges without wires. `inputs` maps each full input id to closed or open."""

    def __init__(self, inputs: Mapping[str, bool]) -> None:
        self._inputs = {name: _Input(closed) for name, closed in inputs.items()}
        self._post: Post | None = None
        self._lock = RLock()

    def start(self, post: Post) -> None:
        """Post where each input stands, or why it is lost."""
        with self._lock:
            self._post = post
            for name, each in self._inputs.items():
                each.at = boottime()
                post(self._first(name, each))

    def stop(self) -> None:
        """Post nothing from now on."""
        with self._lock:
            self._post = None

    def restart(self) -> None:
        """A script has no thread that could die."""

    def beat(self) -> int:
        """Boot time (ns): a script is always up to date while it runs; 0 when it does not."""
        return boottime() if self.alive() else 0

    def alive(self) -> bool:
        """Whether it was started and not stopped."""
        return self._post is not None

    def move(self, input: str, closed: bool, at: int | None = None) -> None:
        """Close or open a contact, at that boot time (ns) or now; a lost one moves unseen."""
        with self._lock:
            each = self._inputs[input]
            if closed == each.closed:
                return
            each.closed = closed
            if not each.lost:
                each.at = max(each.at, boottime() if at is None else at)
                self._say(EdgeSeen(input, closed, each.at))

    def lose(self, input: str, why: str) -> None:
        """Let an input be unreadable from now on; said once, however often it is lost."""
        with self._lock:
            each = self._inputs[input]
            if not each.lost:
                each.lost = why
                self._say(InputLost(input, why))

    def find(self, input: str, closed: bool) -> None:
        """Let a lost input be readable again, standing closed or open."""
        with self._lock:
            each = self._inputs[input]
            if not each.lost:
                self.move(input, closed)
                return
            each.lost, each.closed, each.at = "", closed, max(each.at, boottime())
            self._say(InputFound(input, closed, each.at))

    def _first(self, name: str, each: _Input) -> Event:
        if each.lost:
            return InputLost(name, each.lost)
        return LevelRead(name, each.closed, each.at)

    def _say(self, event: Event) -> None:
        if self._post is not None:
            self._post(event)
