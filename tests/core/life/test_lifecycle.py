"""A row that changes under a standing alarm: recorded always, told where it is news, once."""

from collections.abc import Callable

import pytest

from relayd.core.calling import callout
from relayd.core.draft import Draft
from relayd.core.events import Act, InputLost
from relayd.core.findings import Finding
from relayd.core.life import lifecycle
from relayd.core.life.news import is_news
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Follows, Priority, seconds
from relayd.core.state import Alarm, NoticeKind, Signal
from tests.core.by_hand import CABIN, reset
from tests.core.world import (
    CIRCUIT,
    LEVEL,
    PUMP,
    World,
    circuit_input,
    level_input,
    plan,
    pump_input,
)


def high(follows: Follows = Follows.HORN) -> World:
    """A high level that Anna was told of, at a panel whose contact may be silenced."""
    world = World(plan(level_input(follows=follows), circuit_input(), pump_input())).start().run(10)
    world.alarm(LEVEL)
    return world.run(30)


def news(world: World) -> list[str]:
    return [each.long for each in world.notices(NoticeKind.UPDATE)]


def test_a_row_that_is_news_is_told_once_after_its_pause() -> None:
    world = high()
    world.alarm(LEVEL, False)
    world.run(63)
    assert news(world) == []
    world.run(0.1)
    assert len(news(world)) == 1
    assert "Silence" in news(world)[0]
    world.run(80)
    assert len(news(world)) == 1


def test_a_row_that_comes_and_goes_within_the_pause_is_no_news() -> None:
    world = high()
    for _ in range(10):
        world.alarm(LEVEL, False)
        world.run(20)
        world.alarm(LEVEL)
        world.run(20)
    assert news(world) == []
    rows = [(each.body["before"], each.body["row"]) for each in world.records("row changed")]
    assert rows == [("L1", "L3"), ("L3", "L1")] * 10


def test_a_row_that_goes_back_after_it_was_told_is_told_as_well() -> None:
    world = high()
    world.alarm(LEVEL, False)
    world.run(70)
    world.alarm(LEVEL)
    world.run(70)
    assert len(news(world)) == 2
    assert "stands at or above the alarm float" in news(world)[1]


def test_a_call_that_goes_out_in_between_takes_no_news_from_those_who_were_not_called() -> None:
    world = high()
    world.run(450)  # ten seconds before Ben's step
    world.alarm(LEVEL, False)
    world.run(20)
    called = world.notices(NoticeKind.RAISED)[-1]
    assert called.person == "ben"
    assert "Silence" in called.long
    world.run(60)
    assert [each.person for each in world.notices(NoticeKind.UPDATE)] == ["anna", "ben"]


@pytest.mark.parametrize("after", [20, 100], ids=["before it is raised", "after"])
def test_the_pump_s_loss_changes_the_text_of_the_circuit_s_and_raises_nothing(after: float) -> None:
    world = high(Follows.LEVEL)
    world.alarm(CIRCUIT)
    world.run(after)
    world.alarm(PUMP)
    world.run(300)
    assert world.process("alarm-power") == "UNACK"
    assert world.open_alarm("alarm-power").row == "P21"  # P5 with the unit's supply not wired
    assert world.process("pump-power") == "NORM"


def test_why_an_input_is_lost_follows_the_input() -> None:
    world = high()
    world.give(InputLost(PUMP, "no such chip"))
    world.run(60)
    world.give(InputLost(PUMP, "line is taken"))
    world.run(1)
    assert world.open_alarm("input-lost").detail == f"{PUMP}: line is taken"
    assert news(world) == []


def test_an_alarm_that_returned_is_not_retexted() -> None:
    world = high(Follows.LEVEL)
    world.alarm(LEVEL, False)
    world.run(100)
    before = len(world.records("row changed"))
    world.alarm(CIRCUIT)
    world.run(10)
    assert world.process("high-level") == "RTNUN"
    assert len(world.records("row changed")) == before


# Latching and reset


def latched() -> World:
    level = level_input(latch=True)
    world = World(plan(level, circuit_input())).start().run(90)
    world.alarm(LEVEL)
    return world.run(11)


def test_a_latched_alarm_stays_until_it_is_acknowledged_and_reset() -> None:
    world = latched()
    assert reset(world) == "still-there"
    world.alarm(LEVEL, False)
    world.run(80)
    assert world.process("high-level") == "LATUN"
    assert reset(world, "high-level") == "not-acknowledged"
    world.ack("ben")
    assert world.process("high-level") == "LATAK"
    assert reset(world, "alarm-power") == "not-latched"
    assert reset(world) == ""
    assert world.process("high-level") == "NORM"
    assert world.records("reset")[-1].body["person"] == "ben"
    assert reset(world) == "not-latched"


def test_a_panel_that_latches_by_itself_is_reset_at_the_panel() -> None:
    level = level_input(latch=True, follows=Follows.LATCHED)
    world = World(plan(level, circuit_input())).start().run(90)
    world.alarm(LEVEL)
    world.run(11)
    refused = lifecycle.reset(Draft(world.plan, world.state, world.now()), CABIN, "", "ben")
    assert refused is not None
    assert "press Reset at the panel" in refused.say


# Priority and notes, through findings given straight


class Told:
    """One condition of the cabin, as a diagnosis would have it, time after time."""

    def __init__(self, condition: str, at: int = 12 * HOUR) -> None:
        self.world = World(plan()).start().run(10)
        self.condition = condition
        # WALL is midday or not: the wall clock is set so that local time is `at`.
        self.world.wall_offset = 20_000 * DAY + at - self.world.up

    def call(self, after: float) -> Alarm:
        """What is due for people after so many seconds."""
        self.world.up += seconds(after)
        return self._kept(lambda draft: lifecycle.call(draft, CABIN))

    def take(self, until: int) -> Alarm:
        """Ben has it until then."""
        args = (CABIN, self.condition, "ben", Act.TAKEN, until)
        return self._kept(lambda draft: callout.acknowledged(draft, *args))

    def _kept(self, do: Callable[[Draft], object]) -> Alarm:
        draft = Draft(self.world.plan, self.world.state, self.world.now())
        do(draft)
        self.world.state, effects = draft.finished()
        self.world.effects += [(self.world.up, each) for each in effects]
        return self.world.state.subjects[CABIN].alarms[self.condition]

    def find(self, after: float = 0, **changes: object) -> Alarm:
        world = self.world
        world.up += seconds(after)
        draft = Draft(world.plan, world.state, world.now())
        found = Finding(Signal.PRESENT, **changes)  # type: ignore[arg-type]
        lifecycle.settle(draft, CABIN, None, {self.condition: found})
        self.due = lifecycle.due(draft, CABIN, None)
        world.state, effects = draft.finished()
        world.effects += [(world.up, each) for each in effects]
        alarms = world.state.subjects[CABIN].alarms
        return alarms.get(self.condition) or Alarm(self.condition, Priority.LOW)


def test_a_finding_s_priority_calls_again_when_it_goes_up_and_not_when_it_goes_down() -> None:
    told = Told("journal-late")
    low = told.find(priority=Priority.LOW)
    high_ = told.find(60, priority=Priority.HIGH)
    assert (low.priority, high_.priority) == (Priority.LOW, Priority.HIGH)
    assert len(told.world.records("re-alarmed")) == 1
    down = told.find(60, priority=Priority.MEDIUM)
    assert (down.priority, down.occurrence) == (Priority.MEDIUM, low.occurrence)
    assert len(told.world.records("re-alarmed")) == 1
    assert len(told.world.records("priority changed")) == 2


def test_a_priority_that_flutters_calls_again_once_in_ten_minutes() -> None:
    told = Told("journal-late")
    told.find(priority=Priority.LOW)
    told.find(60, priority=Priority.HIGH)
    for _ in range(32):
        told.find(10, priority=Priority.MEDIUM)
        told.find(10, priority=Priority.HIGH)
    assert len(told.world.records("re-alarmed")) == 2, "the first rise, and one ten minutes later"


def test_a_rise_that_was_told_just_now_is_told_when_its_pause_is_over() -> None:
    told = Told("journal-late")
    told.find(priority=Priority.HIGH)
    told.find(60, priority=Priority.MEDIUM)
    waits = told.find(60, priority=Priority.HIGH)
    assert waits.rise == told.world.up + 8 * MINUTE
    assert told.world.records("re-alarmed") == []
    assert told.call(8 * 60).rise is None
    assert len(told.world.records("re-alarmed")) == 1


@pytest.mark.parametrize(("taken", "calls"), [(True, 0), (False, 1)], ids=["taken", "not taken"])
def test_who_has_a_bad_input_is_not_called_again_when_the_night_is_over(
    taken: bool, calls: int
) -> None:
    told = Told("input-lost", 21 * HOUR + 50 * MINUTE)
    told.find()
    assert told.find(30).priority is Priority.HIGH
    assert told.find(600).priority is Priority.MEDIUM
    if taken:
        told.take(told.world.up + 12 * HOUR)
    assert told.find(9 * 3600).priority is Priority.HIGH
    assert len(told.world.records("re-alarmed")) == calls


def test_trade_5_air_supply_rises_to_medium_after_twelve_hours() -> None:
    told = Told("air-supply")
    told.find()
    first = told.find(300)
    assert first.priority is Priority.LOW
    assert told.find(12 * 3600 - 1).priority is Priority.LOW
    assert told.find(1).priority is Priority.MEDIUM


@pytest.mark.parametrize(
    ("at", "priority"),
    [(3, "medium"), (6.999, "medium"), (7, "high"), (21.98, "high"), (22, "medium")],
)
def test_trade_5_a_bad_input_is_medium_at_night(at: float, priority: str) -> None:
    told = Told("input-lost", round(at * HOUR) - 30 * SECOND)
    told.find()
    assert told.find(30).priority.value == priority


def test_trade_5_a_bad_input_rises_at_seven_and_is_high_without_a_clock() -> None:
    told = Told("input-lost", 6 * HOUR)
    told.find()
    assert told.find(30).priority is Priority.MEDIUM
    assert told.due is not None
    told.world.up = told.world.up + HOUR - 30 * SECOND
    assert told.find().priority is Priority.HIGH
    blind = Told("input-lost", 3 * HOUR)
    blind.world.trusted = False
    blind.find()
    assert blind.find(30).priority is Priority.HIGH


def test_the_site_s_own_priority_wins() -> None:
    own = level_input(priority=Priority.LOW)
    world = World(plan(own, circuit_input())).start().run(90)
    world.alarm(LEVEL)
    world.run(11)
    assert world.open_alarm().priority is Priority.LOW


NEWS = [
    ("a note that says the switch is not in Auto", "L1", "L1", (), ("R1",), None, True),
    ("a note of another kind", "L1", "L1", (), ("R5",), None, False),
    ("one that still waits to be told", "L1", "L1", (), ("R1", "R5"), 5, True),
    ("one that waits, and is gone again", "L1", "L1", (), ("R5",), 5, False),
    ("one that was told", "L1", "L1", ("R1",), ("R1", "R5"), None, False),
    ("alarm circuit, then the panel's feed", "P4", "P5", (), (), None, True),
    ("alarm circuit either way", "P4", "P6", (), (), None, False),
    ("an outage that ends", "P11", "P4", (), (), None, True),
]


@pytest.mark.parametrize(
    ("told", "row", "before", "notes", "update", "news"),
    [each[1:] for each in NEWS],
    ids=[each[0] for each in NEWS],
)
def test_what_is_news(
    told: str,
    row: str,
    before: tuple[str, ...],
    notes: tuple[str, ...],
    update: int | None,
    news: bool,
) -> None:
    alarm = Alarm("x", Priority.HIGH, told_row=told, told_notes=before, update=update)
    assert is_news(alarm, row, notes) is news


def test_a_note_changes_the_text_and_raises_nothing() -> None:
    told = Told("journal-late")
    first = told.find()
    second = told.find(1, notes=("R1",))
    assert (second.notes, second.occurrence) == (("R1",), first.occurrence)
    assert len(told.world.records("notes changed")) == 1
