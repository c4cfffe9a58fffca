"""Files of earlier and later versions open; files of other programs do not."""

import sqlite3
from pathlib import Path

import pytest

from relayd.core.plan import Priority
from relayd.core.state import Alarm, Process, SendState, Stamp
from relayd.journal import schema
from relayd.journal.base import connect
from relayd.journal.codec import JournalDamaged
from tests.journal.conftest import Open

VERSION_1 = (Path(__file__).parent / "version_1.sql").read_text()


def old_file(path: Path) -> None:
    """A file as version 1 wrote it, from its own dump."""
    base = sqlite3.connect(path)
    base.executescript(VERSION_1)
    base.close()


def test_a_file_written_by_version_1_opens(path: Path, make: Open) -> None:
    old_file(path)
    journal = make()
    state = journal.open()
    assert (state.epoch, state.boot, state.counter) == ("k3x9qa", "boot-1", 12)
    assert state.stamp == Stamp(3600000000000, 1900003600000000000, True)
    alarm = state.subjects["panel:north"].alarms["high-level"]
    assert alarm == Alarm(
        "high-level",
        Priority.HIGH,
        Process.UNACK,
        occurrence=9,
        raised=Stamp(3590000000000, 1900003590000000000, True),
        told=("anna",),
    )
    assert [(each.id, each.sends[0].state) for each in state.notices.values()] == [
        (11, SendState.OUT)
    ]
    assert journal.opened.set_aside is None
    assert journal.said_topics() == {"homie/5/unit-1/$state"}
    assert journal.meta_get("ended") == "stopped"


def test_todays_tables_hold_all_that_version_1_had(tmp_path: Path) -> None:
    old_file(tmp_path / "old.db")
    connect(tmp_path / "new.db").close()
    old, new = columns(tmp_path / "old.db"), columns(tmp_path / "new.db")
    assert old <= new


def columns(path: Path) -> set[tuple[str, str]]:
    base = sqlite3.connect(path)
    tables = [row[0] for row in base.execute("SELECT name FROM sqlite_schema WHERE type='table'")]
    found = {(t, row[1]) for t in tables for row in base.execute(f"PRAGMA table_info({t})")}
    base.close()
    return found


def test_a_file_of_a_later_version_of_this_major_is_used_as_it_is(path: Path, make: Open) -> None:
    old_file(path)
    connect(path).close()
    base = sqlite3.connect(path)
    base.execute("ALTER TABLE record ADD COLUMN colour TEXT DEFAULT 'red'")
    base.execute(f"PRAGMA user_version={len(schema.MIGRATIONS) + 1}")
    base.close()
    journal = make()
    assert journal.open().epoch == "k3x9qa"
    assert journal.probe(5) is None
    assert journal.opened.set_aside is None


def test_a_database_of_another_program_is_refused(path: Path) -> None:
    base = sqlite3.connect(path)
    base.execute("PRAGMA application_id=1")
    base.close()
    with pytest.raises(JournalDamaged, match="another program"):
        connect(path)


def test_what_version_1_changes_after_a_roll_back_is_taken_as_it_is(path: Path, make: Open) -> None:
    """It knows no checksum and leaves the old one where it stands: that must not look like damage."""
    old_file(path)
    journal = make()
    state = journal.open()
    assert journal.close()
    base = sqlite3.connect(path)
    assert base.execute("SELECT count(*) FROM state WHERE sum IS NULL").fetchall() == [(0,)]
    upsert = "INSERT INTO state (subject, body) VALUES (?, ?) ON CONFLICT (subject) DO UPDATE SET"
    body = base.execute("SELECT body FROM state").fetchone()[0].replace("anna", "ben")
    base.execute(f"{upsert} body=excluded.body", ("panel:north", body))
    base.execute("UPDATE notice SET long = 'longer' WHERE id = 11")
    base.execute("UPDATE send SET state = 'owed' WHERE id = 12")
    base.execute("UPDATE meta SET value = '13' WHERE key = 'counter'")
    base.commit()
    base.close()
    rolled = make()
    again = rolled.open()
    assert rolled.opened.harm() == ""
    assert again.subjects["panel:north"].alarms["high-level"].told == ("ben",)
    assert (again.notices[11].long, again.notices[11].sends[0].state) == ("longer", SendState.OWED)
    assert (again.counter, again.epoch) == (13, state.epoch)
    assert rolled.close()
    base = sqlite3.connect(path)
    assert base.execute("SELECT count(*) FROM state WHERE sum IS NULL").fetchall() == [(0,)]
    base.close()


SETTINGS = {
    "page_size": 1024,
    "auto_vacuum": 2,  # incremental
    "journal_mode": "wal",
    "synchronous": 2,  # full
    "busy_timeout": 1000,
    "journal_size_limit": 1048576,
    "temp_store": 2,  # memory
    "mmap_size": 0,
    "trusted_schema": 0,
    "application_id": schema.APPLICATION_ID,
    "user_version": len(schema.MIGRATIONS),
}


@pytest.mark.parametrize(("name", "value"), SETTINGS.items(), ids=SETTINGS)
def test_the_writer_has_its_settings(path: Path, name: str, value: object) -> None:
    base = connect(path)
    rows = base.execute(f"PRAGMA {name}").fetchall()
    base.close()
    # Some builds of SQLite leave memory mapping out, and then say nothing.
    assert rows == [(value,)] or (name == "mmap_size" and not rows)


def test_an_unknown_setting_is_said() -> None:
    with pytest.raises(JournalDamaged, match="no_such"):
        schema.pragma(lambda sql, parameters=(): [], "no_such")
