"""The journal looked through while it is in use: what is wrong is found, mended or set aside, and said."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import pytest

from relayd import clock
from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR
from relayd.core.state import Send, SendState, State
from relayd.errors import RelaydError
from relayd.journal import files, reader
from relayd.journal.codec import JournalDamaged
from relayd.journal.feed import Feed
from relayd.journal.rounds import EVERY, STEP, WALKS, Found, Known, Rounds
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, some_history, wait_until_written
from tests.journal.samples import BOOT, after, notice, now, record
from tests.journal.test_damage import changed

TOPICS = ("homie/5/unit-1/x", "homie/5/unit-1/y")


def a_file(make: Open, path: Path) -> State:
    """A closed journal: two subjects, one open notice with two sends, closed ones, two topics."""
    some_history(make, path, steps=5)
    journal = make()
    old = journal.open()
    open_ = notice(40, Send(41, "phone", SendState.OUT, 1), Send(42, "mail", due=9))
    new = replace(after(old, 200), notices={40: open_})
    assert journal.commit(old, new, [record(n) for n in range(6, 9)], now(9), SOON)
    for each in TOPICS:
        journal.said(each, True)
    wait_until_written(journal)
    assert journal.close()
    return new


def known(state: State) -> Known:
    return Known(frozenset(state.subjects), state.notices, frozenset(TOPICS))


def looked(path: Path, state: State) -> list[Found]:
    """One whole round; what was wrong."""
    rounds, found = Rounds(path), []
    while not rounds.whole:
        found.append(rounds.step(known(state)))
    rounds.close()
    return [each for each in found if each.said]


def test_of_a_whole_file_nothing_is_said(path: Path, make: Open) -> None:
    assert looked(path, a_file(make, path)) == []


ONE = "rows that were not as they were written: "
LINE = "old lines that are not as they were written: 1, the first is number 2"
OLD = "old messages that are not as they were written: 1"
WRONG = {
    "a subject": ("UPDATE state SET body = '{}'", True, ONE),
    "a note": ("UPDATE meta SET value = 'x' WHERE key = 'boot'", True, ONE),
    "a note of bytes": ("UPDATE meta SET value = x'00' WHERE key = 'boot'", True, ONE),
    "a topic": ("UPDATE said SET topic = 'z' WHERE topic LIKE '%/x'", True, ONE),
    "an open notice": ("UPDATE notice SET long = 'x' WHERE id = 40", True, ONE),
    "a send of an open notice": ("UPDATE send SET due = 1 WHERE id = 42", True, ONE),
    "a closed notice": ("UPDATE notice SET long = 'x' WHERE id = 2", False, OLD),
    "a send of a closed notice": ("UPDATE send SET due = 1 WHERE notice = 2", False, OLD),
    "a record": ("UPDATE record SET body = '{}' WHERE n = 2", False, LINE),
    "a record of bytes": ("UPDATE record SET body = x'00', up = 'x' WHERE n = 2", False, LINE),
    "a subject that is gone": ("DELETE FROM state", True, ONE),
    "a subject that nobody knows": ("INSERT INTO state VALUES ('panel:x', '{}', NULL)", True, ONE),
    "a topic that is gone": ("DELETE FROM said WHERE topic LIKE '%/x'", True, ONE),
    "a send that is gone": ("DELETE FROM send WHERE id = 42", True, ONE),
    "an open notice that is gone": ("DELETE FROM notice WHERE id = 40", True, ONE),
    "an open notice that reads closed": ("UPDATE notice SET closed = 5 WHERE id = 40", True, ONE),
    "a closed notice that reads open": ("UPDATE notice SET closed = NULL WHERE id=2", True, ONE),
}


@pytest.mark.parametrize(("sql", "anew", "said"), WRONG.values(), ids=WRONG)
def test_what_is_not_as_it_was_written_is_found_and_mended(
    path: Path, make: Open, sql: str, anew: bool, said: str
) -> None:
    state = a_file(make, path)
    changed(path, sql)
    found = looked(path, state)
    assert [each.anew for each in found][:1] == [anew]
    assert found[0].said[0].startswith(said)
    assert all(ONE in each.said[0] for each in found[1:]), "the same row twice, at the most"
    journal = make()
    with closing(sqlite3.connect(path)) as base:
        for each in found:
            for sql, values in each.mends:
                base.executemany(sql, values)
        base.commit()
    # As the running journal does: what is in memory is written over it.
    journal._latest, journal._said = state, set(TOPICS)
    journal._meta = {}
    journal._file.write(journal._in_memory(), state.epoch, lambda batch: batch)
    journal._file.drop()
    assert looked(path, state) == [], "mended, and said once"
    again = make()
    assert again.open() == replace(state, closed=())
    assert again.opened.harm() == ""


def test_a_line_that_was_damaged_stays_readable_as_such(path: Path, make: Open) -> None:
    state = a_file(make, path)
    changed(path, "UPDATE record SET body = '{\"n\":9}' WHERE n = 2")
    (found,) = looked(path, state)
    with closing(sqlite3.connect(path)) as base:
        for sql, values in found.mends:
            base.executemany(sql, values)
        base.commit()
    body = reader.records(path)[1]["body"]
    assert body == {"damaged": "this line is not as it was written", "unreadable": '{"n":9}'}


def test_an_index_that_misses_a_row_is_damage(path: Path, make: Open) -> None:
    state = a_file(make, path)
    with closing(sqlite3.connect(path)) as base:
        base.execute("PRAGMA writable_schema = ON")
        base.execute("UPDATE sqlite_schema SET sql = NULL WHERE name = 'x'")
        root = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
        (of,) = base.execute(root, ("notice_of",)).fetchone()
        (open_,) = base.execute(root, ("notice_open",)).fetchone()
        # Each index under the other's name: to SQLite both are sound trees.
        base.execute("UPDATE sqlite_schema SET rootpage = ? WHERE name = 'notice_of'", (open_,))
        base.execute("UPDATE sqlite_schema SET rootpage = ? WHERE name = 'notice_open'", (of,))
        base.commit()
    with pytest.raises((JournalDamaged, sqlite3.DatabaseError), match=r"misses a row|malformed"):
        looked(path, state)


# In the running journal

Looks = Callable[[Journal], None]


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> Looks:
    """Lets a journal's writer go through the whole file now, and waits until it has."""
    monkeypatch.setattr("relayd.journal.store.IDLE", 0.002)

    def whole(journal: Journal) -> None:
        before, asides = journal.rounds(), len(files.asides(journal._path))
        journal._rounds._not_before = journal._tidied = 0

        def done() -> bool:
            return journal.rounds() > before or len(files.asides(journal._path)) > asides

        with journal._backlog.cond:
            for _ in range(2000):
                if done():
                    break
                journal._backlog.cond.wait(0.005)
        assert done()
        wait_until_written(journal)

    return whole


def running(make: Open, records: int = 30) -> tuple[Journal, State]:
    """A journal in use, all of it in the file and nothing in its log."""
    journal = make()
    old = journal.open()
    new = replace(after(old, 200), notices={40: notice(40, Send(41, "phone"), Send(42, "mail"))})
    assert journal.commit(old, new, [record(n) for n in range(records)], now(9), SOON)
    in_the_file(journal)
    return journal, new


def in_the_file(journal: Journal) -> None:
    """Bring the log into the file, so that it hides nothing."""
    wait_until_written(journal)
    assert journal._file.base is not None
    journal._file.base.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def spoilt(path: Path, old: bytes, new: bytes) -> None:
    """Other bytes in the file, as a card that fails gives them."""
    held = path.read_bytes()
    assert held.count(old) >= 1
    assert len(old) == len(new)
    with path.open("r+b") as file:
        file.seek(held.index(old))
        file.write(new)


def test_a_round_that_finds_nothing_says_nothing(make: Open, looks: Looks) -> None:
    journal, _ = running(make, records=3 * STEP + 1)
    looks(journal)
    assert journal.harm() == ""


def test_a_row_that_rots_while_it_is_in_use_is_written_anew_and_said_once(
    path: Path, make: Open, looks: Looks
) -> None:
    journal, state = running(make)
    spoilt(path, b"High water at the north pump since", b"High winds at the north pump since")
    looks(journal)
    assert journal.harm().startswith(ONE)
    in_the_file(journal)
    looks(journal)
    assert journal.harm() == ""
    assert journal.close()
    again = make()
    assert again.open() == state
    assert again.opened.harm() == ""


def test_a_page_that_rots_has_the_file_set_aside_and_memory_written_into_a_fresh_one(
    path: Path, make: Open, looks: Looks
) -> None:
    journal, state = running(make, records=300)
    with path.open("r+b") as file:  # the page of an old record
        place = path.read_bytes().index(b'{"n":150}') // 1024 * 1024
        file.seek(place)
        file.write(b"\x07" * 200)
    looks(journal)
    harm = journal.harm()
    assert "malformed" in harm
    assert f"set aside as {files.asides(path)[0].name}" in harm
    assert "its records are in that file alone" in harm
    new = replace(after(state, 300), notices=state.notices)
    assert journal.commit(state, new, [record(1)], now(20), SOON), "it goes on"
    assert journal.late() == ""
    assert journal.close()
    assert make().open() == new


def test_a_damaged_page_that_a_reader_meets_has_the_file_examined_and_set_aside(
    path: Path, make: Open
) -> None:
    journal, state = running(make, records=300)
    place = path.read_bytes().index(b'{"n":150}') // 1024 * 1024
    with path.open("r+b") as file:
        file.seek(place)
        file.write(b"\x07" * 200)
    feed = Feed(path, journal, "abc123", lambda: Now(BOOT, 1, 1, False))
    with pytest.raises(RelaydError):
        feed.read(0, 1000)
    with journal._backlog.cond:
        assert journal._backlog.cond.wait_for(lambda: files.asides(path), SOON)
    wait_until_written(journal)
    assert "set aside" in journal.harm()
    assert feed.read(0, 1000)[1][-1]["kind"] == "journal begun anew"
    assert journal.close()
    assert make().open() == state


def test_what_prunes_and_meets_a_damaged_page_has_the_file_set_aside(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    def malformed(*_: object) -> int:
        raise JournalDamaged("database disk image is malformed")

    monkeypatch.setattr("relayd.journal.store.IDLE", 0.002)
    journal, _ = running(make)
    monkeypatch.setattr(journal._keeper, "step", malformed)
    journal._tidied = 0
    with journal._backlog.cond:
        assert journal._backlog.cond.wait_for(lambda: files.asides(path), SOON)
    monkeypatch.undo()
    assert journal.close()


def test_so_many_files_are_set_aside_in_a_day_and_again_on_the_next(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    moment = [10 * DAY]
    monkeypatch.setattr(clock, "boottime", lambda: moment[0])
    journal = make()
    assert [journal._may_set_aside() for _ in range(5)] == [True, True, True, False, False]
    moment[0] += DAY - 1
    assert not journal._may_set_aside()
    moment[0] += 1
    assert journal._may_set_aside()


def test_a_doubtful_file_is_checked_once_an_hour(
    make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    moment, checked = [10 * DAY], list[int]()
    monkeypatch.setattr(clock, "boottime", lambda: moment[0])
    journal = make()
    monkeypatch.setattr(journal, "examine", lambda: checked.append(moment[0]))
    for step in (0, 1, HOUR - 2, 1):
        moment[0] += step
        journal.doubt()
    with journal._backlog.cond:
        assert journal._backlog.cond.wait_for(lambda: len(checked) == 2, SOON)


def test_a_round_begins_a_day_after_the_one_before(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = a_file(make, path)
    moment = [10 * DAY]
    monkeypatch.setattr(clock, "boottime", lambda: moment[0])
    rounds, began = Rounds(path), list[int]()
    for _ in range(50):
        moment[0] += HOUR
        if rounds.due():
            began.append(moment[0])
            while rounds.due():
                rounds.step(known(state))
    assert began == [11 * DAY, 12 * DAY]
    assert rounds.whole == 2
    assert EVERY == DAY
    rounds.close()


@pytest.mark.slow
def test_a_slice_is_small_whatever_the_size_of_the_file(path: Path, make: Open) -> None:
    """Printed beside its floor, a commit; what is asserted is the work: rows, and statements."""
    journal, state = running(make, records=10_000)
    assert journal.commit(state, state, [record(n) for n in range(10_000)], now(9), 60)
    assert journal.close()
    rounds, longest, slices = Rounds(path), 0.0, 0
    began = perf_counter()
    while not rounds.whole:
        since = perf_counter()
        assert rounds.step(Known(frozenset(state.subjects), state.notices, frozenset())).said == ()
        longest, slices = max(longest, perf_counter() - since), slices + 1
    took = perf_counter() - began
    rounds.close()
    size = path.stat().st_size / 2**20
    print(f"\n{size:.1f} MiB, {slices} slices in {took:.2f} s, the longest {1000 * longest:.1f} ms")
    assert slices == 1 + 20_000 // STEP + len(WALKS)
