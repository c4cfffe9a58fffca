"""The three files of a database (itself, -wal, -shm) moved aside or copied together."""

import shutil
from pathlib import Path

SUFFIXES = ("", "-wal", "-shm")


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


def set_aside(path: Path) -> str:
    """Rename the database's files to `<name>.damaged-<n>…` and give the new name. Raises OSError."""
    n = 1
    while any(beside(path, f".damaged-{n}{suffix}").exists() for suffix in SUFFIXES):
        n += 1
    for suffix in SUFFIXES:
        if (found := beside(path, suffix)).exists():
            found.rename(beside(path, f".damaged-{n}{suffix}"))
    return f"{path.name}.damaged-{n}"


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
