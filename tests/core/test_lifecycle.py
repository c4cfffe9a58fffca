"""A row that changes under a standing alarm: recorded always, told where it is news, once."""

import pytest

from relayd.core.events import InputLost
from relayd.core.plan import Follows
from relayd.core.state import NoticeKind
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
    assert world.open_alarm("alarm-power").row == "P5"
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
