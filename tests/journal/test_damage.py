"""Files that are damaged: read right, or said; what proves itself is kept, and ids never come again."""

import os
import random
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from relayd.core.plan import Priority
from relayd.core.state import Alarm, Process, Send, State, Subject
from relayd.journal import files, reader
from relayd.journal.codec import JournalDamaged
from relayd.journal.loading import JUMP
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, fill, some_history, wait_until_written
from tests.journal.harms import HARMS, TO_THE_DATABASE, Harm, copied, emptied
from tests.journal.samples import after, notice, now, record

PLACES = 20
"""Random places a harm; `tests/long` tries 500."""


@dataclass(frozen=True, slots=True)
class Killed:
    """The files of a unit that was killed with a full log, every state it had committed, its records."""

    lie: Path
    states: list[State]
    records: list[object]


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Killed]:
    path = tmp_path_factory.mktemp("killed") / "journal.db"
    journal = Journal(path, "unit-1", lambda: "abc123")
    old = journal.open()
    states = [old]
    alarm = Alarm("high-level", Priority.HIGH, Process.UNACK, occurrence=7)
    south = Subject("panel:south", alarms={"high-level": alarm})
    for n in range(1, 61):
        new = after(old, 100 + 2 * n)
        new = replace(
            new,
            subjects={**new.subjects, south.id: south, "unit": Subject("unit")},
            notices={k: notice(k, Send(k + 1, "phone")) for k in range(96 + 2 * n, new.counter, 2)},
        )
        assert journal.commit(old, new, [record(n)], now(n), SOON)
        old = new
        states.append(old)
    lie = copied(path, path.parent / "lie")
    yield Killed(lie, states, list(reader.records(path, limit=1000)))
    assert journal.close()


def _judge(path: Path, make: Open, killed: Killed) -> str:
    """Whatever was done to the file: what it holds is right, or what is not is said. What was said."""
    journal, before = make(path, epoch="fresh1"), killed.states[-1]
    state = journal.open()
    harm = journal.opened.harm()
    if state != before and not harm:  # where a row is out of its place, the examination finds it
        journal.examine()
        wait_until_written(journal)
        harm = journal.opened.harm()
    if state != before:
        assert harm, "the state is another one, and nobody is told"
    for name, subject in state.subjects.items():
        known = [each.subjects[name] for each in killed.states if name in each.subjects]
        assert subject in [*known, *(replace(each, alarms={}) for each in known)]
    for number, notice_ in state.notices.items():
        made = [each.notices[number] for each in killed.states if number in each.notices]
        # One whose sends are not all there comes without any, and the core owes it again.
        assert notice_ in [*made, *(replace(each, sends=()) for each in made)]
    assert state.epoch != before.epoch or state.counter >= before.counter, "ids come again"
    if not harm:
        _records_are_right(path, journal, killed.records)
    # Whatever it was, from here on it keeps what it is given.
    last = replace(after(state, state.counter + 1), notices={7: notice(7)})
    journal.commit(state, last, [record(1000)], now(1000), SOON)
    wait_until_written(journal)
    assert journal.close()
    again = make(path, epoch="fresh2")
    assert again.open().subjects == last.subjects
    return harm


def _records_are_right(path: Path, journal: Journal, records: list[object]) -> None:
    if journal.check() is not None:
        return
    try:
        found = reader.records(path, limit=1000)
    except JournalDamaged:
        return
    sound = [each for each in found if "damaged" not in each["body"]]
    assert all(each in records for each in sound)
    assert len(found) == len(records)


def _try(harm: Harm, place: int, killed: Killed, folder: Path, make: Open) -> str:
    seed = int(os.environ.get("RELAYD_SEED") or 0) + place
    print(f"{harm.__name__}, seed {seed}")
    path = copied(killed.lie, folder)
    if harm in TO_THE_DATABASE:
        emptied(path)
    harm(path, random.Random(seed))
    return _judge(path, make, killed)


@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
@pytest.mark.parametrize("place", range(PLACES))
def test_damage_in_a_random_place_is_read_right_or_said(
    killed: Killed, tmp_path: Path, make: Open, harm: Harm, place: int
) -> None:
    _try(harm, place, killed, tmp_path / "lies", make)


@pytest.mark.long
@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
def test_500_random_places(killed: Killed, tmp_path: Path, make: Open, harm: Harm) -> None:
    said = 0
    for place in range(500):
        folder = tmp_path / str(place)
        said += bool(_try(harm, 1000 + place, killed, folder, make))
        shutil.rmtree(folder)
    print(f"{harm.__name__}: 500 places, {said} said at the start, none silently wrong")


def test_a_damaged_page_that_looks_like_a_full_disk_is_set_aside(
    killed: Killed, tmp_path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Found by the campaign: SQLite answers 'database or disk is full', and means a page's number.
    monkeypatch.delenv("RELAYD_SEED", raising=False)
    (pages,) = (each for each in HARMS if each.__name__ == "pages")
    _try(pages, 10161, killed, tmp_path / "lies", make)


# Single rows. The triggers that mark what an earlier version wrote would take these for such.

ROWS = {
    "a subject": ("UPDATE state SET body = replace(body, '\"n\"', '\"m\"')", "panel:north"),
    "a subject's name": ("UPDATE state SET subject = 'panel:nprth'", "panel:nprth"),
    "a notice's person": ("UPDATE notice SET person = 'anma'", "lost: message 2 to 'anma'"),
    "what a notice names": (
        "UPDATE notice SET names = '[2,[],[\"x\"],1]' WHERE id = 2",
        "lost: message 2 to 'anna'",
    ),
    "what a notice names, in no order": (
        "UPDATE notice SET names = '{' WHERE id = 2",
        "lost: message 2 to 'anna'",
    ),
    "a notice's checksum": ("UPDATE notice SET sum = sum + 1", "lost: message 2 to 'anna'"),
    "a send's channel": (
        "UPDATE send SET channel = 'phonf'",
        "message 2 to 'anna' had lost its sends",
    ),
    "a send's channel where it has two": (
        "UPDATE send SET channel = 'phonf' WHERE id = 2",
        "message 2 to 'anna' had lost its sends",
    ),
    "a send that is gone": (
        "DELETE FROM send WHERE notice = 2",
        "message 2 to 'anna' had lost its sends",
    ),
    "a topic at a broker": (
        "UPDATE said SET topic = 'homie/5/unit-2/x' WHERE topic = 'homie/5/unit-1/x'",
        "lost: topics that a broker may still show (1)",
    ),
    "the counter": ("UPDATE meta SET value = '1' WHERE key = 'counter'", "the counter of ids"),
    "the boot": ("UPDATE meta SET value = 'x' WHERE key = 'boot'", "the time of the last step"),
    "the time of the last step": (
        "UPDATE meta SET value = '{}' WHERE key = 'stamp'",
        "the time of the last step",
    ),
}


def changed(path: Path, sql: str) -> None:
    """Change rows as a flipped bit does: behind the back of whatever looks after checksums."""
    base = sqlite3.connect(path)
    for (name,) in base.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
        base.execute(f"DROP TRIGGER {name}")
    base.execute(sql)
    base.commit()
    base.close()


@pytest.mark.parametrize(("sql", "said"), ROWS.values(), ids=ROWS)
def test_a_bad_row_costs_that_row_and_is_said(path: Path, make: Open, sql: str, said: str) -> None:
    before = some_history(make, path, steps=2)
    topics = make()
    topics.open()
    topics.said("homie/5/unit-1/x", True)
    topics.said("homie/5/unit-1/y", True)
    assert topics.close()
    changed(path, sql)
    journal = make(epoch="fresh1")
    state = journal.open()
    assert state.epoch == before.epoch
    assert said in journal.opened.harm()
    assert journal.opened.set_aside is None
    assert state.counter >= before.counter
    assert journal.close()
    again = make()
    assert again.open() == state
    assert again.said_topics() <= {"homie/5/unit-1/x", "homie/5/unit-1/y"}
    if "had lost its sends" in said:  # it is owed until the core has made sends
        assert [each.sends for each in state.notices.values()] == [()]
    else:
        assert again.opened.harm() == "", "it is said once, and mended"


def test_where_the_counter_cannot_be_read_no_id_comes_again(path: Path, make: Open) -> None:
    some_history(make, path, steps=2)
    changed(path, "UPDATE meta SET value = '1' WHERE key = 'counter'")
    assert make().open().counter >= JUMP


def test_a_notice_that_cannot_be_read_takes_its_alarm_with_it(path: Path, make: Open) -> None:
    """So that the alarm, where it still stands, is raised and told anew."""
    journal = make()
    state = journal.open()
    alarm = Alarm("high-level", Priority.HIGH, Process.UNACK, occurrence=7)
    north = Subject("panel:north", alarms={"high-level": alarm, "other": alarm}, said={"kept": "x"})
    new = replace(state, counter=40, subjects={north.id: north}, notices={8: notice(8)})
    assert journal.commit(state, new, [], now(), SOON)
    assert journal.close()
    changed(path, "UPDATE notice SET long = 'x'")
    again = make().open()
    assert again.notices == {}
    assert again.subjects["panel:north"] == replace(north, alarms={"other": alarm})


def test_a_bad_record_is_shown_as_bad_and_hides_no_other(path: Path, make: Open) -> None:
    some_history(make, path, steps=3)
    changed(path, "UPDATE record SET body = '{\"n\":9}' WHERE n = 2")
    bodies = [each["body"] for each in reader.records(path)]
    assert [each.get("n") for each in bodies] == [1, None, 3]
    assert "not as it was written" in bodies[1]["damaged"]


# The newest part is missing


def test_a_log_that_is_gone_is_noticed_by_how_far_it_had_come(
    killed: Killed, tmp_path: Path, make: Open
) -> None:
    path = copied(killed.lie, tmp_path / "lies")
    files.beside(path, "-wal").unlink()
    journal = make(path, epoch="fresh1")
    assert journal.open().epoch == "fresh1"
    assert "its newest part is missing: it had reached record 60" in journal.opened.harm()


def test_a_log_that_is_damaged_in_its_midst_is_noticed_without_that(
    killed: Killed, tmp_path: Path, make: Open
) -> None:
    path = copied(killed.lie, tmp_path / "lies")
    files.beside(path, files.REACHED).unlink()
    log = files.beside(path, "-wal")
    with log.open("r+b") as file:
        file.seek(log.stat().st_size // 2)
        file.write(b"damaged")
    journal = make(path, epoch="fresh1")
    assert journal.open().epoch == "fresh1"
    assert "its log is damaged" in journal.opened.harm()


def test_a_last_transaction_that_was_torn_by_a_power_cut_is_no_damage(
    killed: Killed, tmp_path: Path, make: Open
) -> None:
    """It was never said to be committed; the note beside the file was then not written either."""
    path = copied(killed.lie, tmp_path / "lies")
    files.beside(path, files.REACHED).unlink()
    log = files.beside(path, "-wal")
    os.truncate(log, log.stat().st_size - 100)
    journal = make(path, epoch="fresh1")
    assert journal.open() == killed.states[-2]
    assert journal.opened.harm() == ""


@pytest.mark.parametrize("held", [b"", b"abc123 x 1 1", b"abc123 999 999 1", b"\xff" * 40])
def test_a_note_of_how_far_it_came_that_cannot_be_read_is_no_matter(
    path: Path, make: Open, held: bytes
) -> None:
    before = some_history(make, path)
    files.beside(path, files.REACHED).write_bytes(held)
    journal = make()
    assert journal.open() == before
    assert journal.opened.harm() == ""


# Files


def damage_all_pages(path: Path) -> None:
    """Every page but the first, as a card gives back that lost its blocks."""
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(1024)
        file.write(b"\xa5" * (size - 1024))


def aside(path: Path) -> list[str]:
    """The journals that were set aside, the newest first."""
    return [each.name for each in files.asides(path)]


@pytest.mark.slow
def test_a_damaged_file_on_a_full_disk_is_set_aside_too(disk: Path, make: Open) -> None:
    path = disk / "journal.db"
    some_history(make, path)
    damage_all_pages(path)
    ballast = fill(disk)
    journal = make(path, epoch="fresh1")
    assert journal.open().epoch == "fresh1"
    assert aside(path) == [journal.opened.set_aside]
    ballast.unlink()
    wait_until_written(journal)
    assert journal.close()
    assert make(path).open().epoch == "fresh1"


def under_the_writer(path: Path, make: Open) -> tuple[Journal, State]:
    """A journal that is open, on files that somebody else has just spoilt."""
    some_history(make, path)
    journal = make(epoch="other1")
    state = journal.open()
    journal.said("homie/5/a", True)
    assert journal.meta_set("ended", "stopped", SOON)
    with sqlite3.connect(path) as base:
        base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    base.close()
    damage_all_pages(path)
    return journal, state


def test_a_file_that_is_damaged_under_the_writer_is_made_anew_from_memory(
    path: Path, make: Open
) -> None:
    journal, state = under_the_writer(path, make)
    last = after(state, 300)
    journal.commit(state, last, [record(300)], now(300), SOON)
    wait_until_written(journal)
    assert [journal.opened.set_aside] == aside(path)
    assert "its records are in that file alone" in journal.opened.harm()
    assert journal.late() == ""
    journal.close()
    again = make(epoch="other2")
    assert again.open() == last
    assert again.opened.harm() == ""
    assert again.said_topics() == {"homie/5/a"}
    assert again.meta_get("ended") == "stopped"
    assert [(row["n"], row["kind"]) for row in reader.records(path)] == [
        (21, "tested"),
        (22, "journal begun anew"),
    ]


def test_what_the_examination_finds_is_made_anew_from_memory_at_once(
    path: Path, make: Open
) -> None:
    journal, state = under_the_writer(path, make)
    journal.examine()
    wait_until_written(journal)
    assert [journal.opened.set_aside] == aside(path)
    assert journal.close()
    assert make(epoch="other2").open() == state


def test_damage_in_a_record_is_found_by_the_check(path: Path, make: Open) -> None:
    some_history(make, path, steps=200)
    journal = make()
    journal.open()
    assert journal.check() is None
    journal.examine()
    assert journal.opened.harm() == ""
    journal.close()
    damage_all_pages(path)
    assert Journal(path, "unit-1", lambda: "x").check() not in (None, "ok")


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
    assert make(files.asides(path)[0]).open().epoch == "abc123"


HOPELESS = {
    "no epoch": "DELETE FROM meta WHERE key='epoch'",
    "an epoch of bytes": "UPDATE meta SET value=x'00ff' WHERE key='epoch'",
    "no table of sends": "DROP TABLE send",
    "another program's": "PRAGMA application_id=77",
}


@pytest.mark.parametrize("sql", HOPELESS.values(), ids=HOPELESS)
def test_a_file_that_makes_no_sense_is_set_aside_and_what_proves_itself_is_kept(
    path: Path, make: Open, sql: str
) -> None:
    before = some_history(make, path, steps=2)
    changed(path, sql)
    journal = make(epoch="fresh1")
    state = journal.open()
    assert journal.opened.fresh
    assert aside(path) == [journal.opened.set_aside]
    assert "its records" in journal.opened.harm() or "all that" in journal.opened.harm()
    assert state.epoch == "fresh1"
    if sql != HOPELESS["another program's"]:
        assert state.subjects == before.subjects
        assert state.counter >= before.counter
    assert journal.probe(SOON) is None


def test_journals_that_are_set_aside_are_few_and_the_newest(path: Path, make: Open) -> None:
    names = []
    for n in range(5):
        path.write_bytes(b"no database at all" * 100)
        journal = make(epoch=f"fresh{n}")
        journal.open()
        names.append(journal.opened.set_aside)
        assert journal.close()
    assert len(set(names)) == 5
    assert aside(path) == names[:1:-1]


def test_journals_that_are_set_aside_take_little_room(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "ASIDE_SIZE", 2000)
    for n in range(3):
        path.write_bytes(b"no database at all" * 100)
        journal = make(epoch=f"fresh{n}")
        journal.open()
        assert journal.close()
    assert aside(path) == [journal.opened.set_aside]


def open_message(make: Open) -> State:
    """A closed journal with an unanswered alarm, an answered one, and a message that has not left."""
    journal = make()
    state = journal.open()
    unanswered = Alarm("high-level", Priority.HIGH, Process.UNACK, occurrence=7)
    seen = replace(unanswered, condition="other", process=Process.ACKED, occurrence=8)
    north = Subject("panel:north", alarms={"high-level": unanswered, "other": seen})
    new = replace(state, counter=40, subjects={north.id: north}, notices={8: notice(8)})
    assert journal.commit(state, new, [], now(), SOON)
    assert journal.close()
    return new


def spoil_root(path: Path, table: str) -> None:
    """The first page of that table holds something else."""
    base = sqlite3.connect(path)
    asked = "SELECT rootpage FROM sqlite_schema WHERE name = ?"
    (root,) = base.execute(asked, (table,)).fetchone()
    (size,) = base.execute("PRAGMA page_size").fetchone()
    base.close()
    with path.open("r+b") as file:
        file.seek((root - 1) * size)
        file.write(b"\x07" * size)


def test_where_all_sends_are_unreadable_each_message_is_owed_again(path: Path, make: Open) -> None:
    before = open_message(make)
    spoil_root(path, "send")
    journal = make(epoch="fresh1")
    state = journal.open()
    assert state.notices == {8: replace(before.notices[8], sends=())}
    assert state.subjects == before.subjects
    assert "message 8 to 'anna' had lost its sends and goes again" in journal.opened.harm()
    assert "set aside as" in journal.opened.harm()


def test_where_all_messages_are_unreadable_what_nobody_answered_is_told_anew(
    path: Path, make: Open
) -> None:
    before = open_message(make)
    spoil_root(path, "notice")
    journal = make(epoch="fresh1")
    state = journal.open()
    assert state.notices == {}
    alarms = before.subjects["panel:north"].alarms
    assert state.subjects["panel:north"].alarms == {"other": alarms["other"]}
    assert "messages that had not left" in journal.opened.harm()
