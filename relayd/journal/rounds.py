"""The journal looked through while it is in use: a few rows at a time, the whole of it once a day.

In: what memory knows to be in the file, at a moment when nothing waits to be written. Out: what is
not as it was written, and how that is mended. Raises what the database raises where a page makes no
sense. Every slice reads through a connection of its own, so that no page comes from the writer's
memory; a round begins with the system's own copies of the file dropped, so that the card is read
and not memory. Of pages that hold no row it sees nothing. Used by the writer's thread only.
"""

import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from relayd import clock
from relayd.core import unit_words as words
from relayd.core.plan import DAY
from relayd.core.state import Notice
from relayd.journal import files, rows, schema, sums
from relayd.journal.base import configure
from relayd.journal.batch import DELETE_SENDS, DELETE_SUBJECT, UNSAY, Work
from relayd.journal.codec import JournalDamaged, compact
from relayd.journal.rows import Row

EVERY = DAY
STEP = 200
"""Rows of one slice: with one each five seconds 256 MiB of records take about five hours."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the file must hold now: names of subjects, open notices, topics at brokers."""

    subjects: frozenset[str]
    notices: Mapping[int, Notice]
    said: frozenset[str]


@dataclass(frozen=True, slots=True)
class Found:
    """What was wrong: statements that take it away, whether memory is to be written anew, the words."""

    mends: tuple[Work, ...] = ()
    anew: bool = False
    said: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Walk:
    """One table in the order of its key; `index` must find each row by its last column."""

    table: str
    columns: str
    key: str
    index: str = ""
    indexed: str = ""

    def after(self, last: Row | None) -> tuple[str, Sequence[Any]]:
        """The question for the next rows."""
        where = f"WHERE ({self.key}) > ({', '.join('?' * len(last))})" if last else ""
        asked = f"SELECT {self.key}, {self.columns}, sum FROM {self.table} {where}"
        return f"{asked} ORDER BY {self.key} LIMIT {STEP}", last or ()

    @property
    def parts(self) -> int:
        """Of how many columns the key is."""
        return self.key.count(",") + 1


WALKS = (
    Walk("meta", "key, value", "key"),
    Walk("state", "subject, body", "rowid", "sqlite_autoindex_state_1", "subject"),
    Walk("said", "topic", "topic"),
    Walk("notice", rows.NOTICE, "id", "notice_of", "occurrence"),
    Walk("send", rows.SEND, "notice, id"),
    Walk("record", rows.RECORD, "n"),
)


class Rounds:
    """One round after another; the first begins a day after the opening, which looks by itself."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._not_before = clock.boottime() + EVERY
        self._walk: int | None = None
        self._last: Row | None = None
        self._file: tuple[int, int] = (0, -1)
        self.whole = 0
        """Rounds that came to their end."""

    def due(self) -> bool:
        """Whether a slice is to be looked at."""
        return self._walk is not None or clock.boottime() >= self._not_before

    def step(self, known: Known) -> Found:
        """Look at the next slice."""
        address = files.address(self._path, "ro")
        with closing(sqlite3.connect(address, uri=True, isolation_level=None)) as base:
            configure(base, schema.READER)
            if self._walk is None:
                self._begin()
                return _open_ones(base, known)
            return self._slice(base, WALKS[self._walk], known)

    def again(self) -> None:
        """The file is another one: the round under way is over."""
        self._walk, self._last = None, None

    def close(self) -> None:
        """Let the file go; only once no connection holds a lock on it, which would go with this."""
        inode, held = self._file
        self._file = (0, -1)
        if inode:
            with suppress(OSError):
                os.close(held)

    def _begin(self) -> None:
        self._walk, self._last = 0, None
        self._not_before = clock.boottime() + EVERY
        inode = files.inode(self._path)
        with suppress(OSError):  # then what is read may come from memory
            if inode != self._file[0]:
                self.close()
                self._file = inode, os.open(self._path, os.O_RDONLY | os.O_CLOEXEC)
            os.posix_fadvise(self._file[1], 0, 0, os.POSIX_FADV_DONTNEED)

    def _slice(self, base: sqlite3.Connection, walk: Walk, known: Known) -> Found:
        found = base.execute(*walk.after(self._last)).fetchall()
        keys = [each[: walk.parts] for each in found]
        if sorted(set(keys)) != keys or (self._last and keys and keys[0] <= self._last):
            raise JournalDamaged(f"the rows of {walk.table} are not in their order")
        _indexed(base, walk, found)
        bad = [each for each in found if not _fits(walk, each)]
        self._go_on(walk, keys)
        return _judged(walk, bad, known) if bad else Found()

    def _go_on(self, walk: Walk, keys: list[Row]) -> None:
        if len(keys) == STEP:
            self._last = keys[-1]
            return
        self._last = None
        self._walk = WALKS.index(walk) + 1
        if self._walk == len(WALKS):
            self._walk = None
            self.whole += 1


def _fits(walk: Walk, row: Row) -> bool:
    try:
        return sums.fits(walk.table, row[walk.parts :])
    except TypeError:  # bytes, where a text was written
        return False


def _indexed(base: sqlite3.Connection, walk: Walk, found: list[Row]) -> None:
    """See whether the index finds each of these rows. Raises JournalDamaged."""
    if not walk.index:
        return
    names = [*walk.key.split(", "), *walk.columns.split(", ")]
    place = names.index(walk.indexed)
    asked = (
        f"SELECT 1 FROM {walk.table} INDEXED BY {walk.index}"
        f" WHERE {walk.indexed} IS ? AND {walk.key} = ?"
    )
    for row in found:
        if base.execute(asked, (row[place], row[0])).fetchone() is None:
            raise JournalDamaged(f"the index {walk.index} misses a row")


def _judged(walk: Walk, bad: list[Row], known: Known) -> Found:
    """What memory holds is written anew; what is history alone is marked, and said."""
    if walk.table in ("meta", "state", "said"):
        keys = [each[: walk.parts] for each in bad]
        delete = (f"DELETE FROM {walk.table} WHERE {walk.key} = ?", keys)
        return Found((delete,), True, (words.MENDED.format(count=len(bad)),))
    if walk.table == "record":
        said = words.BAD_LINES.format(count=len(bad), number=bad[0][0])
        return Found(((_REWRITE, [_marked(each[1:]) for each in bad]),), False, (said,))
    numbers = sorted({each[0] for each in bad})
    held = [(each,) for each in numbers if each in known.notices]
    past = [(each,) for each in numbers if each not in known.notices]
    return Found(
        (
            (DELETE_SENDS, held),
            (DELETE_NOTICE, held),
            ("UPDATE notice SET sum = NULL WHERE id = ?", past),
            ("UPDATE send SET sum = NULL WHERE notice = ?", past),
        ),
        bool(held),
        tuple(
            text.format(count=len(found))
            for text, found in ((words.MENDED, held), (words.BAD_MESSAGES, past))
            if found
        ),
    )


DELETE_NOTICE = "DELETE FROM notice WHERE id = ?"
_REWRITE = (
    "UPDATE record SET boot=?, up=?, wall=?, trusted=?, kind=?, subject=?, body=?, sum=? WHERE n=?"
)


def _marked(row: Row) -> Row:
    """The line as it is found, marked as damaged, with a checksum of its own: it is said once."""
    n, boot, up, wall, trusted, kind, subject, body, _ = row
    body = {"damaged": "this line is not as it was written", "unreadable": _text(body)}
    numbers = [each if isinstance(each, int) else 0 for each in (up, wall, trusted)]
    texts = _text(kind), _text(subject), compact(body)
    *_, crc = signed = sums.signed("record", (n, _text(boot), *numbers, *texts))
    return (*signed[1:-1], crc, n)


def _text(value: object) -> str:
    return value if isinstance(value, str) else repr(value)


def _open_ones(base: sqlite3.Connection, known: Known) -> Found:
    """See whether the file holds open what memory does, no more and no less."""
    run = base.execute
    differ = [*_differences(run, known)]
    missing = sum(len(values) for _, values in differ)
    if not missing:
        return Found()
    return Found(tuple(differ), True, (words.MENDED.format(count=missing),))


def _differences(run: schema.Run, known: Known) -> Iterator[Work]:
    """Statements that take away what is too much; those for what is missing only name it."""
    subjects = {row[0] for row in run("SELECT subject FROM state NOT INDEXED")}
    yield DELETE_SUBJECT, [(each,) for each in subjects ^ known.subjects]
    said = {row[0] for row in run("SELECT topic FROM said")}
    yield UNSAY, [(each,) for each in said ^ known.said]
    open_ = {
        row[0] for row in run("SELECT id FROM notice INDEXED BY notice_open WHERE closed IS NULL")
    }
    yield "UPDATE notice SET closed = 0 WHERE id = ?", [(n,) for n in open_ - known.notices.keys()]
    yield DELETE_NOTICE, [(n,) for n in known.notices.keys() - open_]
    yield DELETE_SENDS, [(n,) for n, each in known.notices.items() if _torn(run, each)]


def _torn(run: schema.Run, notice: Notice) -> bool:
    """Whether the file holds other sends of that notice than memory does."""
    held = {row[0] for row in run("SELECT id FROM send WHERE notice = ?", (notice.id,))}
    return held != {each.id for each in notice.sends}
