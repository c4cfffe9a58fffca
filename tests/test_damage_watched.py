"""A unit starts on files that are damaged in a random place: it watches, tells, and says what was lost.

The real engine and the real journal, in simulated time. RELAYD_SEED repeats the places.
"""

import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from relayd.core.conditions import HIGH_LEVEL, JOURNAL_DAMAGED
from relayd.core.draft import UNIT
from relayd.core.effects import Answer, Tell
from relayd.core.events import (
    Acknowledge,
    Act,
    Commanded,
    EdgeSeen,
    Event,
    LevelRead,
    Now,
    Outcome,
    Sent,
    Started,
    TimePassed,
    UnitSensed,
)
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import MINUTE, SECOND
from relayd.core.state import Process
from relayd.engine import Engine
from relayd.journal import files
from relayd.journal.store import Journal
from tests.core.world import CIRCUIT, LEVEL, WALL, plan
from tests.journal.conftest import wait_until_written
from tests.journal.harms import HARMS, TO_THE_DATABASE, Harm, copied, emptied
from tests.journal.test_damage import changed

pytestmark = pytest.mark.untraced

PLACES = 20
RISES, TAKEN, KILLED = 5 * SECOND, 3 * MINUTE, 5 * MINUTE


class Life:
    """One process on a journal: what it told, and when."""

    def __init__(self, path: Path, up: int, epoch: str) -> None:
        self.up = up
        self.told: list[tuple[int, Tell]] = []
        self.waiting: list[Event] = []
        self.deaf = False
        self.journal = Journal(path, "creek-1", lambda: epoch)
        self.engine = Engine(plan(), self.journal.open(), self.journal, self, self._now)
        self.engine.answer = self._answer

    def start(self, high: bool) -> None:
        """As the daemon does: start, what the journal says of itself, and the contacts."""
        self.take(Started(False))
        self.look()
        self.take(LevelRead(LEVEL, high, self.up))
        self.take(LevelRead(CIRCUIT, True, self.up))

    def look(self) -> None:
        """As the daemon does with what the journal says of itself."""
        if harm := self.journal.harm():
            self.take(UnitSensed(JOURNAL_DAMAGED, harm))

    def take(self, event: Event) -> None:
        self.engine.turn(event)
        while self.waiting:
            self.engine.turn(self.waiting.pop(0))

    def run_to(self, until: int) -> None:
        """Let time pass."""
        while self.engine.due is not None and self.engine.due <= until:
            self.up = max(self.up, self.engine.due)
            self.take(TimePassed())
        self.up = until

    def tell(self, tell: Tell) -> None:
        self.told.append((self.up, tell))
        if not self.deaf:
            self.waiting.append(Sent(tell.send, Outcome.TAKEN))

    def settled(self, send: int) -> None:
        """Nothing waits for that."""

    def withdraw(self, send: int) -> None:
        raise AssertionError(f"nothing waits, and send {send} is withdrawn")

    def _answer(self, answer: Answer) -> None:
        assert answer.ok

    def _now(self) -> Now:
        return Now("boot", self.up, WALL + self.up, True)


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files of a unit that was killed while Anna had seen a high level and Ben had been told."""
    folder = tmp_path_factory.mktemp("killed")
    life = Life(folder / "journal.db", 0, "abc123")
    life.start(high=False)
    life.run_to(RISES)
    life.take(EdgeSeen(LEVEL, True, RISES))
    life.run_to(TAKEN)
    life.take(Commanded("t", Acknowledge(panel="cabin", act=Act.SEEN), "anna", "test"))
    life.run_to(KILLED)
    assert [each.title for _, each in life.told][:1] == ["HIGH LEVEL - Cabin tank"]
    lie = copied(folder / "journal.db", folder / "lie")
    assert life.journal.close()
    return lie


def _stands(life: Life) -> bool:
    alarm = life.engine.state.subjects["panel:cabin"].alarms.get(HIGH_LEVEL)
    return alarm is not None and alarm.process in ACTIVE


def _people_know(life: Life, before: int) -> bool:
    """Somebody was told now, or the journal still says who was told before."""
    alarm = life.engine.state.subjects["panel:cabin"].alarms[HIGH_LEVEL]
    now = [at for at, each in life.told if each.title == "HIGH LEVEL - Cabin tank"]
    return bool(now and now[0] - before <= MINUTE) or "anna" in alarm.told


def _watched(harm: Harm, seed: int, lie: Path, folder: Path) -> str:
    """Damage, start, one minute: the alarm that stood stands, and what was lost is told."""
    path, chance = copied(lie, folder), random.Random(seed)
    print(f"{harm.__name__}, seed {seed}")
    if harm in TO_THE_DATABASE:
        emptied(path)
    harm(path, chance)
    life = Life(path, KILLED + SECOND, "fresh1")
    life.start(high=True)
    life.run_to(KILLED + MINUTE)
    assert _stands(life)
    assert _people_know(life, KILLED)
    said = life.journal.opened.harm()
    if said:
        damage = life.engine.state.subjects[UNIT].alarms[JOURNAL_DAMAGED]
        assert damage.process is Process.UNACK
        told = [at for at, each in life.told if each.title.startswith("JOURNAL DAMAGED")]
        assert told, "nobody is told"
        assert told[0] <= KILLED + MINUTE
    # And what begins from here on is told as ever.
    life.take(EdgeSeen(LEVEL, False, life.up))
    life.run_to(life.up + 10 * MINUTE)
    assert not _stands(life)
    rises = life.up
    life.take(EdgeSeen(LEVEL, True, life.up))
    life.run_to(life.up + MINUTE)
    fresh = [at for at, each in life.told if each.title == "HIGH LEVEL - Cabin tank"]
    assert fresh[-1] > rises
    assert life.journal.close()
    return said


@pytest.mark.slow
@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
def test_watching_goes_on_and_what_was_lost_is_told_within_a_minute(
    killed: Path, tmp_path: Path, harm: Harm
) -> None:
    first = int(os.environ.get("RELAYD_SEED") or 0)
    said = [
        _watched(harm, seed, killed, tmp_path / str(seed)) for seed in range(first, first + PLACES)
    ]
    print(f"{harm.__name__}: {PLACES} places, {sum(map(bool, said))} said, every alarm stood")


@pytest.mark.slow
def test_a_unit_whose_journal_is_whole_says_nothing_of_it(killed: Path, tmp_path: Path) -> None:
    nothing: Callable[[Path, random.Random], None] = lambda _path, _chance: None  # noqa: E731
    nothing.__name__ = "nothing"
    assert _watched(nothing, 0, killed, tmp_path / "whole") == ""


# While it runs


def _looked_through(life: Life) -> None:
    """Have the writer look at the whole file now, as it does once a day."""
    journal = life.journal
    wait_until_written(journal)
    assert journal._file.base is not None
    # What waits in the log would hide what is done to the database.
    journal._file.base.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _watched_on(harm: Harm, seed: int, folder: Path) -> str:
    """Damage under a running unit, a round: what is wrong is told, all else goes on from memory."""
    print(f"{harm.__name__}, seed {seed}")
    folder.mkdir()
    life = Life(folder / "journal.db", 0, "abc123")
    life.start(high=False)
    life.run_to(RISES)
    life.take(EdgeSeen(LEVEL, True, RISES))
    life.run_to(TAKEN)
    _looked_through(life)
    harm(folder / "journal.db", random.Random(seed))
    rounds, asides = life.journal.rounds(), len(files.asides(folder / "journal.db"))
    life.journal._rounds._not_before = life.journal._tidied = 0

    def over() -> bool:
        aside = len(files.asides(folder / "journal.db")) > asides
        return life.journal.rounds() > rounds or aside

    with life.journal._backlog.cond:
        for _ in range(4000):
            if over():
                break
            life.journal._backlog.cond.wait(0.005)
    assert over()
    life.look()
    said = life.engine.state.subjects[UNIT].said.get(JOURNAL_DAMAGED, "")
    if said:
        assert [each.title for _, each in life.told][-1].startswith("JOURNAL DAMAGED")
    life.take(EdgeSeen(LEVEL, False, life.up))
    life.run_to(life.up + 10 * MINUTE)
    assert not _stands(life)
    wait_until_written(life.journal)
    assert life.journal.late() == ""
    assert life.journal.close()
    again = Journal(folder / "journal.db", "creek-1", lambda: "fresh1")
    state = again.open()
    assert again.close()
    assert (state.subjects, state.notices) == (
        life.engine.state.subjects,
        life.engine.state.notices,
    )
    return said


@pytest.mark.slow
@pytest.mark.parametrize("harm", TO_THE_DATABASE, ids=lambda harm: harm.__name__)
def test_damage_under_a_running_unit_is_found_told_and_forgets_nothing(
    tmp_path: Path, harm: Harm, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("relayd.journal.store.IDLE", 0.001)
    first = int(os.environ.get("RELAYD_SEED") or 0)
    said = [_watched_on(harm, seed, tmp_path / str(seed)) for seed in range(first, first + PLACES)]
    print(f"{harm.__name__}: {PLACES} places, {sum(map(bool, said))} said, nothing forgotten")


# Promises of one table about another


def test_a_message_whose_sends_went_missing_reaches_its_person_and_that_is_said(
    tmp_path: Path,
) -> None:
    path = tmp_path / "journal.db"
    life = Life(path, 0, "abc123")
    life.start(high=False)
    life.deaf = True
    life.take(EdgeSeen(LEVEL, True, RISES))
    life.run_to(MINUTE)
    (owed,) = life.engine.state.notices.values()
    assert life.journal.close()
    changed(path, "DELETE FROM send")
    again = Life(path, MINUTE + SECOND, "fresh1")
    again.start(high=True)
    again.run_to(2 * MINUTE)
    refs = [each.ref for _, each in again.told]
    assert f"creek-1.abc123.{owed.id}" in refs, "under the id it had"
    assert (
        "had lost its sends and goes again"
        in again.engine.state.subjects[UNIT].said[JOURNAL_DAMAGED]
    )
    assert again.journal.close()
    after = Journal(path, "creek-1", lambda: "fresh2")
    assert after.open().notices == {}
    assert after.opened.harm() == ""
    assert after.close()
