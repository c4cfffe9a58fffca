"""What one alarm costs the memory card: told to two people, acknowledged, over. In simulated time."""

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from relayd.core.effects import Answer, Tell
from relayd.core.events import (
    Acknowledge,
    Act,
    Commanded,
    EdgeSeen,
    Event,
    LevelRead,
    Now,
    Outcome,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.plan import MINUTE, SECOND, CallList, Plan, Step
from relayd.engine import Engine
from relayd.journal.store import Journal
from tests.bench.figures import Row, kib
from tests.core.world import CIRCUIT, LEVEL, WALL, plan

COMMITS, BYTES = 12, 256 << 10


class Story:
    """The real engine on the real journal; every send is taken at once."""

    def __init__(self, folder: Path) -> None:
        self.up, self.told = 100 * SECOND, 0
        self.journal = Journal(folder / "journal.db", "creek-1", lambda: "k3f9ab")
        self._waiting: list[Event] = []
        self._engine = Engine(two_people(), self.journal.open(), self.journal, self, self.now)
        self._engine.answer = self._answer
        self.answered = False
        self._take(Started(True))
        self._take(LevelRead(LEVEL, False, self.up))
        self._take(LevelRead(CIRCUIT, True, self.up))
        self.run(30)

    def now(self) -> Now:
        return Now("boot", self.up, WALL + self.up, True)

    def tell(self, tell: Tell) -> None:
        self.told += 1
        self._waiting.append(Sent(tell.send, Outcome.TAKEN))

    def settled(self, send: int) -> None:
        """Nothing waits for that."""

    def withdraw(self, send: int) -> None:
        raise AssertionError("nothing is to be withdrawn")

    def move(self, closed: bool) -> None:
        """The float's contact, with three bounces of a millisecond."""
        for each in (closed, not closed, closed):
            self._take(EdgeSeen(LEVEL, each, self.up))
            self.up += 1_000_000

    def acknowledge(self) -> None:
        """Ben has it."""
        self._take(Commanded("t", Acknowledge(panel="cabin", act=Act.TAKEN), "ben", "test"))

    def run(self, seconds: float) -> None:
        """Let time pass, stopping at every deadline."""
        end = self.up + int(seconds * SECOND)
        while self._engine.due is not None and self._engine.due <= end:
            self.up = max(self.up, self._engine.due)
            self._take(TimePassed())
        self.up = end

    def _take(self, event: Event) -> None:
        self._engine.turn(event)
        while self._waiting:
            self._engine.turn(self._waiting.pop(0))

    def _answer(self, answer: Answer) -> None:
        self.answered = answer.ok


def two_people() -> Plan:
    """Anna and Ben, told at once, by one channel each."""
    base = plan()
    people = {
        "ben": replace(base.people["ben"], channels=("ben.mail",)),
        "anna": base.people["anna"],
    }
    return replace(
        base,
        people=people,
        channels={"anna.mail": "anna", "ben.mail": "ben"},
        call_lists={"night": CallList("night", (Step(0, ("anna", "ben")),))},
    )


def alarm_rows(folder: Path) -> Iterator[Row]:
    """Commits and bytes up to the acknowledgement, and up to the stand-down."""
    story, bare = Story(folder), bare_insert(folder / "bare.db")
    begin = story.journal.transactions, given_to_writes()
    story.move(True)
    story.run(60)
    story.acknowledge()
    yield from _rows("an alarm told to two people and acknowledged", story, begin, bare)
    assert story.told == 3, "both, and Anna that Ben has it"
    assert story.answered
    story.run(10 * 60)
    story.move(False)
    story.run(5 * MINUTE // SECOND)
    yield from _rows("the same, and both told that it is over", story, begin, bare)
    assert story.told == 5
    assert story.journal.close()


def _rows(what: str, story: Story, begin: tuple[int, int], bare: int) -> Iterator[Row]:
    commits = story.journal.transactions - begin[0]
    size = given_to_writes() - begin[1]
    ratio = f"{commits} inserts"
    yield Row(f"{what}: commits", f"{commits}", "1", ratio, f"{COMMITS}", commits <= COMMITS)
    fits = size <= BYTES
    yield Row(f"{what}: written", kib(size), kib(bare), f"{size / bare:.1f}", "256 KiB", fits)


def bare_insert(path: Path, count: int = 100) -> int:
    """Bytes given to the kernel for one insert of 200 bytes with fsync; SQLite's own page size."""
    base = sqlite3.connect(path, isolation_level=None)
    base.execute("PRAGMA journal_mode=WAL")
    base.execute("PRAGMA synchronous=FULL")
    base.execute("CREATE TABLE edge (body TEXT)")
    begin = given_to_writes()
    for _ in range(count):
        base.execute("INSERT INTO edge VALUES (?)", ("x" * 200,))
    size = (given_to_writes() - begin) // count
    base.close()
    return size


def given_to_writes() -> int:
    """Bytes that this process gave to write calls."""
    pairs = (line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(dict(pairs)["wchar"])
