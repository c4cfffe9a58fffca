"""What a worn card, a bad cable or a hurried hand does to a journal's files, in random places."""

import os
import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

from relayd.journal import files

SUFFIXES = ("", "-wal", files.REACHED)
Harm = Callable[[Path, random.Random], None]


def _written_over(file: Path, chance: random.Random, within: int | None = None) -> None:
    """Some random bytes in a random place."""
    size = file.stat().st_size
    place = chance.randrange(min(size, within or size))
    with file.open("r+b") as opened:
        opened.seek(place)
        opened.write(chance.randbytes(min(chance.choice([1, 16, 200, 2000]), size - place)))


def one_bit(path: Path, chance: random.Random) -> None:
    """One bit of the database is another."""
    place = chance.randrange(path.stat().st_size)
    with path.open("r+b") as file:
        file.seek(place)
        was = file.read(1)[0]
        file.seek(place)
        file.write(bytes([was ^ (1 << chance.randrange(8))]))


def pages(path: Path, chance: random.Random) -> None:
    """Up to two pages of the database hold something else."""
    _written_over(path, chance)


def header(path: Path, chance: random.Random) -> None:
    """The first hundred bytes of the database are wrong somewhere."""
    _written_over(path, chance, 100)


def cut_short(path: Path, chance: random.Random) -> None:
    """The end of the database is missing."""
    os.truncate(path, chance.randrange(1, path.stat().st_size))


def log(path: Path, chance: random.Random) -> None:
    """The write-ahead log is wrong somewhere."""
    _written_over(files.beside(path, "-wal"), chance)


def log_bit(path: Path, chance: random.Random) -> None:
    """One bit of the write-ahead log is another."""
    one_bit(files.beside(path, "-wal"), chance)


def log_cut(path: Path, chance: random.Random) -> None:
    """The end of the write-ahead log is missing."""
    cut_short(files.beside(path, "-wal"), chance)


def log_gone(path: Path, chance: random.Random) -> None:
    """The write-ahead log is missing."""
    files.beside(path, "-wal").unlink()


TO_THE_DATABASE: tuple[Harm, ...] = (one_bit, pages, header, cut_short)
HARMS: tuple[Harm, ...] = (*TO_THE_DATABASE, log, log_bit, log_cut, log_gone)


def copied(path: Path, to: Path) -> Path:
    """The files of a journal as they lie there now, as after `kill -9`."""
    to.mkdir(parents=True, exist_ok=True)
    for suffix in SUFFIXES:
        if (found := files.beside(path, suffix)).exists():
            shutil.copyfile(found, to / found.name)
    return to / path.name


def emptied(path: Path) -> None:
    """Bring the log into the database, as after an orderly end: else it would hide what is done to that."""
    base = sqlite3.connect(path)
    base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    base.close()
