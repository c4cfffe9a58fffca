"""After each turn, what a broker is shown from the subjects that were named is what the state says."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest

from relayd.channels import homie
from relayd.channels.shown import Shown
from relayd.core.effects import Record, Tell
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
from relayd.core.plan import HOUR, MINUTE, SECOND, Input, Means, Plan, Position
from relayd.core.state import State
from relayd.engine import Engine
from tests.core.world import CIRCUIT, LEVEL, WALL, circuit_input, level_input, plan

WAITING = "homie/5/creek-1/counters/waiting"
LOW = "cabin.low-level"


@dataclass
class Stage:
    """An engine whose disk is quick and whose services answer when they are told to."""

    plan: Plan
    up: int = 100 * SECOND
    told: list[int] = field(default_factory=list)
    named: list[Sequence[str]] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.engine = Engine(self.plan, State("k3f9ab"), self, self, self.now)
        self.engine.published = self.publish
        self.shown = Shown(self.plan, lambda key: None, lambda key, value: None)

    def now(self) -> Now:
        return Now("boot-1", self.up, WALL + self.up, True)

    def commit(
        self, old: State, new: State, records: Sequence[Record], now: Now, wait: float
    ) -> bool:
        self.steps.append("committed")
        return True

    def late(self) -> str:
        return ""

    def tell(self, tell: Tell) -> None:
        self.told.append(tell.send)

    def withdraw(self, send: int) -> None:
        self.told.remove(send)

    def settled(self, send: int) -> None:
        self.steps.append(f"settled {send}")

    def publish(self, subjects: Sequence[str]) -> None:
        self.named.append(subjects)
        self.shown.after(subjects, self.engine.state, self.now())

    def give(self, event: Event) -> None:
        """One turn; then the tree is the one that would be made anew."""
        self.engine.turn(event)
        whole = homie.tree(self.engine.state, self.plan, self.now())
        tree = self.shown.tree
        assert {topic: tree.get(topic) for topic in whole} == dict(whole), type(event).__name__
        assert len(tree) == len(whole)

    def run(self, length: int) -> None:
        end = self.up + length
        while self.engine.due is not None and self.engine.due <= end:
            self.up = self.engine.due
            self.give(TimePassed())
        self.up = end

    def start(self) -> "Stage":
        self.give(Started(True))
        for each in self.plan.panels["cabin"].inputs:
            self.give(LevelRead(each.id, each.in_alarm is Position.OPEN, self.up))
        self.run(10 * SECOND)
        return self

    def move(self, name: str, closed: bool) -> None:
        self.give(EdgeSeen(name, closed, self.up))

    def answer(self, outcome: Outcome) -> None:
        for send in list(self.told):
            if send not in self.told:
                continue  # taken back meanwhile
            self.told.remove(send)
            self.give(Sent(send, outcome, "no route" if outcome is Outcome.FAILED else ""))


def test_what_became_of_a_send_is_settled_once_it_is_on_the_disk() -> None:
    stage = Stage(plan()).start()
    stage.move(LEVEL, True)
    stage.run(11 * SECOND)
    (send,) = stage.told
    stage.steps.clear()
    stage.answer(Outcome.TAKEN)
    assert stage.steps == ["committed", f"settled {send}"]


def test_messages_that_wait_are_shown_as_they_come_and_go() -> None:
    stage = Stage(plan()).start()
    assert stage.shown.tree[WAITING] == "0"
    stage.move(LEVEL, True)
    stage.run(11 * SECOND)
    assert stage.shown.tree[WAITING] == "1"
    stage.answer(Outcome.FAILED)
    assert stage.shown.tree["homie/5/creek-1/counters/failed"] == "1"
    stage.run(MINUTE)
    stage.named.clear()
    while stage.told:
        stage.answer(Outcome.TAKEN)
    assert stage.shown.tree[WAITING] == "0"
    assert all("unit" in each for each in stage.named)


def test_a_turn_that_changes_nothing_names_nobody() -> None:
    stage = Stage(plan()).start()
    stage.named.clear()
    stage.give(TimePassed())
    assert stage.named == []


@pytest.mark.untraced
def test_a_whole_story_is_shown_turn_by_turn() -> None:
    low = Input(LOW, "cabin", Means.LOW_LEVEL, Position.CLOSED, on_delay=30 * SECOND)
    stage = Stage(plan(level_input(), circuit_input(), low)).start()
    stage.move(LEVEL, True)
    stage.run(10 * MINUTE)
    stage.answer(Outcome.TAKEN)
    stage.give(Commanded("t1", Acknowledge(panel="cabin", act=Act.TAKEN), "ben", "test"))
    stage.run(20 * MINUTE)
    stage.move(CIRCUIT, False)
    stage.run(5 * MINUTE)
    stage.move(CIRCUIT, True)
    stage.move(LEVEL, False)
    stage.run(HOUR)
    stage.answer(Outcome.TAKEN)
    stage.run(6 * HOUR)
    assert stage.shown.tree["homie/5/creek-1-cabin/alarm-high-level/state"] == "NORM"


@pytest.mark.parametrize("means", [Means.HIGH_LEVEL, Means.HIGH_HIGH_LEVEL, Means.COMMON_ALARM])
def test_a_level_contact_that_was_only_held_is_shown_to_be_back(means: Means) -> None:
    name = f"cabin.{means}"
    spec = level_input(id=name, means=means, release_hold=3 * SECOND)
    stage = Stage(plan(*(() if means is Means.HIGH_LEVEL else (level_input(),)), spec)).start()
    stage.move(name, True)
    stage.run(SECOND)
    fact = f"homie/5/creek-1-cabin/facts/{means}"
    assert stage.shown.tree[fact] == "alarm"
    stage.move(name, False)
    stage.run(SECOND)
    assert stage.shown.tree[fact] == "alarm", "the release hold"
    stage.run(10 * SECOND)
    assert stage.shown.tree[fact] == "normal"
