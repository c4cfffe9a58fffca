"""A backup is whole, private and taken while the journal is written; it comes back with new ids."""

import base64
import sqlite3
import stat
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from threading import Event as Flag

import pytest

from relayd.core.state import Send, State
from relayd.errors import RelaydError
from relayd.journal import backup, files, reader
from relayd.journal.backup import Backup
from relayd.journal.codec import JournalDamaged
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, numbers, reopened, some_history
from tests.journal.samples import after, notice, now, record
from tests.journal.test_damage import aside, changed, damage_all_pages


def fetched(source: Backup, token: str) -> Iterator[bytes]:
    """All parts, each as soon as it is there."""
    first, never = 0, Flag()
    while True:
        told = source.part(token, first)
        if not told["ready"]:
            never.wait(0.01)
            continue
        data = base64.b64decode(str(told["data"]))
        if not data:
            return
        first += len(data)
        yield data


@pytest.mark.slow
def test_a_backup_is_taken_while_commits_go_on(path: Path, make: Open, tmp_path: Path) -> None:
    journal, to = make(), tmp_path / "kept.db"
    old = journal.open()
    source, stop, late = Backup(path), Flag(), list[int]()

    def commit_on(state: State) -> None:
        n = state.counter
        while not stop.is_set():
            n += 1
            new = replace(after(state, n), notices={n: notice(n, Send(n, "phone"))})
            if not journal.commit(state, new, [record(n)], now(n), SOON):
                late.append(n)
            state = new

    thread = threading.Thread(target=commit_on, args=(old,))
    thread.start()
    try:
        for _ in range(3):
            backup.received(fetched(source, source.begin()), to)
    finally:
        stop.set()
        thread.join()
    assert late == []
    assert stat.S_IMODE(to.stat().st_mode) == 0o600
    assert [each.name for each in tmp_path.iterdir() if "kept" in each.name] == ["kept.db"]
    assert not files.beside(path, ".backup").exists() or source._thread is not None
    # One step is in it as a whole or not at all.
    state = reopened(to)
    assert state.subjects["panel:north"].said == {"n": str(state.counter)}
    assert state.notices.keys() == {state.counter}
    assert numbers(to) == list(range(1, state.counter + 1))


def test_one_backup_at_a_time_and_only_for_who_began_it(path: Path, make: Open) -> None:
    some_history(make, path)
    source = Backup(path)
    token = source.begin()
    with pytest.raises(RelaydError, match="taken already"):
        source.begin()
    with pytest.raises(RelaydError, match="that backup is over"):
        source.part("guessed", 0)
    assert b"".join(fetched(source, token)).startswith(b"SQLite format 3")
    with pytest.raises(RelaydError, match="that backup is over"):
        source.part(token, 0)


def test_a_backup_for_which_there_is_no_room_is_refused(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    some_history(make, path)
    monkeypatch.setattr(backup, "ROOM", 2**62)
    source = Backup(path)
    with pytest.raises(RelaydError, match="not enough room"):
        list(fetched(source, source.begin()))


def test_a_damaged_journal_gives_no_backup_and_leaves_no_half_of_one(
    path: Path, make: Open, tmp_path: Path
) -> None:
    some_history(make, path, 200)
    damage_all_pages(path)
    with pytest.raises((JournalDamaged, sqlite3.Error)):
        backup.take(path, tmp_path / "kept.db")
    assert not list(tmp_path.glob("kept*"))


def test_what_is_cut_off_on_its_way_gets_no_name(path: Path, make: Open, tmp_path: Path) -> None:
    some_history(make, path, 200)
    with pytest.raises(JournalDamaged):
        backup.received(iter([path.read_bytes()[:-5000]]), tmp_path / "kept.db")
    assert not list(tmp_path.glob("kept*"))


def test_what_is_restored_has_another_epoch_and_owes_nobody(
    path: Path, make: Open, tmp_path: Path
) -> None:
    before = some_history(make, path)
    backup.take(path, tmp_path / "kept.db")
    later = make()
    state = later.open()
    assert later.commit(state, after(state, 500), [record(500)], now(500), SOON)
    assert later.close()
    gone = backup.restore(tmp_path / "kept.db", path, "fresh1")
    assert aside(path) == [gone]
    restored = make(epoch="unused")
    state = restored.open()
    assert restored.opened.harm() == ""
    assert (state.epoch, state.counter, state.subjects) == ("fresh1", 120, before.subjects)
    assert state.notices == {}
    assert restored.meta_get("ended") == "clean"
    assert numbers(path) == list(range(1, 21))
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert [row["n"] for row in reader.records(path.with_name(gone))][-1] == 21


def test_a_backup_comes_back_where_there_was_no_journal(
    path: Path, make: Open, tmp_path: Path
) -> None:
    some_history(make, path)
    backup.take(path, tmp_path / "kept.db")
    elsewhere = tmp_path / "other"
    elsewhere.mkdir()
    assert backup.restore(tmp_path / "kept.db", elsewhere / "journal.db", "fresh1") == ""
    assert reopened(elsewhere / "journal.db").epoch == "fresh1"


REFUSED = {
    "a file that is none": (None, "no such file"),
    "another program's": ("PRAGMA application_id=7", "no journal of relayd"),
    "a row that changed": ("UPDATE state SET body = 'x'", "damaged, and nothing was changed"),
    "no epoch": ("DELETE FROM meta WHERE key = 'epoch'", "epoch cannot be read"),
}


@pytest.mark.parametrize(("sql", "says"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_whole_backup_changes_nothing(
    path: Path, make: Open, tmp_path: Path, sql: str | None, says: str
) -> None:
    before = some_history(make, path)
    kept = tmp_path / "kept.db"
    if sql:
        backup.take(path, kept)
        changed(kept, sql)
    with pytest.raises(RelaydError, match=says):
        backup.restore(kept, path, "fresh1")
    assert not files.asides(path)
    assert not files.beside(path, ".restoring").exists()
    assert reopened(path) == before


def test_a_damaged_backup_is_refused_and_says_so(path: Path, make: Open, tmp_path: Path) -> None:
    before = some_history(make, path, 200)
    kept = tmp_path / "kept.db"
    backup.take(path, kept)
    damage_all_pages(kept)
    with pytest.raises(JournalDamaged, match=r"kept\.db"):
        backup.restore(kept, path, "fresh1")
    assert reopened(path) == before


def test_a_journal_of_today_begun_anew_after_a_restore_never_repeats_a_record_number(
    path: Path, make: Open, tmp_path: Path
) -> None:
    some_history(make, path)
    backup.take(path, tmp_path / "kept.db")
    backup.restore(tmp_path / "kept.db", path, "fresh1")
    journal = Journal(path, "unit-1", lambda: "x")
    state = journal.open()
    assert journal.commit(state, after(state, 300), [record(99)], now(300), SOON)
    assert journal.close()
    assert [row["n"] for row in reader.records(path)][-2:] == [20, 21]
