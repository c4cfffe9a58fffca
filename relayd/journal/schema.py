"""The tables, the settings of the database, and how an older file becomes one of today.

Within a major version the schema only grows: new tables, new columns with a default. Then the
previous version can still read and write the file, and a roll-back keeps it.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Protocol

from relayd.journal.codec import JournalDamaged

APPLICATION_ID = 0x72_6C_79_64
"""'rlyd': tells this file from any other SQLite file."""


class Run(Protocol):
    """Runs one statement and gives its rows: `execute` of a database connection."""

    def __call__(self, sql: str, parameters: Sequence[Any] = ..., /) -> Iterable[Any]:
        """The rows of that statement."""
        ...


NEW_FILE = (
    # Half a card's usual block: a commit writes whole pages, and our rows are small.
    "PRAGMA page_size=1024",
    "PRAGMA auto_vacuum=INCREMENTAL",
)
"""Settings that only take effect before the first table is made."""

WRITER = (
    "PRAGMA busy_timeout=1000",
    "PRAGMA journal_mode=WAL",
    # With NORMAL a power cut loses everything since the last checkpoint.
    "PRAGMA synchronous=FULL",
    "PRAGMA journal_size_limit=1048576",
    # 1 MiB of pages of 1024 bytes.
    "PRAGMA wal_autocheckpoint=1000",
    "PRAGMA temp_store=MEMORY",
    "PRAGMA mmap_size=0",
    "PRAGMA trusted_schema=OFF",
)
"""Settings of the one connection that writes. busy_timeout is short: the thread itself tries again."""

READER = (
    "PRAGMA query_only=1",
    "PRAGMA busy_timeout=5000",
    "PRAGMA temp_store=MEMORY",
    "PRAGMA mmap_size=0",
    "PRAGMA trusted_schema=OFF",
)
"""Settings of a connection that reads beside the writer."""


def first_tables(run: Run) -> None:
    """Version 1. No index on `record`: it is written all day and read seldom, by its number."""
    run("CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID")
    run("CREATE TABLE state (subject TEXT PRIMARY KEY, body TEXT NOT NULL)")
    run(
        "CREATE TABLE record (n INTEGER PRIMARY KEY, boot TEXT NOT NULL, up INTEGER NOT NULL,"
        " wall INTEGER NOT NULL, trusted INTEGER NOT NULL, kind TEXT NOT NULL,"
        " subject TEXT NOT NULL, body TEXT NOT NULL)"
    )
    run(
        "CREATE TABLE notice (id INTEGER PRIMARY KEY, subject TEXT NOT NULL,"
        " condition TEXT NOT NULL, occurrence INTEGER NOT NULL, person TEXT NOT NULL,"
        " kind TEXT NOT NULL, priority TEXT NOT NULL, title TEXT NOT NULL, short TEXT NOT NULL,"
        " long TEXT NOT NULL, made TEXT NOT NULL, closed INTEGER)"
    )
    run("CREATE INDEX notice_of ON notice (occurrence)")
    run("CREATE INDEX notice_open ON notice (id) WHERE closed IS NULL")
    # Kept under its notice, so that a start reads the open ones without an index of their own.
    run(
        "CREATE TABLE send (id INTEGER NOT NULL, notice INTEGER NOT NULL, channel TEXT NOT NULL,"
        " state TEXT NOT NULL, tries INTEGER NOT NULL, due INTEGER, outcome TEXT,"
        " detail TEXT NOT NULL, PRIMARY KEY (notice, id)) WITHOUT ROWID"
    )
    run("CREATE TABLE said (topic TEXT PRIMARY KEY) WITHOUT ROWID")


SUMMED = {
    "meta": ("key", "value"),
    "state": ("subject", "body"),
    "notice": (
        *("id", "subject", "condition", "occurrence", "person", "kind", "priority"),
        *("title", "short", "long", "made"),
    ),
    "send": ("id", "notice", "channel", "state", "tries", "due", "outcome", "detail"),
}
"""Tables whose rows change, and the columns that their checksums are made of."""


def checksums(run: Run) -> None:
    """Version 2: a checksum beside each row; it falls away where version 1 changes the row."""
    run("ALTER TABLE record ADD COLUMN sum INTEGER")
    for table, columns in SUMMED.items():
        run(f"ALTER TABLE {table} ADD COLUMN sum INTEGER")
        new, old = (", ".join(f"{of}.{name}" for name in columns) for of in ("NEW", "OLD"))
        keys = "id, notice" if table == "send" else columns[0]
        these = ", ".join(f"NEW.{name}" for name in keys.split(", "))
        run(
            f"CREATE TRIGGER {table}_unsummed AFTER UPDATE OF {', '.join(columns)} ON {table}"
            f" WHEN NEW.sum IS OLD.sum AND ({new}) IS NOT ({old})"
            f" BEGIN UPDATE {table} SET sum = NULL WHERE ({keys}) = ({these}); END"
        )


def promises(run: Run) -> None:
    """Version 3: what one row promises of others, so that one that is missing is noticed.

    How many sends a notice has (version 2 leaves it unknown), what one that names several names,
    and a checksum beside each topic.
    """
    run("ALTER TABLE notice ADD COLUMN ways INTEGER")
    run("ALTER TABLE notice ADD COLUMN names TEXT")
    run("ALTER TABLE said ADD COLUMN sum INTEGER")


MIGRATIONS: tuple[Callable[[Run], None], ...] = (first_tables, checksums, promises)
"""Number n makes version n+1 out of version n. None is ever changed once it has been released."""


def pragma(run: Run, name: str) -> int:
    """The present value of one of SQLite's own whole-number settings."""
    for row in run(f"PRAGMA {name}"):
        return int(row[0])
    raise JournalDamaged(f"{name}: SQLite does not tell")


def is_current(run: Run) -> bool:
    """Whether it is our file and needs no migration (a later version of this major is good as it is)."""
    ours = pragma(run, "application_id") == APPLICATION_ID
    return ours and pragma(run, "user_version") >= len(MIGRATIONS)


def migrate(run: Run) -> None:
    """Bring the file to today's version; to be called inside one transaction.

    Raises JournalDamaged for a database that another program made.
    """
    version = pragma(run, "user_version")
    owner = pragma(run, "application_id")
    if owner != APPLICATION_ID and (owner or version):
        raise JournalDamaged("a database of another program")
    for migration in MIGRATIONS[version:]:
        migration(run)
    if version < len(MIGRATIONS):
        run(f"PRAGMA application_id={APPLICATION_ID}")
        run(f"PRAGMA user_version={len(MIGRATIONS)}")
