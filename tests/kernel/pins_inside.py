"""Real pins of a real kernel. Not collected by itself: test_kernel.py runs it inside the guest."""

import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from select import poll
from threading import Event as Flag

import gpiod
import pytest
from gpiozero import DigitalInputDevice
from gpiozero.exc import PinFixedPull, PinInvalidFunction

from relayd.clock import boottime
from relayd.core.diagnosis.facts import fact, taken_in
from relayd.core.events import EdgeSeen, Event, InputFound, InputLost, LevelRead, TimePassed
from relayd.core.plan import Input, Means, Position
from relayd.core.state import Fact, InputState
from relayd.pins.factory import ChipFactory
from relayd.pins.inputs import PinContacts
from relayd.rig import Line
from tests.contacts.harness import HIGH, POLL, POWER, Posted
from tests.kernel.inside import LABEL, Sim

MILLISECOND = 1_000_000
BOTH = gpiod.LineSettings(edge_detection=gpiod.line.Edge.BOTH)


@pytest.fixture
def sim() -> Iterator[Sim]:
    made = Sim()
    yield made
    made.close()


@pytest.fixture
def posted() -> Posted:
    return Posted()


class Watch:
    """Makes contacts on lines, and stops them at the end of the test whatever happens."""

    def __init__(self) -> None:
        self._made: list[PinContacts] = []

    def __call__(self, posted: Posted, *lines: Line, poll: int = POLL) -> PinContacts:
        contacts = PinContacts(lines, poll)
        self._made.append(contacts)
        contacts.start(posted)
        return contacts

    def stop(self) -> None:
        for contacts in self._made:
            contacts.stop()


@pytest.fixture
def watch(sim: Sim) -> Iterator[Watch]:
    made = Watch()
    yield made
    made.stop()


def test_a_busy_line_is_said_with_its_owner_and_the_others_work(
    sim: Sim, watch: Watch, posted: Posted
) -> None:
    with gpiod.request_lines(sim.path, {5: None}, consumer="heating"):
        watch(posted, Line(HIGH, LABEL, 5), Line(POWER, LABEL, 6))
        sim.move(6, True)
        assert posted.about(HIGH) == [InputLost(HIGH, f"line 5 of {LABEL} is used by heating")]
        posted.until_stands(POWER, False)
        assert [type(each) for each in posted.about(POWER)] == [LevelRead, EdgeSeen]
    posted.until_stands(HIGH, True)
    sim.move(5, True)
    sim.move(6, False)
    said = posted.until_stands(HIGH, False)
    assert [type(each) for each in said] == [InputLost, InputFound, EdgeSeen]
    posted.until_stands(POWER, True)
    watch.stop()
    with gpiod.Chip(sim.path) as chip:
        assert not any(chip.get_line_info(line).used for line in (5, 6))


def test_a_line_that_the_chip_has_not_is_said(sim: Sim, watch: Watch, posted: Posted) -> None:
    watch(posted, Line(HIGH, LABEL, 32), Line(POWER, LABEL, 31))
    why = f"line 32 does not exist: {LABEL} has 32 lines"
    assert posted.about(HIGH) == [InputLost(HIGH, why)]
    assert isinstance(posted.about(POWER)[0], LevelRead)


def test_a_chip_can_be_named_by_its_path(sim: Sim, watch: Watch, posted: Posted) -> None:
    watch(posted, Line(HIGH, sim.path, 3))
    sim.move(3, True)
    said = posted.until_stands(HIGH, False)
    assert [type(each) for each in said] == [LevelRead, EdgeSeen]


def test_two_chips_of_one_label_are_refused(sim: Sim, watch: Watch, posted: Posted) -> None:
    other = Sim("other", label=LABEL)
    watch(posted, Line(HIGH, LABEL, 3))
    (lost,) = posted.about(HIGH)
    assert isinstance(lost, InputLost)
    assert "have the same label" in lost.why
    other.close()
    said = posted.until_stands(HIGH, True)
    assert isinstance(said[1], InputFound)


@pytest.mark.parametrize(
    ("pull", "closed_when_low", "closed"),
    [("up", True, False), ("down", True, True), ("up", False, True), ("down", False, False)],
    ids=["up, closed when low", "down, closed when low", "up", "down"],
)
def test_the_pull_of_the_plan_is_given_to_the_kernel(
    sim: Sim, watch: Watch, posted: Posted, pull: str, closed_when_low: bool, closed: bool
) -> None:
    sim.move(4, pull == "down")
    watch(posted, Line(HIGH, LABEL, 4, closed_when_low, pull))
    (read,) = posted.about(HIGH)
    assert isinstance(read, LevelRead)
    assert read.closed is closed


def test_a_chip_that_vanishes_is_said_and_found_again(
    sim: Sim, watch: Watch, posted: Posted
) -> None:
    watch(posted, Line(HIGH, LABEL, 1), Line(POWER, LABEL, 2), poll=1_000 * MILLISECOND)
    gone = boottime()
    sim.remove()
    posted.until_said(InputLost, 2)
    said = boottime()
    back = boottime()
    sim.restore()
    posted.until_said(InputFound, 2)
    found = boottime()
    sim.move(1, True)
    edge = posted.until_stands(HIGH, False)[-1]
    assert isinstance(edge, EdgeSeen)
    assert [type(each) for each in posted.about(POWER)] == [LevelRead, InputLost, InputFound]
    print(f"\nchip gone: said after {(said - gone) / MILLISECOND:.1f} ms")
    print(f"chip back: said after {(found - back) / MILLISECOND:.1f} ms")


class Stalled(Posted):
    """Holds the watching thread at the first edge until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.held, self.go = Flag(), Flag()

    def __call__(self, event: Event) -> None:
        if isinstance(event, EdgeSeen) and not self.go.is_set():
            self.held.set()
            assert self.go.wait(30)
        super().__call__(event)


def test_edges_that_the_kernel_had_to_drop_are_counted_and_the_level_is_right(
    sim: Sim, watch: Watch
) -> None:
    posted = Stalled()
    watch(posted, Line(HIGH, LABEL, 1))
    sim.move(1, True)
    assert posted.held.wait(10)
    with gpiod.request_lines(sim.path, {2: BOTH}, event_buffer_size=4) as witness:
        for number in range(3000):
            sim.move(1, number % 2 == 1)
            # The next move only when the kernel has seen this one: two at once would merge.
            sim.move(2, number % 2 == 0)
            assert witness.wait_edge_events(10)
            witness.read_edge_events()
    sim.move(1, False)
    posted.go.set()
    watch.stop()
    edges = [each for each in posted.about(HIGH) if isinstance(each, EdgeSeen)]
    lost = sum(each.lost for each in edges)
    print(f"\n3002 moves: {len(edges)} edges told, {lost} said to be lost")
    assert lost > 1_000
    assert len(edges) + lost == 3_002
    assert edges[-1].closed


def test_a_stamp_is_close_to_the_move(sim: Sim, watch: Watch, posted: Posted) -> None:
    watch(posted, Line(HIGH, LABEL, 1))
    late = []
    for number in range(200):
        before = boottime()
        sim.move(1, number % 2 == 0)
        edge = posted.until(HIGH, number + 2)[-1]
        assert not isinstance(edge, InputLost)
        assert before <= edge.at <= boottime()
        late.append((edge.at - before) / MILLISECOND)
    late.sort()
    print(f"\nmove to stamp: p50 {late[100]:.2f} ms, p99 {late[198]:.2f} ms")


def _pulsed(sim: Sim, watch: Watch, posted: Posted) -> tuple[list[EdgeSeen | LevelRead], float]:
    """Three seconds of the half waves of 50 Hz mains on a pin, and the longest gap in them (ms)."""
    sim.move(2, True)
    watch(posted, Line(POWER, LABEL, 2))
    pause = Flag()
    for _ in range(150):
        for high, lasts in ((False, 0.009), (True, 0.011)):
            sim.move(2, high)
            pause.wait(lasts)
    turns = [each for each in posted.until(POWER, 301) if isinstance(each, EdgeSeen | LevelRead)]
    ends = [each.at for each in turns if each.closed]
    gaps = [after - before for before, after in pairwise(ends)]
    watch.stop()
    return turns, max(gaps) / MILLISECOND


def test_trade_1_4_a_supply_sensed_by_half_waves_reads_on_until_they_stay_away(
    sim: Sim, watch: Watch
) -> None:
    spec = Input(POWER, "north", Means.ALARM_POWER, Position.OPEN, exempt=True)
    spec = replace(spec, close_time=5 * MILLISECOND, open_time=200 * MILLISECOND)
    for _ in range(5):
        turns, longest = _pulsed(sim, watch, Posted())
        print(f"\nhalf waves: {len(turns) - 1} edges told, the longest gap {longest:.1f} ms")
        if longest < 150:  # else this machine stood still, and the supply was away indeed
            break
    assert longest < 150
    assert len(turns) == 301
    state, seen = InputState(), list[Fact]()
    for each in turns:
        state = taken_in(state, spec, each, each.at)
        seen.append(fact(state, spec).fact)
    assert set(seen[5:]) == {Fact.NORMAL}
    last = turns[-1].at
    for wait, then in ((150, Fact.NORMAL), (250, Fact.ALARM)):
        state = taken_in(state, spec, TimePassed(), last + wait * MILLISECOND)
        assert fact(state, spec).fact is then


class Blind(ChipFactory):
    """Believes that every line is free, as one may look that has another function."""

    def _is_free(self, chip: gpiod.Chip, line: int) -> bool:
        return True


def test_one_line_that_is_refused_does_not_cost_the_others(sim: Sim) -> None:
    with gpiod.request_lines(sim.path, {5: None}, consumer="heating"):
        factory = Blind(LABEL, {5: "none", 6: "none", 7: "none"})
        sim.move(7, True)
        assert factory.lost == {5: f"line 5 of {LABEL}: Device or resource busy"}
        assert [factory.level(line) for line in (6, 7)] == [0, 1]
        factory.close()


def test_a_chip_that_may_not_be_opened_is_said_to_be_so(sim: Sim) -> None:
    os.seteuid(65_534)
    try:
        factory = ChipFactory(LABEL, {1: "none"})
    finally:
        os.seteuid(0)
    assert factory.lost == {1: f"line 1 of {LABEL}: no permission to open {sim.path}"}


def test_any_gpiozero_input_works_on_the_factory(sim: Sim) -> None:
    with ChipFactory(LABEL, {7: "none"}) as factory:
        device = DigitalInputDevice("GPIO7", pull_up=None, active_state=True, pin_factory=factory)
        told: list[bool] = []
        device.when_activated = lambda: told.append(True)
        sim.move(7, True)
        poller = poll()
        poller.register(*factory.fds())
        assert poller.poll(5_000)
        factory.dispatch()
        assert told == [True]
        assert device.value == 1
        assert device.active_time is not None
        with pytest.raises(PinFixedPull):
            device.pin.pull = "up"
        with pytest.raises(PinInvalidFunction):
            device.pin.function = "output"
        device.close()
