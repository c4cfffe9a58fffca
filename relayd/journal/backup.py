"""A journal as one file to be kept elsewhere, taken while it is written, and how it comes back.

`Backup` serves it in parts to whoever asks the daemon, since no other process may open the file
meanwhile. `restore` puts one in the place of the present journal, which is set aside, and gives it
another epoch: no id of before is ever given to something else.
"""

import base64
import os
import secrets
import shutil
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from threading import Event, Thread

from relayd.errors import RelaydError
from relayd.journal import files, loading, reader, rows, schema, sums
from relayd.journal.base import configure, reason, transaction
from relayd.journal.batch import UPSERT_META
from relayd.journal.codec import JournalDamaged

PART = 40 * 1024
"""Bytes of one part: as base64 it fits a line of the control socket."""
ROOM = 16 << 20
"""Bytes that must stay free on the disk beside a copy."""
PATIENCE = 600.0
"""Seconds without a question after which a copy is thrown away."""


class Backup:
    """One copy at a time, for one asker; `begin` and `part` are called by one thread."""

    def __init__(self, path: Path) -> None:
        self._path, self._copy = path, files.beside(path, ".backup")
        self._token = self._wrong = ""
        self._made, self._asked = Event(), Event()
        self._thread: Thread | None = None
        _remove(self._copy)

    def begin(self) -> str:
        """Let a copy be made; the word by which its parts are asked for. Raises RelaydError."""
        if self._thread is not None and not self._token:
            self._thread.join(0.5)  # it is taking its copy away
        if self._thread is not None and self._thread.is_alive():
            raise RelaydError("a backup is being taken already: try again when it is done")
        self._token, self._wrong = secrets.token_hex(16), ""
        self._made.clear()
        self._asked.clear()
        self._thread = Thread(target=self._make, name="backup", daemon=True)
        self._thread.start()
        return self._token

    def part(self, token: str, first: int) -> Mapping[str, object]:
        """The bytes from there on, once the copy is made; none ends it. Raises RelaydError."""
        if not token or token != self._token:
            raise RelaydError("that backup is over: begin again")
        self._asked.set()
        if not self._made.is_set():
            return {"ready": False}
        if self._wrong:
            raise RelaydError(self._wrong)
        with self._copy.open("rb") as file:
            file.seek(first)
            data = file.read(PART)
        if not data:
            self._token = ""
            self._asked.set()
        return {"ready": True, "data": base64.b64encode(data).decode("ascii")}

    def _make(self) -> None:
        try:
            copy(self._path, self._copy)
        except (OSError, RelaydError, sqlite3.Error) as error:
            self._wrong = f"no backup could be taken: {error}"
        self._made.set()
        while self._token and self._asked.wait(PATIENCE):
            self._asked.clear()
        self._token = ""
        _remove(self._copy)


def copy(path: Path, to: Path) -> None:
    """The journal as it is at this moment, whole and checked, in one file (0600).

    Raises RelaydError where there is no room, or what was copied is damaged; OSError, sqlite3.Error.
    """
    _remove(to)
    free = os.statvfs(to.parent)
    if path.exists() and free.f_bavail * free.f_frsize < path.stat().st_size + ROOM:
        raise RelaydError(f"{to.parent}: not enough room for a copy of the journal")
    os.close(os.open(to, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600))
    try:
        with reader.reading(path) as source, closing(_plain(to)) as made:
            source.backup(made)
            made.execute("PRAGMA journal_mode=DELETE")
        examine(to)
        _sync(to)
    except BaseException:
        _remove(to)
        raise


def take(path: Path, to: Path) -> None:
    """A copy of a journal that nobody has open, under its name only when it is whole. As `copy` raises."""
    partial = to.with_name(to.name + ".partial")
    copy(path, partial)
    put(partial, to)


def put(partial: Path, to: Path) -> None:
    """Give a whole file its name; after this it is on the disk under it."""
    _sync(partial)
    partial.replace(to)
    _sync(to.parent)


def examine(file: Path) -> None:
    """See whether that file is a whole journal. Raises RelaydError or JournalDamaged, which say why not."""
    if not file.is_file():
        raise RelaydError(f"{file}: there is no such file")
    try:
        with closing(_plain(file, "ro")) as base:
            configure(base, schema.READER)
            if schema.pragma(base.execute, "application_id") != schema.APPLICATION_ID:
                raise RelaydError(f"{file}: this is no journal of relayd")
            found = str(base.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except (sqlite3.Error, UnicodeError) as error:
        raise JournalDamaged(f"{file}: {reason(error)}") from error
    if found != "ok":
        raise JournalDamaged(f"{file}: damaged: {found}")


def restore(file: Path, path: Path, epoch: str) -> str:
    """Put that backup in the journal's place; how the present one is now called ('' where none was).

    The state directory must be locked. What was owed to people when the backup was taken is not
    sent again: alarms that still stand call anew. Raises RelaydError, JournalDamaged, OSError.
    """
    examine(file)
    fresh = files.beside(path, ".restoring")
    _remove(fresh)
    try:
        with fresh.open("xb") as made:
            os.fchmod(made.fileno(), 0o600)
            with file.open("rb") as held:
                shutil.copyfileobj(held, made)
        _make_ours(fresh, epoch)
        _sync(fresh)
        aside = files.set_aside(path, files.REPLACED) if path.exists() else ""
        files.beside(path, files.REACHED).unlink(missing_ok=True)
        fresh.replace(path)
        _sync(path.parent)
    except sqlite3.Error as error:
        raise JournalDamaged(f"{file}: {reason(error)}") from error
    finally:
        _remove(fresh)
    return aside


def _make_ours(fresh: Path, epoch: str) -> None:
    with closing(_plain(fresh)) as base:
        with transaction(base):
            schema.migrate(base.execute)
            loaded = loading.load(base.execute)
            if loaded is None or loaded.lost:
                what = ", ".join(loaded.lost) if loaded else "it is empty"
                raise JournalDamaged(f"this backup is damaged, and nothing was changed: {what}")
            given = {rows.EPOCH: epoch, "ended": "clean"}
            signed = [sums.signed("meta", pair) for pair in given.items()]
            base.executemany(UPSERT_META, signed)
            base.execute("DELETE FROM meta WHERE key LIKE 'stream:%'")
            base.execute("UPDATE notice SET closed = 0 WHERE closed IS NULL")


@contextmanager
def _nothing_left(partial: Path) -> Iterator[None]:
    try:
        yield
    finally:
        _remove(partial)


def received(parts: Iterator[bytes], to: Path) -> None:
    """Write parts into a file that gets its name when it is whole and checked. Raises as `copy` does."""
    partial = to.with_name(to.name + ".partial")
    _remove(partial)
    with _nothing_left(partial):
        how = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW
        with os.fdopen(os.open(partial, how, 0o600), "wb") as file:
            for part in parts:
                file.write(part)
        examine(partial)
        put(partial, to)


def _plain(path: Path, mode: str = "rw") -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(address, uri=True, isolation_level=None)


def _sync(path: Path) -> None:
    file = os.open(path, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def _remove(path: Path) -> None:
    for suffix in ("", "-wal", "-shm", "-journal"):
        with suppress(OSError):
            files.beside(path, suffix).unlink()
