"""The journal as it lies on the disk at this moment, read from a copy: the unit's own is left alone.

A reader of the file itself would take part in the unit's locking, and in whatever its disk does.
"""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

Record = dict[str, Any]
HEADER = 32
"""Bytes of a write-ahead log's header; a log that was begun anew has another (SQLite file format, 4.1)."""


def records(path: Path, after: int, room: Path) -> list[Record] | None:
    """The records that follow number `after`; None where there are none to read at this moment."""
    asked = "SELECT n, boot, up, wall, kind, subject, body FROM record WHERE n > ? ORDER BY n"
    rows = _rows(path, room, asked, after)
    return rows and [{**row, "body": json.loads(row["body"])} for row in rows]


def kept(path: Path, subject: str, room: Path) -> Record | None:
    """What the journal's table of the state holds of a subject; None where it cannot be read now."""
    rows = _rows(path, room, "SELECT body FROM state WHERE subject = ?", subject)
    if not rows:
        return None
    found: Record = json.loads(rows[0]["body"])
    return found


def _rows(path: Path, room: Path, asked: str, about: object) -> list[Record] | None:
    copy = _copied(path, room)
    if copy is None:
        return None
    try:
        with closing(sqlite3.connect(copy)) as base:
            base.row_factory = sqlite3.Row
            return [dict(row) for row in base.execute(asked, (about,))]
    except sqlite3.OperationalError:  # it is being made
        return None


def _copied(path: Path, room: Path) -> Path | None:
    """A copy of database and log that belong together, or None."""
    log, copy = path.with_name(path.name + "-wal"), room / path.name
    room.mkdir(exist_ok=True)
    before = _header(log)
    for old in room.glob(path.name + "*"):
        old.unlink()
    try:
        shutil.copyfile(path, copy)
        if log.exists():
            shutil.copyfile(log, room / log.name)
    except FileNotFoundError:
        return None
    return copy if _header(log) == before else None


def _header(log: Path) -> bytes:
    try:
        with log.open("rb") as file:
            return file.read(HEADER)
    except FileNotFoundError:
        return b""
