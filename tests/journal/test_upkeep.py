"""What is old goes in small steps; what is open stays, and the stream says where rows are gone."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from threading import Event as Flag
from typing import Any

import pytest

from relayd import clock
from relayd.channels.stream import Stream
from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, Priority
from relayd.core.state import Alarm, Process, State, Subject
from relayd.journal import reader, upkeep
from relayd.journal.base import connect
from relayd.journal.feed import Feed
from relayd.journal.store import Journal
from relayd.journal.upkeep import Keep, Keeper, size
from tests.journal.conftest import SOON
from tests.journal.samples import BOOT, after, notice

START = 1_900_000_000 * 10**9
YEARS = 1000 * DAY


def at(day: float, trusted: bool = True) -> Now:
    """A moment so many days after the first."""
    return Now(BOOT, int(day * DAY), START + int(day * DAY), trusted)


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    made = Journal(path, "unit-1", lambda: "abc123")
    made.open()
    yield made
    made.close()


def history(journal: Journal, days: int, trusted: bool = True, each: int = 1) -> State:
    """One record and one closed notice a day, of an occurrence of its own; occurrence 7 stays open."""
    alarm = Alarm("high-level", Priority.HIGH, Process.UNACK, occurrence=7)
    old = journal._latest
    for day in range(1, days + 1):
        made = replace(notice(10 * day), occurrence=day)
        new = after(old, 10 * day + 9)
        south = Subject("panel:south", alarms={"high-level": alarm})
        new = replace(new, subjects={**new.subjects, south.id: south}, notices={})
        body = {"occurrence": day, "text": "x" * 80}
        rows = [Record("raised", "panel:north", body)] * each
        with_notice = replace(new, notices={made.id: made}, closed=())
        journal.commit(old, with_notice, rows, at(day, trusted), 0 if day < days else SOON)
        new = replace(new, closed=(made,))
        journal.commit(with_notice, new, [], at(day, trusted), SOON)
        old = replace(new, closed=())
    return old


def pruned(path: Path, keep: Keep, state: State, now: Now, steps: int = 100) -> int:
    """Prune on a connection of its own until nothing more goes; how many rows went."""
    keeper = Keeper(keep)
    with closing(connect(path)) as base:
        gone = [keeper.step(base, state, now) for _ in range(steps)]
    assert gone[-1] == 0
    assert max(gone) <= 2 * upkeep.STEP
    return sum(gone)


def numbers_left(path: Path) -> list[int]:
    return [row["n"] for row in reader.records(path, limit=100_000)]


def notices_left(path: Path) -> list[int]:
    found = reader.query(path, "SELECT occurrence FROM notice ORDER BY id", {})
    return [row["occurrence"] for row in found]


def test_records_and_notices_go_when_they_are_older_than_is_kept(
    path: Path, journal: Journal
) -> None:
    state = history(journal, 40)
    journal.close()
    pruned(path, Keep(age=10 * DAY, least=3), state, at(41))
    # Those of the occurrence that is still open stay.
    assert numbers_left(path) == [7, *range(31, 41)]
    assert notices_left(path) == [7, *range(31, 41)]
    assert {row["notice"] for row in reader.query(path, "SELECT notice FROM send", {})} == {
        10 * each for each in notices_left(path)
    }


def test_the_newest_stay_whatever_the_clock_says(path: Path, journal: Journal) -> None:
    state = history(journal, 40)
    journal.close()
    pruned(path, Keep(age=10 * DAY, least=15), state, at(40 + YEARS))
    assert numbers_left(path) == [7, *range(26, 41)]


def test_an_unset_clock_tells_no_age(path: Path, journal: Journal) -> None:
    state = history(journal, 20, trusted=False)
    journal.close()
    assert pruned(path, Keep(age=DAY, least=3), state, at(YEARS)) == 0
    assert pruned(path, Keep(age=DAY, least=3), state, at(YEARS, trusted=False)) == 0


@pytest.mark.slow
def test_the_file_stays_within_its_size(path: Path, journal: Journal) -> None:
    state = history(journal, 60, each=50)
    journal.close()
    with closing(sqlite3.connect(path)) as base:
        before = size(base)
    bound = before // 2
    gone = pruned(path, Keep(size=bound, least=100), state, at(61))
    with closing(sqlite3.connect(path)) as base:
        assert size(base) <= bound
    assert path.stat().st_size < before
    left = numbers_left(path)
    assert gone > 1000
    # The oldest went, but those of the open occurrence.
    assert left[:50] == list(range(301, 351))
    assert left[50:] == list(range(left[50], 3001))


def test_what_is_within_bounds_is_left_alone_for_an_hour(
    path: Path, journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = history(journal, 12)
    journal.close()
    moment = [HOUR]
    monkeypatch.setattr(clock, "boottime", lambda: moment[0])
    keeper = Keeper(Keep(age=30 * DAY, least=3))
    with closing(connect(path)) as base:
        asked: list[str] = []
        base.set_trace_callback(asked.append)
        assert keeper.step(base, state, at(13)) == 0
        looked = len(asked)
        moment[0] += HOUR - 1
        assert keeper.step(base, state, at(60)) == 0
        assert len(asked) == looked
        moment[0] += 1
        assert keeper.step(base, state, at(60)) > 0


@pytest.mark.slow
def test_the_writer_prunes_when_it_is_idle_and_a_commit_does_not_wait(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = Journal(path, "unit-1", lambda: "abc123", keep=Keep(age=10 * DAY, least=3))
    journal.open()
    old = history(journal, 300)
    monkeypatch.setattr("relayd.journal.store.IDLE", 0.01)
    journal._tidied = 0
    assert journal.commit(old, after(old, 5000), [], at(301), SOON)
    seen = list[int]()
    while len(seen) < 300 and (not seen or seen[-1] > 20):
        assert journal.commit(old, old, [Record("t", "unit", {})], at(301), SOON)
        seen.append(len(numbers_left(path)) - len(seen))
        with journal._backlog.cond:
            journal._backlog.cond.wait(0.05)
    assert seen[-1] <= 20
    assert journal.close()


class Taken:
    """A message that the broker has taken at once."""

    def taken(self, wait: float) -> bool:
        return True

    def kept(self) -> bool:
        return True


def test_the_stream_says_what_was_pruned_behind_its_cursor(path: Path, journal: Journal) -> None:
    state = history(journal, 40)
    feed = Feed(path, journal, "abc123", lambda: at(41, trusted=False))
    feed.keep("mqtt", "abc123:5")
    journal.close()
    pruned(path, Keep(age=10 * DAY, least=3), replace(state, subjects={}), at(41))
    stream, sent, never = Stream("unit-1", "mqtt", feed), list[Any](), Flag()

    def publish(_topic: str, payload: str) -> Taken:
        sent.append(json.loads(payload))
        return Taken()

    while len(sent) < 11:
        stream.step(publish, lambda: True)
        never.wait(0.01)
    stream.stop()
    assert sent[0]["body"] == {"from": 6, "to": 30, "why": "not-kept"}
    assert [each["n"] for each in sent[1:]] == list(range(31, 41))
