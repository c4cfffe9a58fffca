"""What every source of edges promises: the scripted one, mock pins, and the kernel's own pins."""

import os
from collections.abc import Callable, Iterator

import pytest

from relayd.clock import boottime
from relayd.core.events import EdgeSeen, InputFound, InputLost, LevelRead
from tests.contacts.harness import (
    DEADLINE,
    HIGH,
    INPUTS,
    POWER,
    Hand,
    Kernel,
    Mock,
    Posted,
    Scripted,
)

# Real pins exist inside the guest only; tests/kernel/test_kernel.py runs this suite there.
HANDS: dict[str, Callable[[], Hand]] = {"scripted": Scripted, "mock": Mock}
if os.environ.get("RELAYD_REAL_PINS"):
    HANDS["kernel"] = Kernel


@pytest.fixture(params=list(HANDS))
def hand(request: pytest.FixtureRequest) -> Iterator[Hand]:
    made = HANDS[request.param]()
    yield made
    made.close()


@pytest.fixture
def posted() -> Posted:
    return Posted()


@pytest.mark.parametrize("power", [False, True], ids=["power open", "power closed"])
@pytest.mark.parametrize("high", [False, True], ids=["high open", "high closed"])
def test_every_input_says_where_it_stands_before_start_returns(
    hand: Hand, posted: Posted, high: bool, power: bool
) -> None:
    hand.move(HIGH, high)
    hand.move(POWER, power)
    hand.contacts.start(posted)
    first = {name: posted.about(name)[0] for name in INPUTS}
    assert {name: type(each) for name, each in first.items()} == dict.fromkeys(INPUTS, LevelRead)
    assert [getattr(first[name], "closed", None) for name in INPUTS] == [high, power]


def test_an_input_that_is_not_there_at_the_start_is_lost_and_the_other_is_read(
    hand: Hand, posted: Posted
) -> None:
    hand.lose(HIGH)
    hand.contacts.start(posted)
    (lost,), (read,) = posted.about(HIGH), posted.about(POWER)
    assert isinstance(lost, InputLost)
    assert lost.why
    assert isinstance(read, LevelRead)


def test_an_input_that_was_not_there_at_the_start_is_found_later(
    hand: Hand, posted: Posted
) -> None:
    hand.lose(HIGH)
    hand.contacts.start(posted)
    hand.find(HIGH, True)
    said = posted.until_stands(HIGH, True)
    assert [type(each) for each in said[:2]] == [InputLost, InputFound]


def test_a_move_is_said_once_with_its_time(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    before = boottime()
    hand.move(HIGH, True)
    _, moved = posted.until(HIGH, 2)
    assert isinstance(moved, EdgeSeen | LevelRead)
    assert moved.closed
    assert before <= moved.at <= boottime()
    assert len(posted.about(POWER)) == 1


def test_moves_come_in_order_of_time_and_none_is_missing(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    for number in range(40):
        hand.move(HIGH, number % 2 == 0)
        assert len(posted.until(HIGH, number + 2)) == number + 2
    turns = [each for each in posted.about(HIGH) if isinstance(each, EdgeSeen | LevelRead)]
    assert [each.closed for each in turns] == [False, *[True, False] * 20]
    assert [each.at for each in turns] == sorted(each.at for each in turns)


def test_a_contact_moved_to_where_it_stands_says_nothing(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    hand.move(HIGH, False)
    hand.move(POWER, True)
    posted.until_stands(POWER, True)
    assert len(posted.about(HIGH)) == 1


def test_a_lost_input_is_said_once_and_the_other_goes_on(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    hand.lose(HIGH)
    _, lost = posted.until(HIGH, 2)
    assert isinstance(lost, InputLost)
    assert lost.why
    for closed in (True, False, True):
        hand.move(POWER, closed)
        posted.until_stands(POWER, closed)
    assert len(posted.about(POWER)) == 4
    assert len(posted.about(HIGH)) == 2


def test_a_found_input_is_said_once_and_moves_again(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    hand.lose(HIGH)
    posted.until(HIGH, 2)
    hand.find(HIGH, True)
    said = posted.until_stands(HIGH, True)
    hand.move(HIGH, False)
    said = posted.until_stands(HIGH, False)
    assert isinstance(said[2], InputFound)
    assert [type(each) for each in said].count(InputFound) == 1
    later = [each.at for each in said if not isinstance(each, InputLost)]
    assert later == sorted(later)


def test_the_beat_goes_on_while_it_watches(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    assert hand.contacts.alive()
    first = hand.contacts.beat()
    end = boottime() + int(DEADLINE * 1e9)
    while hand.contacts.beat() <= first:
        assert boottime() < end, "the beat stands still"
    assert first <= hand.contacts.beat() <= boottime()


def test_the_beat_goes_on_while_an_input_is_lost(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    hand.lose(HIGH)
    posted.until(HIGH, 2)
    first = hand.contacts.beat()
    end = boottime() + int(DEADLINE * 1e9)
    while hand.contacts.beat() <= first:
        assert boottime() < end, "the beat stands still"


def test_nothing_is_said_after_stop(hand: Hand, posted: Posted) -> None:
    hand.contacts.start(posted)
    hand.contacts.stop()
    before = posted.all()
    hand.move(HIGH, True)
    assert posted.all() == before
    assert not hand.contacts.alive()
