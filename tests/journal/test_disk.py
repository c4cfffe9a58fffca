"""Disks that are full, read-only, damaged or gone: never an error, and nothing lost in silence."""

import os
import random
import shutil
import sqlite3
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.core.state import Send, State
from relayd.journal import files, reader
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, fill, numbers, wait_until_written
from tests.journal.samples import after, notice, now, record


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


# A file that is damaged


def overwritten(path: Path, chance: random.Random) -> None:
    """Some random bytes in a random place of the database."""
    with path.open("r+b") as file:
        file.seek(chance.randrange(path.stat().st_size))
        file.write(chance.randbytes(chance.choice([1, 16, 200, 2000])))


def cut_short(path: Path, chance: random.Random) -> None:
    """The end of the database is missing."""
    os.truncate(path, chance.randrange(1, path.stat().st_size))


@pytest.mark.parametrize("harm", [overwritten, cut_short])
@pytest.mark.parametrize("seed", range(20))
def test_a_damaged_file_is_read_right_or_set_aside(
    path: Path, make: Open, harm: Callable[[Path, random.Random], None], seed: int
) -> None:
    before = some_history(make, path, steps=60)
    harm(path, random.Random(seed))
    journal = make(epoch="fresh1")
    state = journal.open()
    aside = journal.opened.set_aside
    if state.epoch == "fresh1":
        assert state == State(epoch="fresh1")
        assert aside == "journal.db.damaged-1"
        assert path.with_name("journal.db.damaged-1").exists()
        assert journal.opened.why
    else:
        assert (
            state.counter >= before.counter - 1 or state.subjects.keys() == before.subjects.keys()
        )
    # Whatever it was, from here on it keeps what it is given.
    last = replace(after(state, state.counter + 1), notices={7: notice(7)})
    journal.commit(state, last, [record(1000)], now(1000), SOON)
    wait_until_written(journal)
    assert journal.close()
    again = make(epoch="fresh2")
    assert again.open().subjects == last.subjects
    assert again.opened.set_aside is None


@pytest.mark.slow
def test_a_damaged_file_on_a_full_disk_is_set_aside_too(disk: Path, make: Open) -> None:
    path = disk / "journal.db"
    some_history(make, path)
    damage_all_pages(path)
    ballast = fill(disk)
    journal = make(path, epoch="fresh1")
    assert journal.open() == State(epoch="fresh1")
    assert journal.opened.set_aside == "journal.db.damaged-1"
    ballast.unlink()
    wait_until_written(journal)
    assert journal.close()
    assert make(path).open().epoch == "fresh1"


def damage_all_pages(path: Path) -> None:
    """Every page but the first, as a card gives back that lost its blocks."""
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(1024)
        file.write(b"\xa5" * (size - 1024))


def test_a_file_that_is_damaged_under_the_writer_is_made_anew_from_memory(
    path: Path, make: Open
) -> None:
    before = some_history(make, path)
    journal = make(epoch="other1")
    state = journal.open()
    journal.said("homie/5/a", True)
    assert journal.meta_set("ended", "stopped", SOON)
    assert state == before
    with sqlite3.connect(path) as base:
        base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    base.close()
    damage_all_pages(path)
    last = after(state, 300)
    journal.commit(state, last, [record(300)], now(300), SOON)
    wait_until_written(journal)
    assert journal.opened.set_aside == "journal.db.damaged-1"
    assert journal.late() == ""
    journal.close()
    again = make(epoch="other2")
    assert again.open() == last
    assert again.said_topics() == {"homie/5/a"}
    assert again.meta_get("ended") == "stopped"
    assert [row["n"] for row in reader.records(path)] == [21]


def test_damage_in_a_record_is_found_by_the_check(path: Path, make: Open) -> None:
    some_history(make, path, steps=200)
    journal = make()
    journal.open()
    assert journal.check() is None
    journal.close()
    damage_all_pages(path)
    assert Journal(path, "unit-1", lambda: "x").check() not in (None, "ok")


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


def test_the_journal_of_another_time_is_never_written_into(path: Path, make: Open) -> None:
    other = path.with_name("other.db")
    some_history(make, other)
    journal = make(epoch="zzzzzz")
    state = journal.open()
    for suffix in files.SUFFIXES:
        files.beside(path, suffix).unlink(missing_ok=True)
    shutil.copy(other, path)
    last = after(state, 1)
    journal.commit(state, last, [record(1)], now(1), SOON)
    wait_until_written(journal)
    journal.close()
    assert journal.opened.why == "journal.db holds the journal of another time"
    assert make().open() == last
    assert make(path.with_name("journal.db.damaged-1")).open().epoch == "abc123"


NONSENSE = {
    "a counter that is none": "UPDATE meta SET value='many' WHERE key='counter'",
    "no counter": "DELETE FROM meta WHERE key='counter'",
    "no boot": "DELETE FROM meta WHERE key='boot'",
    "an epoch of bytes": "UPDATE meta SET value=x'00ff' WHERE key='epoch'",
    "a stamp that is none": "UPDATE meta SET value='{}' WHERE key='stamp'",
    "a subject that is none": "UPDATE state SET body='[]'",
    "a subject under another name": "UPDATE state SET subject='panel:south'",
    "a subject that is not UTF-8": "UPDATE state SET body=CAST(x'c3' AS TEXT)",
    "a send in no state": "UPDATE send SET state='lost'",
    "a send of a text number": "UPDATE send SET id='x'",
    "a notice made never": "UPDATE notice SET made='never'",
    "a topic that is none": "INSERT INTO said VALUES (x'00')",
    "no table": "DROP TABLE send",
    "another program's": "PRAGMA application_id=77",
}


@pytest.mark.parametrize("sql", NONSENSE.values(), ids=NONSENSE)
def test_rows_that_make_no_sense_are_set_aside(path: Path, make: Open, sql: str) -> None:
    some_history(make, path, steps=2)
    base = sqlite3.connect(path)
    base.execute(sql)
    base.commit()
    base.close()
    journal = make(epoch="fresh1")
    assert journal.open() == State(epoch="fresh1")
    assert journal.opened.fresh
    assert journal.opened.set_aside == "journal.db.damaged-1"
    assert journal.opened.why
    assert journal.probe(SOON) is None


def test_what_is_set_aside_never_overwrites_what_was_before(path: Path, make: Open) -> None:
    for n in (1, 2, 3):
        path.write_bytes(b"no database at all" * 100)
        journal = make(epoch=f"fresh{n}")
        journal.open()
        assert journal.opened.set_aside == f"journal.db.damaged-{n}"
        assert journal.close()
    assert len(list(path.parent.glob("journal.db.damaged-?"))) == 3


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
