"""What the disk cannot take in time waits, in order and in bounds, and nobody waits for it."""

import sqlite3
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.core.state import State
from relayd.journal import batch, reader
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, numbers, reopened, wait_until_written
from tests.journal.samples import after, notice, now, record


@pytest.fixture
def held(path: Path, make: Open) -> tuple[Journal, sqlite3.Connection, State]:
    """An open journal whose write lock another connection holds."""
    journal = make()
    state = journal.open()
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    return journal, other, state


def test_a_held_file_makes_a_commit_late_and_then_it_is_written_in_order(
    path: Path, held: tuple[Journal, sqlite3.Connection, State]
) -> None:
    journal, other, old = held
    for n in range(1, 6):
        new = after(old, n)
        assert not journal.commit(old, new, [record(n)], now(n), 0.05)
        old = new
    assert journal.backlog() == 5
    assert journal.late() == "slow"
    other.execute("COMMIT")
    wait_until_written(journal)
    journal.close()
    other.close()
    assert numbers(path) == [1, 2, 3, 4, 5]
    assert reopened(path) == old


@pytest.mark.slow
def test_why_it_is_late_is_said_and_taken_back(
    held: tuple[Journal, sqlite3.Connection, State],
) -> None:
    journal, other, state = held
    # Longer than the writer waits for the lock itself, so that its error is seen.
    assert not journal.commit(state, after(state, 1), [], now(1), 1.5)
    assert journal.late().startswith("held by another program")
    other.execute("COMMIT")
    other.close()
    wait_until_written(journal)
    assert journal.late() == ""


def test_while_it_is_late_nobody_waits(held: tuple[Journal, sqlite3.Connection, State]) -> None:
    journal, other, old = held
    assert not journal.commit(old, after(old, 1), [], now(1), 0.05)
    # Each of these would otherwise wait for an hour.
    for n in range(2, 50):
        assert not journal.commit(after(old, n - 1), after(old, n), [], now(n), 3600)
    assert not journal.meta_set("ended", "stopped", 3600)
    assert journal.probe(3600)
    other.execute("COMMIT")
    other.close()
    wait_until_written(journal)
    assert journal.commit(after(old, 49), after(old, 50), [], now(50), SOON)


def test_a_hundred_waiting_commits_become_few_transactions(
    path: Path, held: tuple[Journal, sqlite3.Connection, State]
) -> None:
    journal, other, old = held
    before = journal.transactions
    for n in range(100):
        new = after(old, n)
        journal.commit(old, new, [record(n)], now(n), 0)
        old = new
    other.execute("COMMIT")
    other.close()
    wait_until_written(journal)
    assert journal.transactions - before <= 2
    assert numbers(path) == list(range(100))


def test_many_threads_may_commit_at_once(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    done: list[bool] = []

    def some(first: int) -> None:
        for n in range(first, first + 20):
            done.append(journal.commit(state, state, [record(n)], now(n), SOON))

    threads = [threading.Thread(target=some, args=(20 * n,)) for n in range(4)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert done == [True] * 80
    assert sorted(numbers(path)) == list(range(80))


def test_records_beyond_the_bound_are_counted_and_said(
    path: Path,
    held: tuple[Journal, sqlite3.Connection, State],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(batch, "LIMIT", 10)
    journal, other, state = held
    for n in range(1, 31):
        journal.commit(state, state, [record(n)], now(n), 0)
    other.execute("COMMIT")
    other.close()
    wait_until_written(journal)
    assert journal.commit(state, state, [record(31)], now(31), SOON)
    rows = reader.records(path)
    said = [row for row in rows if row["kind"] == "records dropped"]
    assert sum(row["body"]["count"] for row in said) + len(rows) - len(said) == 31
    assert len(rows) - len(said) <= 21
    assert rows[-1]["body"] == {"n": 31}
    assert [row["n"] for row in rows] == sorted(row["n"] for row in rows)


def test_what_comes_and_goes_while_nothing_is_written_stays_in_bounds(
    path: Path,
    held: tuple[Journal, sqlite3.Connection, State],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(batch, "LIMIT", 10)
    journal, other, old = held
    for n in range(100, 300, 2):
        one = replace(old, counter=n + 1, notices={n: notice(n)})
        two = replace(old, counter=n + 1, closed=(notice(n),))
        journal.commit(old, one, [], now(n), 0)
        journal.commit(one, two, [], now(n), 0)
        old = replace(two, closed=())
    other.execute("COMMIT")
    other.close()
    wait_until_written(journal)
    assert len(reader.notices_of(path, 7)) <= 21
    journal.close()
    assert reopened(path).notices == {}
