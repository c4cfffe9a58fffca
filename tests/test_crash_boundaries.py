"""The process ends at every boundary between two steps of doing and remembering: nothing owed is lost.

A child process runs a whole story (float rises, two people, taken, level falls, stand-down) on the
real engine and the real journal, in simulated time, and ends without a word at its n-th boundary,
for every n there is. A second one starts on the same journal, finds the contacts as they then
are, and goes on to the end. Both append what they hand to the services to one file.
"""

import json
import os
from dataclasses import dataclass, field
from pathlib import Path

import pytest

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
)
from relayd.core.plan import MINUTE, SECOND
from relayd.engine import Engine
from relayd.journal.store import Journal
from tests.core.world import CIRCUIT, LEVEL, WALL, plan

RISES, TAKEN, FALLS, ENDS = 5 * SECOND, 10 * MINUTE, 15 * MINUTE, 20 * MINUTE
DOWN = 3 * SECOND
CRASHED = 9


@dataclass
class Stage:
    """One process's part of the story."""

    folder: Path
    up: int = 0
    dies_at: int = 0
    boundaries: list[str] = field(default_factory=list)
    waiting: list[Event] = field(default_factory=list)

    def now(self) -> Now:
        return Now("boot", self.up, WALL + self.up, True)

    def note(self, kind: str, what: object) -> None:
        with (self.folder / kind).open("a") as file:
            file.write(json.dumps(what) + "\n")

    def boundary(self, name: str) -> None:
        self.boundaries.append(name)
        if len(self.boundaries) == self.dies_at:
            (self.folder / "died").write_text(json.dumps([name, self.up]))
            os._exit(CRASHED)

    def tell(self, tell: Tell) -> None:
        self.note("told", [tell.send, tell.ref, tell.channel, tell.title])
        self.waiting.append(Sent(tell.send, Outcome.TAKEN))

    def settled(self, send: int) -> None:
        """Nothing waits for that."""

    def withdraw(self, send: int) -> None:
        self.note("withdrawn", send)

    def answer(self, answer: Answer) -> None:
        if answer.ok:
            self.note("answered", self.up)


def play(stage: Stage) -> int:
    """Start on the folder's journal and go on from `stage.up` to the end; how many boundaries there were."""
    journal = Journal(stage.folder / "journal.db", "creek-1", lambda: "k3f9ab")
    engine = Engine(plan(), journal.open(), journal, stage, stage.now, stage.boundary)
    engine.answer = stage.answer
    engine.turn(Started(stage.up == 0))
    engine.turn(LevelRead(LEVEL, RISES <= stage.up < FALLS, stage.up))
    engine.turn(LevelRead(CIRCUIT, True, stage.up))
    to_come = [(at, EdgeSeen(LEVEL, closed, at)) for at, closed in ((RISES, True), (FALLS, False))]
    script: list[tuple[int, Event]] = [each for each in to_come if each[0] > stage.up]
    if not (stage.folder / "answered").exists():
        ack = Commanded("t", Acknowledge(panel="cabin", act=Act.TAKEN), "ben", "test")
        script.append((max(TAKEN, stage.up + SECOND), ack))
    script.sort(key=lambda each: each[0])
    while True:
        drain(engine, stage)
        following = min(
            [each for each in (engine.due, script[0][0] if script else None) if each], default=ENDS
        )
        if following >= ENDS:
            break
        stage.up = following
        engine.turn(script.pop(0)[1] if script and script[0][0] == following else TimePassed())
    assert not engine.state.notices, "something is still owed at the end"
    assert journal.close()
    return len(stage.boundaries)


def drain(engine: Engine, stage: Stage) -> None:
    while stage.waiting:
        engine.turn(stage.waiting.pop(0))


def in_child(stage: Stage) -> int:
    """Play in a process of its own; its exit status (0: to the end, 9: ended at its boundary)."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            play(stage)
            status = 0
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def lines(folder: Path, kind: str) -> list[list[object]]:
    path = folder / kind
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def kinds(told: list[list[object]]) -> set[tuple[object, object]]:
    return {(channel, title) for _, _, channel, title in told}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, set[tuple[object, object]]]:
    """The story without a crash: how many boundaries it has and who was told what."""
    folder = tmp_path_factory.mktemp("whole")
    count = play(Stage(folder))
    return count, kinds(lines(folder, "told"))


def test_the_story_itself_tells_both_and_stands_both_down(
    whole: tuple[int, set[tuple[object, object]]],
) -> None:
    count, told = whole
    assert count > 60
    over, raised = "Alarm over: High level - Cabin tank", "HIGH LEVEL - Cabin tank"
    has_it = "High level: somebody has it - Cabin tank"
    both = {
        (channel, title)
        for channel in ("anna.mail", "ben.mail", "ben.push")
        for title in (raised, over)
    }
    assert told == both | {("anna.mail", has_it)}


@pytest.mark.untraced
@pytest.mark.slow
def test_ending_at_any_boundary_forgets_nobody_and_repeats_under_the_old_id(
    whole: tuple[int, set[tuple[object, object]]], tmp_path: Path
) -> None:
    count, wanted = whole
    repeats = 0
    for number in range(1, count + 1):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert in_child(Stage(folder, dies_at=number)) == CRASHED
        name, died = json.loads((folder / "died").read_text())
        before = lines(folder, "told")
        assert in_child(Stage(folder, up=died + DOWN)) == 0, f"boundary {number}, {name}"
        told = lines(folder, "told")
        assert wanted <= kinds(told), (
            f"boundary {number}, {name}: {wanted - kinds(told)} never told"
        )
        by_send: dict[object, list[object]] = {}
        for send, *what in told:
            assert by_send.setdefault(send, what) == what, (
                f"boundary {number}: send {send} changed its id"
            )
        repeats += len(told) - len(by_send)
        assert len(told) - len(by_send) <= max(3, len(before)), (
            f"boundary {number}: too many repeats"
        )
    print(f"boundaries: {count}, all {count} ended there once; repeats under an old id: {repeats}")
