"""The one database library: opening, settings, transactions, and what its errors mean."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from relayd.journal import files, schema
from relayd.journal.codec import JournalDamaged

REASONS = {
    sqlite3.SQLITE_FULL: "disk full",
    sqlite3.SQLITE_IOERR: "I/O error",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened",
    sqlite3.SQLITE_BUSY: "held by another program",
}
"""SQLite's errors that people meet, in words."""

DAMAGE = {
    sqlite3.SQLITE_ERROR,  # a table or column is not there
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
    sqlite3.SQLITE_FORMAT,
    sqlite3.SQLITE_TOOBIG,
    sqlite3.SQLITE_MISMATCH,
}
"""SQLite's errors that say the content of the file is bad, and not the disk under it."""

Failure = (sqlite3.Error, OSError, JournalDamaged, UnicodeError)
"""What can go wrong with a file (a damaged one may even spoil the text of the error)."""


def connect(path: Path) -> sqlite3.Connection:
    """Open the database for writing, with its settings, at today's version; makes a missing one."""
    base = sqlite3.connect(
        files.address(path), uri=True, isolation_level=None, check_same_thread=False
    )
    try:
        configure(base, (*schema.NEW_FILE, *schema.WRITER))
        if not schema.is_current(base.execute):
            with transaction(base):
                schema.migrate(base.execute)
    except BaseException:
        base.close()
        raise
    return base


def configure(base: sqlite3.Connection, settings: Sequence[str]) -> None:
    """Apply settings one by one."""
    for each in settings:
        base.execute(each)


@contextmanager
def transaction(base: sqlite3.Connection) -> Iterator[None]:
    """All or nothing; takes the write lock at once, so that it never fails half-way for want of it."""
    base.execute("BEGIN IMMEDIATE")
    try:
        yield
        base.execute("COMMIT")
    except BaseException:
        if base.in_transaction:
            base.execute("ROLLBACK")
        raise


def code_of(error: Exception) -> int | None:
    """SQLite's primary error code, or None where it gave none."""
    code: int | None = getattr(error, "sqlite_errorcode", None)
    return None if code is None else code & 0xFF


def is_damage(error: Exception) -> bool:
    """Whether the content of the file is to blame, and not the disk under it."""
    code = code_of(error)
    no_text = code is None and isinstance(error, sqlite3.OperationalError)  # not UTF-8
    return isinstance(error, JournalDamaged | UnicodeError) or code in DAMAGE or no_text


def reason(error: Exception) -> str:
    """The error in a few words."""
    known = REASONS.get(code_of(error) or 0)
    return f"{known} ({error})" if known else f"{error}"
