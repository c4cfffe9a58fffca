"""The three files of a database (itself, -wal, -shm) moved aside or copied together."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

from relayd import clock

SUFFIXES = ("", "-wal", "-shm")
REACHED = "-reached"
"""Of the note beside the database that says how far it had come (witness.py)."""


WAY = "unix-excl"
"""How SQLite reaches the file: the log's index is kept in this process's own memory. Mapped from the
disk, as it is by default, a page fault on it during a stall would hold the memory map of the whole
process, and with it whatever thread needs memory. Other processes must not open the file meanwhile."""


def address(path: Path, mode: str = "rwc") -> str:
    """The database as an address for SQLite; `mode` is `rwc` or `ro`."""
    return f"{path.absolute().as_uri()}?vfs={WAY}&mode={mode}"


def beside(path: Path, suffix: str) -> Path:
    """The file of that database with this suffix."""
    return path.with_name(path.name + suffix)


DAMAGED, REPLACED = "damaged", "replaced"
"""Why a journal was set aside; it is in the new name."""
ASIDE_AT_MOST, ASIDE_SIZE = 3, 512 << 20
"""Journals that stay set aside, and bytes of them all; the newest one stays in any case."""


def set_aside(path: Path, why: str) -> str:
    """Rename the database's files to `<name>.<why>-<date>...` and give the new name. Raises OSError.

    The oldest that were set aside before are removed where there are too many, or too much of them.
    """
    date = datetime.fromtimestamp(clock.now(False).wall // 10**9, UTC).strftime("%Y%m%dT%H%M%SZ")
    before = [each for each in asides(path) if _date(each)[0] == date]
    turn = f".{_date(before[0])[1] + 1}" if before else ""
    name = f"{path.name}.{why}-{date}{turn}"
    for suffix in SUFFIXES:
        if (found := beside(path, suffix)).exists():
            found.rename(path.with_name(name + suffix))
    beside(path, REACHED).unlink(missing_ok=True)
    _thin_out(path)
    return name


def asides(path: Path) -> list[Path]:
    """The journals that were set aside, the newest first."""
    found = [
        each for why in (DAMAGED, REPLACED) for each in path.parent.glob(f"{path.name}.{why}-*")
    ]
    mains = [each for each in found if not each.name.endswith(SUFFIXES[1:])]
    return sorted(mains, key=_date, reverse=True)


def _date(path: Path) -> tuple[str, int]:
    """The date in the name, and which one of that second it is."""
    date, _, turn = path.name.rpartition("-")[2].partition(".")
    return date, int(turn) if turn.isdigit() else 1


def _thin_out(path: Path) -> None:
    held = 0
    for place, each in enumerate(asides(path)):
        parts = [part for suffix in SUFFIXES if (part := beside(each, suffix)).exists()]
        held += sum(part.stat().st_size for part in parts)
        if place and (place >= ASIDE_AT_MOST or held > ASIDE_SIZE):
            for part in parts:
                part.unlink()


def copy_to(path: Path, folder: Path) -> Path:
    """Copy the database and its log into a folder and give the copy's path. Raises OSError."""
    for suffix in ("", "-wal"):
        if not suffix or beside(path, suffix).exists():
            shutil.copyfile(beside(path, suffix), folder / (path.name + suffix))
    return folder / path.name


def elsewhere() -> Path | None:
    """A folder in memory for a copy, because the disk is in doubt; None where there is none."""
    memory = Path("/dev/shm")
    return memory if memory.is_dir() else None


def inode(path: Path) -> int:
    """What tells this file from another one of the same name; 0 where there is none."""
    try:
        return path.stat().st_ino
    except FileNotFoundError:
        return 0
