"""A journal in a folder of its own, closed at the end whatever the test did."""

import os
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.core.state import Send, State
from relayd.journal import reader
from relayd.journal.store import Journal
from tests.journal.samples import after, notice, now, record

Open = Callable[..., Journal]
SOON = 5.0
"""Seconds a healthy disk is given; a test that needs them all has failed."""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


@pytest.fixture
def make(path: Path) -> Iterator[Open]:
    """Makes a journal that is not opened yet; it tries again soon after a failure."""
    made: list[Journal] = []

    def one(where: Path = path, epoch: str = "abc123") -> Journal:
        made.append(Journal(where, "unit-1", lambda: epoch, retry=0.02))
        return made[-1]

    yield one
    for each in made:
        each.close()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small disk of its own."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("only root may mount a small disk")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def some_history(make: Open, where: Path, steps: int = 20) -> State:
    """A journal that was written and closed, and the state it holds."""
    journal = make(where)
    old = journal.open()
    for n in range(1, steps + 1):
        new = replace(after(old, 100 + n), notices={n: notice(n, Send(n, "phone"))})
        assert journal.commit(old, new, [record(n)], now(n), SOON)
        old = new
    assert journal.close()
    return old


def fill(disk: Path) -> Path:
    """Take all the room that is left."""
    path = disk / "ballast"
    with path.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return path


def wait_until_written(journal: Journal) -> None:
    """Until nothing waits, as the writer itself says."""
    with journal._backlog.cond:
        assert journal._backlog.cond.wait_for(lambda: journal.backlog() == 0, SOON)


def reopened(path: Path) -> State:
    journal = Journal(path, "unit-1", lambda: "other1")
    state = journal.open()
    assert journal.close()
    return state


def numbers(path: Path) -> list[int]:
    """The `n` of every record's body, in the order of the records."""
    return [row["body"]["n"] for row in reader.records(path, limit=100_000)]
