"""`relayd backup` and `relayd restore`, as people meet them; with a real daemon in tests/story."""

import os
import stat
from pathlib import Path

import pytest

from relayd.errors import Locked, RelaydError
from relayd.journal import lock, reader
from relayd.journal.store import Journal
from tests.cli.conftest import Relayd
from tests.control.fake import FakeDaemon


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state directory with the journal of a daemon that has ended."""
    folder = tmp_path / "state"
    folder.mkdir(mode=0o700)
    journal = Journal(folder / "journal.db", "unit-1", lambda: "abc123")
    journal.open()
    assert journal.close()
    return folder


def epoch(path: Path) -> str:
    found = reader.query(path, "SELECT value FROM meta WHERE key = 'epoch'", {})
    return str(found[0]["value"])


def test_without_a_daemon_the_journal_is_copied_from_the_disk_and_comes_back(
    relayd: Relayd, state: Path, tmp_path: Path
) -> None:
    kept = tmp_path / "kept.db"
    shown = relayd("backup", str(kept), "--state", str(state))
    assert shown.exit_code == 0, shown.exception
    assert shown.stdout == (
        f"the journal is in {kept} ({kept.stat().st_size} bytes), whole and checked\n"
    )
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    shown = relayd("restore", str(kept), "--state", str(state))
    assert shown.exit_code == 0, shown.exception
    assert f"the one before is set aside as {state}/journal.db.replaced-" in shown.stdout
    assert epoch(kept) == "abc123"
    assert epoch(state / "journal.db") != "abc123"


def test_a_restore_where_there_was_nothing_sets_nothing_aside(
    relayd: Relayd, state: Path, tmp_path: Path
) -> None:
    kept, other = tmp_path / "kept.db", tmp_path / "other"
    relayd("backup", str(kept), "--state", str(state))
    assert relayd("restore", str(kept), "--state", str(other)).stdout == (
        f"the journal is that of {kept}\n"
    )
    assert sorted(each.name for each in other.iterdir()) == ["journal.db", "lock"]


def test_nothing_is_restored_under_a_daemon(relayd: Relayd, state: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept.db"
    relayd("backup", str(kept), "--state", str(state))
    held = lock.take(state)
    for command in ("restore", "backup"):
        shown = relayd(command, str(kept), "--state", str(state))
        assert isinstance(shown.exception, Locked)
        assert shown.exception.exit_code == 75
    held.release()
    assert epoch(state / "journal.db") == "abc123"


def test_a_folder_that_is_not_there_is_named(relayd: Relayd, state: Path, tmp_path: Path) -> None:
    shown = relayd("backup", str(tmp_path / "no" / "kept.db"), "--state", str(state))
    assert isinstance(shown.exception, RelaydError)
    assert str(shown.exception) == f"{tmp_path}/no: there is no such folder"


def test_where_there_is_neither_daemon_nor_journal_that_is_said(
    relayd: Relayd, tmp_path: Path
) -> None:
    shown = relayd("backup", str(tmp_path / "kept.db"), "--state", str(tmp_path / "none"))
    assert "there is no journal, and no daemon answers" in str(shown.exception)
    assert not (tmp_path / "none").exists()


def test_what_the_disk_says_is_a_sentence(relayd: Relayd, state: Path, tmp_path: Path) -> None:
    place = tmp_path / "kept.db.partial"
    place.mkdir()
    shown = relayd("backup", str(tmp_path / "kept.db"), "--state", str(state))
    assert str(shown.exception) == f"{place}: File exists"


def test_what_is_no_backup_is_refused(relayd: Relayd, state: Path, tmp_path: Path) -> None:
    plan = tmp_path / "relayd.toml"
    plan.write_text("[unit]\n" * 100)
    shown = relayd("restore", str(plan), "--state", str(state))
    assert str(plan) in str(shown.exception)
    assert epoch(state / "journal.db") == "abc123"


def test_a_daemon_that_is_there_is_asked_for_it(
    daemon: FakeDaemon, relayd: Relayd, tmp_path: Path
) -> None:
    daemon.reads = {"ready": True, "data": ""}
    shown = relayd("backup", str(tmp_path / "kept.db"))
    assert daemon.acts.get(timeout=1)[0] == "backup"
    do, asked = daemon.asked.get(timeout=1)
    assert (do, asked["token"], asked["from"]) == ("backup-part", "backup has begun", 0)
    # An empty one is no journal, and gets no name.
    assert isinstance(shown.exception, RelaydError)
    assert not os.path.lexists(tmp_path / "kept.db")
