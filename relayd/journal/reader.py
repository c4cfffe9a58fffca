"""Questions to the journal beside its writer, in its own process: read-only, each one short."""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from relayd.errors import RelaydError
from relayd.journal import files, schema, sums
from relayd.journal.codec import JournalDamaged
from relayd.journal.rows import RECORD

Row = dict[str, Any]


def records(
    path: Path,
    since: int | None = None,
    subject: str | None = None,
    limit: int = 100,
    after: int | None = None,
) -> list[Row]:
    """Records in the order they were made, at most `limit`, each with its number `n`.

    `after` a number: the ones that follow it. Without: the latest. `since` is UTC in ns. Raises
    RelaydError where there is no journal, JournalDamaged where it cannot be read.
    """
    asked = {"since": since, "subject": subject, "after": after, "limit": limit}
    found = query(
        path,
        f"SELECT {RECORD}, sum FROM record"
        " WHERE (:after IS NULL OR n > :after) AND (:since IS NULL OR wall >= :since)"
        " AND (:subject IS NULL OR subject = :subject)"
        f" ORDER BY n {'DESC' if after is None else 'ASC'} LIMIT :limit",
        asked,
    )
    for row in found:
        row["body"] = verified(row)
        row["trusted"] = bool(row["trusted"])
    return found[::-1] if after is None else found


def notices_of(path: Path, occurrence: int) -> list[Row]:
    """The notices of one occurrence, closed ones too, in the order they were made."""
    found = query(
        path, "SELECT * FROM notice WHERE occurrence = :of ORDER BY id", {"of": occurrence}
    )
    for row in found:
        row["made"] = parsed(row["made"])
    return found


def sends_of(path: Path, notice: int) -> list[Row]:
    """The sends of one notice, in the order they were made."""
    return query(path, "SELECT * FROM send WHERE notice = :of ORDER BY id", {"of": notice})


def verified(row: Row) -> Any:
    """A record's body; where it is not as it was written, that is said. Takes the checksum away."""
    crc = row.pop("sum")
    if sums.fits("record", (*(row[name] for name in RECORD.split(", ")), crc)):
        return parsed(row["body"])
    return {"damaged": "this line is not as it was written", "unreadable": row["body"]}


def parsed(text: str) -> Any:
    """Stored JSON; what cannot be parsed is shown as it stands, so that one row hides no other."""
    try:
        return json.loads(text)
    except ValueError:
        return {"unreadable": text}


def query(path: Path, sql: str, asked: dict[str, Any]) -> list[Row]:
    """All rows of one question as dicts."""
    with reading(path) as base:
        return dicts(base.execute(sql, asked))


def dicts(cursor: sqlite3.Cursor) -> list[Row]:
    """What is left of an answer, as dicts."""
    names: Sequence[str] = [column[0] for column in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that can change nothing and is closed at the end."""
    if not path.exists():
        raise RelaydError(f"{path}: there is no journal")
    try:
        address = files.address(path, "ro")
        with closing(sqlite3.connect(address, uri=True, isolation_level=None)) as base:
            for each in schema.READER:
                base.execute(each)
            yield base
    except (sqlite3.Error, UnicodeError) as error:
        raise JournalDamaged(f"{path}: cannot be read: {error}") from error
