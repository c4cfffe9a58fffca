"""Questions beside the writer: they answer right, and change and hold up nothing."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.core.effects import Record
from relayd.core.state import Send, Stamp
from relayd.errors import RelaydError
from relayd.journal import reader
from relayd.journal.codec import JournalDamaged
from relayd.journal.store import Journal
from tests.journal.conftest import Open
from tests.journal.samples import BOOT, notice, now


@pytest.fixture
def written(make: Open) -> Journal:
    """A journal with ten records, of two subjects by turns, one a second."""
    journal = make()
    state = journal.open()
    for n in range(1, 11):
        one = Record("tested", "unit" if n % 2 else "panel:north", {"n": n})
        assert journal.commit(state, state, [one], now(n), 5)
    return journal


QUESTIONS = {
    "the latest": ({"limit": 3}, [8, 9, 10]),
    "all": ({}, list(range(1, 11))),
    "after a number": ({"after": 4, "limit": 3}, [5, 6, 7]),
    "from the beginning": ({"after": 0, "limit": 2}, [1, 2]),
    "after the last": ({"after": 10}, []),
    "of a subject": ({"subject": "panel:north"}, [2, 4, 6, 8, 10]),
    "the latest of a subject": ({"subject": "unit", "limit": 2}, [7, 9]),
    "since": ({"since": now(8).wall}, [8, 9, 10]),
    "of a subject, since, after": (
        {"subject": "unit", "since": now(3).wall, "after": 3},
        [5, 7, 9],
    ),
}


@pytest.mark.parametrize(("asked", "found"), QUESTIONS.values(), ids=QUESTIONS)
@pytest.mark.usefixtures("written")
def test_records_are_found(path: Path, asked: dict[str, int], found: list[int]) -> None:
    assert [row["n"] for row in reader.records(path, **asked)] == found  # type: ignore[arg-type]


@pytest.mark.usefixtures("written")
def test_a_record_is_a_plain_dict(path: Path) -> None:
    assert reader.records(path, limit=1) == [
        {
            "n": 10,
            "boot": BOOT,
            "up": now(10).up,
            "wall": now(10).wall,
            "trusted": True,
            "kind": "tested",
            "subject": "panel:north",
            "body": {"n": 10},
        }
    ]


def test_an_occurrence_leads_to_its_notices_and_these_to_their_sends(
    path: Path, make: Open
) -> None:
    journal = make()
    state = journal.open()
    sends = (Send(11, "phone"), Send(12, "mail", due=5))
    other = replace(notice(20), occurrence=8)
    new = replace(state, counter=21, notices={10: notice(10, *sends), 20: other})
    assert journal.commit(state, new, [], now(), 5)
    [found] = reader.notices_of(path, 7)
    assert (found["id"], found["person"], found["closed"]) == (10, "anna", None)
    assert Stamp(**found["made"]) == notice(10).made
    assert [(each["id"], each["channel"], each["due"]) for each in reader.sends_of(path, 10)] == [
        (11, "phone", None),
        (12, "mail", 5),
    ]
    assert reader.sends_of(path, 99) == reader.notices_of(path, 99) == []


def test_a_reader_sees_each_commit_at_once_and_holds_none_up(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    with reader.reading(path) as base:
        base.execute("BEGIN")
        base.execute("SELECT count(*) FROM record").fetchall()
        for n in range(1, 20):
            assert journal.commit(state, state, [Record("k", "s", {"n": n})], now(n), 5)
            assert reader.records(path, limit=1)[0]["n"] == n
        assert base.execute("SELECT count(*) FROM record").fetchall() == [(0,)]


@pytest.mark.usefixtures("written")
def test_a_reader_can_change_nothing(path: Path) -> None:
    with pytest.raises(JournalDamaged, match="readonly"), reader.reading(path) as base:
        base.execute("DELETE FROM record")
    assert len(reader.records(path)) == 10


def test_a_stopped_journal_is_read_and_then_opened_again(path: Path, written: Journal) -> None:
    written.close()
    assert len(reader.records(path)) == 10
    again = Journal(path, "unit-1", lambda: "other1")
    assert again.open().epoch == "abc123"
    assert again.close()


def test_where_there_is_no_journal_that_is_said(path: Path) -> None:
    with pytest.raises(RelaydError, match="there is no journal"):
        reader.records(path)
    assert not path.exists()


def test_what_is_no_journal_is_called_damaged(path: Path) -> None:
    path.write_bytes(b"no database" * 1000)
    with pytest.raises(JournalDamaged, match="cannot be read"):
        reader.records(path)


def test_one_unreadable_body_hides_no_other(path: Path, written: Journal) -> None:
    written.close()
    base = sqlite3.connect(path)
    base.execute("UPDATE record SET body='{' WHERE n=9")
    base.commit()
    base.close()
    bad, good = (row["body"] for row in reader.records(path, limit=2))
    assert bad["unreadable"] == "{"
    assert good == {"n": 10}
