"""A journal, a broker and a subscriber of the event stream, all in memory and in one thread."""

import json
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from relayd.channels import event
from relayd.channels.event import Row
from relayd.channels.pages import PAGE, Page
from relayd.channels.stream import IN_FLIGHT, Stream
from relayd.core.plan import SECOND

UNIT = "pumphouse"
TOPIC = event.topic(UNIT)
BOUND = 300
"""So many rows behind are sent here; the journal's own bound is a hundred times as much."""


def row(n: int, **more: object) -> dict[str, object]:
    """A record as the journal reads it."""
    usual = {"boot": "b1", "up": n * SECOND, "wall": n * SECOND, "trusted": True}
    about = {"kind": "tested", "subject": "panel:north", "body": {"n": n}}
    return {"n": n, **usual, **about, **more}


@dataclass(slots=True)
class Book:
    """A journal: its rows, its cursors as they stand in memory, and as they stand on the disk."""

    epoch: str = "e1"
    rows: dict[int, Row] = field(default_factory=dict)
    newest: int = 0
    cursors: dict[str, str] = field(default_factory=dict)
    written: dict[str, str] = field(default_factory=dict)
    writes: int = 0

    def record(self, count: int = 1) -> None:
        """So many records more; a commit, so what was noted is on the disk with them."""
        for _ in range(count):
            self.newest += 1
            self.rows[self.newest] = row(self.newest)
        self.written = dict(self.cursors)

    def read(self, after: int, limit: int) -> tuple[int, list[Row]]:
        """Keeps the promise of `Source`."""
        floor = max(after, self.newest - BOUND)
        return floor + 1, [self.rows[n] for n in sorted(self.rows) if n > floor][:limit]

    def cursor(self, name: str) -> str:
        """Keeps the promise of `Source`."""
        return self.cursors.get(name, "")

    def keep(self, name: str, cursor: str) -> None:
        """Keeps the promise of `Source`."""
        self.cursors[name] = cursor

    def write(self, name: str) -> None:
        """Keeps the promise of `Source`."""
        self.writes += 1
        self.written[name] = self.cursors[name]


class Disk:
    """Reads a book at once, or not at all while it is stalled; keeps the promise of `Ahead`."""

    def __init__(self, book: Book) -> None:
        self.stalled, self.broken = False, ""
        self._book = book
        self._after: int | None = None

    def ask(self, after: int) -> None:
        assert self._after is None
        self._after = after

    def take(self) -> Page | None:
        if self._after is None or self.stalled:
            return None
        after, self._after = self._after, None
        if self.broken:
            return Page(after, why=self.broken)
        return Page(after, *self._book.read(after, PAGE))

    @property
    def reading(self) -> bool:
        return self._after is not None

    def stop(self) -> None:
        self.stalled = True


@dataclass(slots=True)
class Slip:
    """One message on its way; keeps the promise of `Receipt`."""

    wire: "FakeWire"
    topic: str
    payload: str
    fate: str = ""

    def taken(self, wait: float) -> bool:
        if wait and not self.fate:
            self.wire.time_passes()
        return bool(self.fate)

    def kept(self) -> bool:
        return self.fate == "kept"


@dataclass(slots=True)
class Came:
    """One event that a subscriber got, and over which connection it was sent."""

    session: int
    n: int
    message: dict[str, Any]


class FakeWire:
    """A connection and a broker with one subscriber that never loses anything.

    `fates` tells what happens while somebody waits: the broker takes one message, or nothing, or
    the connection is lost. When they are used up, everything is taken.
    """

    def __init__(self, fates: Iterator[str]) -> None:
        self.now = self.sessions = 0
        self.tree: dict[str, str] = {}
        self.came: list[Came] = []
        self.refusing = False
        self.under_way: deque[Slip] = deque()
        self.most = 0
        self._session = 0
        self._fates = fates

    # The promise of `Wire`

    def open(self) -> None:
        pass

    def session(self) -> int:
        return self._session

    def publish(
        self, topic: str, payload: str, retain: bool, qos: int | None = None
    ) -> Slip | None:
        if not self._session:
            return None
        if topic == TOPIC:
            assert (retain, qos) == (False, 1)
        slip = Slip(self, topic, payload)
        self.under_way.append(slip)
        self.most = max(self.most, sum(each.topic == TOPIC for each in self.under_way))
        return slip

    def caught_up(self) -> None:
        pass

    def close(self) -> None:
        self._session = 0

    # What happens

    def connect(self) -> None:
        self.under_way.clear()
        self.sessions += 1
        self._session = self.sessions
        self.tree = {}

    def lose(self, arrived: int = 0) -> None:
        """The connection is gone; the first few messages under way had reached the broker."""
        for _ in range(min(arrived, len(self.under_way))):
            self._deliver(self.under_way.popleft())
        self.under_way.clear()
        self._session = 0

    def take(self, count: int = 1) -> None:
        """The broker takes the next messages, or refuses them."""
        for _ in range(min(count, len(self.under_way))):
            slip = self.under_way.popleft()
            slip.fate = "kept" if self._deliver(slip) else "refused"

    def time_passes(self) -> None:
        fate = next(self._fates, "take")
        if fate == "take":
            self.take()
        elif fate.startswith("lose"):
            self.lose(int(fate[4:]))

    def _deliver(self, slip: Slip) -> bool:
        if slip.topic == TOPIC:
            if self.refusing:
                return False
            message = json.loads(slip.payload)
            self.came.append(Came(self._session, message["n"], message))
        elif slip.payload:
            self.tree[slip.topic] = slip.payload
        else:
            self.tree.pop(slip.topic, None)
        return True


def numbers(wire: FakeWire) -> list[int]:
    """The numbers that came, in their order."""
    return [each.n for each in wire.came]


def ranges(wire: FakeWire) -> list[tuple[int | None, int]]:
    """What each message that came stands for: the first and the last number."""
    found: list[tuple[int | None, int]] = []
    for each in wire.came:
        gap = each.message["kind"] == event.GAP
        found.append((each.message["body"]["from"] if gap else each.n, each.n))
    return found


class Rig:
    """A stream alone, with a connection that stands, and no teller before it."""

    def __init__(self, book: Book | None = None, fates: tuple[str, ...] = ()) -> None:
        self.book = book or Book()
        self.wire = FakeWire(iter(fates))
        self.faults: list[str] = []
        self.time = 0
        self.may = True
        self.again()
        self.wire.connect()

    def again(self) -> None:
        """As after a new start of the unit."""
        self.disk = Disk(self.book)
        self.stream = Stream(
            UNIT, "mqtt", self.book, self.faults.append, lambda: self.time, self.disk
        )

    def step(self) -> bool:
        return self.stream.step(self.publish, lambda: self.may)

    def publish(self, topic: str, payload: str) -> Slip | None:
        return self.wire.publish(topic, payload, retain=False, qos=1)

    def drain(self) -> None:
        """Until nothing is left to do; fails where that does not come to an end."""
        self.stream.news()
        idle = 0
        for _ in range(10_000):
            idle = 0 if self.step() else idle + 1
            if idle > 2:
                return
        raise AssertionError("it goes on for ever")

    def reconnect(self) -> None:
        self.wire.lose()
        self.wire.connect()
        self.stream.begin()

    def passed(self, seconds: float) -> None:
        self.time += int(seconds * SECOND)


__all__ = ["BOUND", "IN_FLIGHT", "PAGE", "Book", "Came", "Disk", "FakeWire", "Rig", "Slip"]
