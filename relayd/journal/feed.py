"""The journal as a stream reads it: page after page of records, and how far each reader has come.

In: the number of the last record that was read. Out: rows as plain dicts, within a bound. Knows
nothing of those who read.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from sqlite3 import Connection
from typing import Any

from relayd.core.events import Now
from relayd.core.plan import DAY
from relayd.journal import reader, rows
from relayd.journal.codec import JournalDamaged
from relayd.journal.store import Journal

ROWS = 10_000
"""So many records are read that are older than the newest one."""
AGE = 7 * DAY
LONGEST = 8192
"""Characters of a body that is read; the longest of the usual ones has less than 2,000."""
LEFT_OUT = {"left_out": f"longer than {LONGEST} characters"}

FRESH = (
    "SELECT n FROM record WHERE n > :floor AND (trusted = 0 OR wall >= :oldest) ORDER BY n LIMIT 1"
)
PAGE = (
    "SELECT n, boot, up, wall, trusted, kind, subject,"
    f" CASE WHEN length(body) <= {LONGEST} THEN body END AS body, sum"
    " FROM record WHERE n >= :first ORDER BY n LIMIT :limit"
)


class Feed:
    """Records in their order. `read` may be called from any thread, and may take as long as a disk does."""

    def __init__(self, path: Path, journal: Journal, epoch: str, now: Callable[[], Now]) -> None:
        self.epoch = epoch
        self._path, self._journal, self._now = path, journal, now

    def read(self, after: int, limit: int) -> tuple[int, Sequence[reader.Row]]:
        """The first number after `after` that is within the bound, and at most `limit` rows from there.

        Raises RelaydError where there is no journal, JournalDamaged where it cannot be read or is
        that of another epoch.
        """
        try:
            with reader.reading(self._path) as base:
                base.execute("BEGIN")
                if rows.epoch_in(base.execute) != self.epoch:
                    raise JournalDamaged(f"{self._path.name} holds the journal of another time")
                first = self._first(base, after)
                found = reader.dicts(base.execute(PAGE, {"first": first, "limit": limit}))
        except JournalDamaged:
            self._journal.doubt()
            raise
        return first, [_readable(row) for row in found]

    def _first(self, base: Connection, after: int) -> int:
        newest = rows.highest(base.execute, "record", "n")
        floor = max(after, newest - ROWS)
        now = self._now()
        # An unset clock tells no age, neither that of a record nor that of today.
        oldest = now.wall - AGE if now.trusted else -(2**63)
        fresh = base.execute(FRESH, {"floor": floor, "oldest": oldest}).fetchone()
        if fresh is None:
            return max(after, newest) + 1
        between = base.execute(
            "SELECT 1 FROM record WHERE n > ? AND n < ? LIMIT 1", (floor, fresh[0])
        ).fetchone()
        return int(fresh[0]) if between else floor + 1

    def cursor(self, name: str) -> str:
        """How far that reader has come, as it said itself; '' where it never did."""
        return self._journal.meta_get(_key(name)) or ""

    def keep(self, name: str, cursor: str) -> None:
        """Keep how far that reader has come with whatever is written next. Waits for nothing."""
        self._journal.meta_note(_key(name), cursor)

    def write(self, name: str) -> None:
        """Have that written now, where nothing else took it along. Waits for nothing."""
        self._journal.meta_write(_key(name))


def _key(name: str) -> str:
    return f"stream:{name}"


def _readable(row: reader.Row) -> dict[str, Any]:
    if row["body"] is None:
        body = LEFT_OUT
        del row["sum"]
    else:
        body = reader.verified(row)
    return {**row, "trusted": bool(row["trusted"]), "body": body}
