"""Reads pages of records on a thread of its own, so that a disk that stalls holds up nobody else.

In: a number to read after. Out: the page, when it is there. Knows nothing of SQLite and brokers.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread
from typing import Protocol

from relayd.channels.event import Row

PAGE = 100
"""Rows that are in memory at most."""


@dataclass(frozen=True, slots=True)
class Page:
    """What was read after the number `after`; `why` says why nothing could be read."""

    after: int
    first: int = 0
    """The first number that is not too far behind, whether or not its row is there."""
    rows: Sequence[Row] = ()
    why: str = ""


class Source(Protocol):
    """The journal, as far as the stream needs it."""

    @property
    def epoch(self) -> str:
        """Tells the numbers of this journal from those of any other."""

    def read(self, after: int, limit: int) -> tuple[int, Sequence[Row]]:
        """The first number after `after` that is within the bound, and at most `limit` rows from there.

        May take long, and may raise.
        """

    def cursor(self, name: str) -> str:
        """What was last kept under that name, or ''."""

    def keep(self, name: str, cursor: str) -> None:
        """Keep it with whatever is written next. Never waits."""

    def write(self, name: str) -> None:
        """Have it written now, unless it has been. Never waits."""


class Ahead(Protocol):
    """Reads one page at a time; nothing here waits."""

    def ask(self, after: int) -> None:
        """Begin to read; to be called again only after the page was taken."""

    def take(self) -> Page | None:
        """The page that was asked for, once; None while it is not there."""

    @property
    def reading(self) -> bool:
        """Whether a page was asked for and not taken yet."""

    def stop(self) -> None:
        """Read no more."""


class Pages:
    """One page at a time, on a thread. `ask` and `take` are called by one thread and never wait."""

    def __init__(self, source: Source, ready: Callable[[], None]) -> None:
        """`ready` is called from the reading thread whenever a page can be taken."""
        self._source, self._ready = source, ready
        self._asked: SimpleQueue[int | None] = SimpleQueue()
        self._found: SimpleQueue[Page] = SimpleQueue()
        self._open = False
        self._thread: Thread | None = None

    def ask(self, after: int) -> None:
        """Begin to read; to be called again only after the page was taken."""
        if self._thread is None:
            self._thread = Thread(target=self._run, name="stream-reader", daemon=True)
            self._thread.start()
        self._open = True
        self._asked.put(after)

    def take(self) -> Page | None:
        """The page that was asked for, once; None while it is not there."""
        if self._found.empty():
            return None
        self._open = False
        return self._found.get()

    @property
    def reading(self) -> bool:
        """Whether a page was asked for and not taken yet."""
        return self._open

    def stop(self) -> None:
        """Let the thread end after what it does now; waits for nothing, since a disk may not answer."""
        self._asked.put(None)

    def _run(self) -> None:
        while (after := self._asked.get()) is not None:
            self._found.put(self._read(after))
            self._ready()

    def _read(self, after: int) -> Page:
        try:
            first, rows = self._source.read(after, PAGE)
        except Exception as error:  # noqa: BLE001 - it is said in the page, and read again
            return Page(after, why=f"{type(error).__name__}: {error}")
        return Page(after, first, rows)
