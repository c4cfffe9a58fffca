"""Disks that are full, read-only, damaged or gone: never an error, and nothing lost in silence."""

import subprocess
from pathlib import Path

import pytest

from relayd.core.state import State
from relayd.journal import files
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, fill, numbers, some_history, wait_until_written
from tests.journal.samples import after, now, record

# A real disk that is full or read-only


def commit_until_late(journal: Journal, old: State) -> State:
    """Commit until the room that the file itself still has is used up."""
    for n in range(old.counter + 1, 5000):
        new = after(old, n)
        if not journal.commit(old, new, [record(n)], now(n), 0.2):
            return new
        old = new
    raise AssertionError("the disk never filled up")


@pytest.mark.slow
def test_a_full_disk_makes_it_late_and_nothing_is_lost(disk: Path, make: Open) -> None:
    journal = make(disk / "journal.db")
    state = journal.open()
    ballast = fill(disk)
    last = commit_until_late(journal, state)
    assert "full" in journal.late() or "I/O error" in journal.late()
    for n in range(last.counter + 1, last.counter + 4):
        new = after(last, n)
        assert not journal.commit(last, new, [record(n)], now(n), SOON)
        last = new
    ballast.unlink()
    wait_until_written(journal)
    assert journal.late() == ""
    assert numbers(disk / "journal.db") == list(range(1, last.counter + 1))
    journal.close()
    again = make(disk / "journal.db")
    assert again.open() == last


@pytest.mark.slow
def test_a_disk_that_is_full_at_the_start_is_read_and_written_later(disk: Path, make: Open) -> None:
    path = disk / "journal.db"
    before = some_history(make, path)
    ballast = fill(disk)
    journal = make(path, epoch="other1")
    assert journal.open() == before
    last = commit_until_late(journal, before)
    assert journal.late() != ""
    ballast.unlink()
    wait_until_written(journal)
    journal.close()
    assert not journal.opened.set_aside
    assert make(path).open() == last


@pytest.mark.slow
def test_on_a_disk_that_was_never_writable_a_new_journal_lives_in_memory_first(
    disk: Path, make: Open
) -> None:
    ballast = fill(disk)
    journal = make(disk / "journal.db", epoch="q1w2e3")
    state = journal.open()
    assert state == State(epoch="q1w2e3")
    last = after(state, 1)
    assert not journal.commit(state, last, [record(1)], now(1), 0.05)
    assert journal.late() != ""
    ballast.unlink()
    wait_until_written(journal)
    journal.close()
    assert make(disk / "journal.db").open() == last


@pytest.mark.slow
def test_a_disk_that_became_read_only_is_read_at_the_start_and_written_later(
    disk: Path, make: Open
) -> None:
    path = disk / "journal.db"
    before = some_history(make, path)
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    journal = make(path, epoch="other1")
    assert journal.open() == before
    last = after(before, 500)
    assert not journal.commit(before, last, [record(500)], now(500), 0.1)
    assert journal.late() != ""
    subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
    wait_until_written(journal)
    journal.close()
    assert make(path).open() == last


# A file that is gone


def test_files_that_were_removed_are_made_anew(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    one, two = after(state, 1), after(state, 2)
    assert journal.commit(state, one, [record(1)], now(1), SOON)
    for suffix in files.SUFFIXES:
        files.beside(path, suffix).unlink(missing_ok=True)
    assert journal.commit(one, two, [record(2)], now(2), SOON)
    journal.close()
    assert make().open() == two


def test_a_folder_in_its_place_is_late_and_raises_nothing(path: Path, make: Open) -> None:
    path.mkdir()
    journal = make()
    state = journal.open()
    assert state == State(epoch="abc123")
    assert not journal.commit(state, after(state, 1), [], now(), 0.05)
    assert journal.late().startswith("cannot be opened")
    path.rmdir()
    wait_until_written(journal)
    assert journal.close()
    assert make().open() == after(state, 1)
