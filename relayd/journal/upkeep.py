"""What is done to the file while nothing else waits: looked through for damage, and kept within bounds.

Records go when they are older than `Keep.age`, or from the oldest on while the file is larger than
`Keep.size`; in small steps, and never the newest `Keep.least`. What is open is never pruned: the
state and open notices have rows of their own, and records and notices of open alarms stay.
Closed notices go with the records of their time.
"""

import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from relayd import clock
from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR
from relayd.core.state import State
from relayd.journal import files, rows, schema
from relayd.journal.base import configure, is_damage, reason, transaction

STEP = 200
"""Rows that are looked at in one step."""
LOOK = HOUR
"""Between two looks, once a look found nothing more to prune."""
MIB = 1 << 20


@dataclass(frozen=True, slots=True)
class Keep:
    """How much is kept: `age` in ns, `size` of the file in bytes, and so many records in any case.

    A record is about 350 bytes: 256 MiB hold five years of more than 400 records a day.
    """

    age: int = 5 * 365 * DAY
    size: int = 256 * MIB
    least: int = 10_000


USUAL = Keep()
Old = tuple[int, int, int, str]
"""Number, wall time, whether that is to be believed, and the body or the occurrence."""


class Keeper:
    """Prunes; used by the writer's thread only."""

    def __init__(self, keep: Keep) -> None:
        self._keep = keep
        self._not_before = self._after = 0

    def step(self, base: sqlite3.Connection, state: State, now: Now) -> int:
        """One small step, if it is time for one; how many rows went."""
        if clock.boottime() < self._not_before:
            return 0
        open_ = needed(state)
        gone, more = self._records(base, open_, now)
        gone += self._notices(base, open_, self._horizon(base))
        if gone:
            base.execute(f"PRAGMA incremental_vacuum({STEP})").fetchall()
        if not gone and not more:
            self._not_before, self._after = clock.boottime() + LOOK, 0
        return gone

    def _records(
        self, base: sqlite3.Connection, open_: frozenset[int], now: Now
    ) -> tuple[int, bool]:
        """How many records went, and whether there may be more to prune."""
        last = rows.highest(base.execute, "record", "n") - self._keep.least
        asked = (
            "SELECT n, wall, trusted, body FROM record WHERE n > ? AND n <= ? ORDER BY n LIMIT ?"
        )
        found: list[Old] = base.execute(asked, (self._after, last, STEP)).fetchall()
        if size(base) <= self._keep.size:
            found = before(found, now.wall - self._keep.age) if now.trusted else []
        doomed = [(n,) for n, _, _, body in found if not _is_about(body, open_)]
        with transaction(base):
            base.executemany("DELETE FROM record WHERE n = ?", doomed)
        self._after = max([self._after, *(each[0] for each in found)])
        return len(doomed), bool(found)

    def _horizon(self, base: sqlite3.Connection) -> int:
        """The time of the oldest record that is left; what is older has been pruned."""
        asked = "SELECT wall FROM record WHERE trusted = 1 AND n > ? ORDER BY n LIMIT 1"
        oldest = base.execute(asked, (self._after,)).fetchone()
        return 0 if oldest is None else int(oldest[0])

    def _notices(self, base: sqlite3.Connection, open_: frozenset[int], horizon: int) -> int:
        asked = "SELECT id, closed, made LIKE '%true%', occurrence FROM notice ORDER BY id LIMIT ?"
        found = base.execute(asked, (STEP,)).fetchall()
        closed = [each for each in found if each[1] is not None]
        doomed = [(id,) for id, *_, of in before(closed, horizon) if of not in open_]
        with transaction(base):
            base.executemany("DELETE FROM send WHERE notice = ?", doomed)
            base.executemany("DELETE FROM notice WHERE id = ?", doomed)
        return len(doomed)


def needed(state: State) -> frozenset[int]:
    """The occurrences that are not over, or of which somebody is still owed word."""
    alarms = [each for owner in state.subjects.values() for each in owner.alarms.values()]
    open_ = [each.occurrence for each in alarms if each.process.value != "NORM"]
    return frozenset([*open_, *(each.occurrence for each in state.notices.values())])


def before(found: Sequence[Any], horizon: int) -> list[Any]:
    """All up to the last one that is known to be older than that."""
    older = [
        place for place, (_, wall, trusted, _) in enumerate(found) if trusted and wall < horizon
    ]
    return list(found[: older[-1] + 1]) if older else []


def _is_about(body: str, open_: frozenset[int]) -> bool:
    try:
        return bool(open_) and json.loads(body).get("occurrence") in open_
    except (ValueError, TypeError, AttributeError):
        return False


def size(base: sqlite3.Connection) -> int:
    """Bytes of the file that are in use."""
    run = base.execute
    used = schema.pragma(run, "page_count") - schema.pragma(run, "freelist_count")
    return used * schema.pragma(run, "page_size")


def check(path: Path) -> str | None:
    """Read the whole file for damage: None, or the first thing found."""
    try:
        with closing(sqlite3.connect(files.address(path, "ro"), uri=True)) as base:
            configure(base, schema.READER)
            found = str(base.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except (sqlite3.Error, UnicodeError) as error:
        return reason(error) if is_damage(error) else None
    return None if found == "ok" else found
