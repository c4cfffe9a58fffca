"""A file is opened, or set aside with what can be read of it taken along; or neither is possible now.

In: the journal's path. Out: what it holds, and what was wrong. Raises nothing for a bad file.
"""

import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from relayd.core import unit_words as words
from relayd.core.state import State
from relayd.journal import files, loading, wal, witness
from relayd.journal.base import Failure, code_of, connect, is_damage, reason
from relayd.journal.codec import JournalDamaged
from relayd.journal.loading import Loaded
from relayd.journal.witness import Reached


@dataclass(frozen=True, slots=True)
class Opened:
    """Whether the journal is new, which file was last set aside and why, and what was lost."""

    fresh: bool = False
    set_aside: str | None = None
    why: str = ""
    lost: tuple[str, ...] = ()

    def harm(self) -> str:
        """What was damaged and lost, part by part; '' where nothing was."""
        why = self.why.replace(";", ",")
        aside = [] if self.set_aside is None else [words.ASIDE.format(why=why, file=self.set_aside)]
        return "; ".join([*aside, *self.lost])


@dataclass(frozen=True, slots=True)
class Found:
    """What was found: the connection (where the file can be used), its content, and how it went."""

    base: sqlite3.Connection | None
    loaded: Loaded
    opened: Opened


def find(path: Path, draw_epoch: Callable[[], str]) -> Found:
    """Open the file and load it; set a damaged one aside and keep what of it proves itself."""
    base: sqlite3.Connection | None = None
    try:
        hidden = wal.hidden(path)
        if hidden:
            raise JournalDamaged(hidden)
        base = connect(path)
        return _whole(path, _found(base, loading.load(base.execute), draw_epoch))
    except Failure as error:
        if base is not None:
            base.close()
        if is_damage(error):
            return _damaged(path, error, draw_epoch)
        return _from_copy(path, draw_epoch)


def _found(
    base: sqlite3.Connection | None, loaded: Loaded | None, draw_epoch: Callable[[], str]
) -> Found:
    if loaded is None:
        return Found(base, Loaded(State(epoch=draw_epoch())), Opened(fresh=True))
    return Found(base, loaded, Opened(lost=loaded.lost))


def _whole(path: Path, found: Found) -> Found:
    """What was found, where nothing is known to be missing. Raises JournalDamaged."""
    state, last = found.loaded.state, found.loaded.next - 1
    held = None if found.opened.fresh else Reached(state.epoch, last, state.counter)
    if missing := witness.missing(path, held):
        raise JournalDamaged(missing)
    return found


def _from_copy(path: Path, draw_epoch: Callable[[], str]) -> Found:
    """Read a copy in another place: on a full or read-only disk SQLite may not even read."""
    try:
        with _copied(path) as base:
            return _found(None, loading.load(base.execute), draw_epoch)
    except Failure as error:
        # A copy in memory that takes no writes has a header that says so: that is damage.
        if is_damage(error) or code_of(error) == sqlite3.SQLITE_READONLY:
            return _damaged(path, error, draw_epoch)
        return _found(None, None, draw_epoch)


@contextmanager
def _copied(path: Path) -> Iterator[sqlite3.Connection]:
    with tempfile.TemporaryDirectory(prefix="relayd-", dir=files.elsewhere()) as folder:
        with closing(connect(files.copy_to(path, Path(folder)))) as base:
            yield base


def _damaged(path: Path, error: Exception, draw_epoch: Callable[[], str]) -> Found:
    """Another epoch, with what proves itself; the file out of the way."""
    epoch = draw_epoch()
    loaded = _salvaged(path, epoch)
    opened = Opened(fresh=True, why=reason(error), lost=loaded.lost)
    return Found(None, loaded, set_aside(path, opened, opened.why, loaded.lost))


def _salvaged(path: Path, epoch: str) -> Loaded:
    """What a copy of the file still gives; the file itself is not touched."""
    try:
        with _copied(path) as base:
            return loading.salvage(base.execute, epoch)
    except Failure:
        return Loaded(State(epoch=epoch), lost=(words.LOST_ALL,))


def set_aside(path: Path, opened: Opened, why: str, lost: tuple[str, ...]) -> Opened:
    """Put the files out of the way, so that new ones can be made; `opened` where that fails."""
    with suppress(OSError):  # they stay, late() says so, and the writer tries again
        return Opened(opened.fresh, files.set_aside(path, files.DAMAGED), why, lost)
    return opened
