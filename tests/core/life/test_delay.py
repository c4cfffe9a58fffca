"""On-delay and off-delay: what the standard says of them, and that no flutter starves the on-delay.

The standard's words were read in OPC 10000-9, annex B.1.5: on-delay = the condition must hold for
the whole delay before the alarm; off-delay = the alarm stays through short returns.
"""

from collections.abc import Callable

import pytest
from hypothesis import given, settings, strategies as st

from relayd.core.life import delay as delays
from relayd.core.plan import MINUTE, SECOND, seconds
from relayd.core.state import Delay, Signal
from tests.core.world import CIRCUIT, LEVEL, World, circuit_input, level_input, plan

ON, OFF = 10 * SECOND, 60 * SECOND
START = 1000 * SECOND
FILTER = 50_000_000
HOLD = 3 * SECOND


class Condition:
    """One condition's delays, moved through time deadline by deadline."""

    def __init__(self, on: int = ON, off: int = OFF, hold: int = 0) -> None:
        self.on, self.off, self.held, self.at = on, off, hold, START
        self.delay = Delay(at=START)
        self.turns: list[tuple[float, bool]] = []

    def hold(self, signal: Signal, length: float) -> "Condition":
        """That signal for so many seconds."""
        end = self.at + seconds(length)
        self._take(signal)
        while (due := delays.due(self.delay, self.on, self.off)) is not None and due <= end:
            before = self.delay.present
            assert due > self.at, "a deadline that does not lie ahead would spin"
            assert self._look(due - 1).present is before, "it changed before the time it had named"
            self.at = due
            self._take(signal)
            assert self.delay.present is not before, "it did not change at the time it had named"
        self.at = end
        self._take(signal)
        return self

    def _look(self, at: int) -> Delay:
        return delays.advance(self.delay, self.delay.signal, at, self.on, self.off, self.held)

    def _take(self, signal: Signal) -> None:
        before = self.delay.present
        self.delay = delays.advance(self.delay, signal, self.at, self.on, self.off, self.held)
        if self.delay.present is not before:
            self.turns.append(((self.at - START) / SECOND, self.delay.present))


YES, NO, KEEP = Signal.PRESENT, Signal.ABSENT, Signal.KEEP

# OPC 10000-9 B.1.5


@pytest.mark.parametrize(
    ("stands", "turns"),
    [
        pytest.param([(YES, 9.999)], [], id="not yet"),
        pytest.param([(YES, 10)], [(10, True)], id="the whole on-delay"),
        pytest.param([(YES, 5), (NO, 5)] * 40, [], id="half of the time, for ever"),
        pytest.param([(YES, 9), (NO, 10), (YES, 9), (NO, 100)], [], id="twice nine of ten"),
        pytest.param([(NO, 50), (YES, 10)], [(60, True)], id="counts from its own begin"),
        pytest.param([(YES, 20), (NO, 60)], [(10, True), (80, False)], id="the whole off-delay"),
        pytest.param([(YES, 20), (NO, 59.9), (YES, 1)], [(10, True)], id="a short return"),
        pytest.param(
            [(YES, 20), (NO, 59), (YES, 1), (NO, 60)],
            [(10, True), (140, False)],
            id="the off-delay starts anew after a short return",
        ),
    ],
)
def test_the_condition_stands(
    stands: list[tuple[Signal, float]], turns: list[tuple[float, bool]]
) -> None:
    """On-delay of OPC 10000-9 B.1.5 (Sources 1.2, read): it must hold for the whole delay."""
    condition = Condition()
    for signal, length in stands:
        condition.hold(signal, length)
    assert condition.turns == turns


@pytest.mark.parametrize(
    ("stands", "turns"),
    [
        pytest.param([(YES, 9), (KEEP, 60), (YES, 1)], [(70, True)], id="the on-delay waits"),
        pytest.param([(YES, 9), (KEEP, 60), (NO, 1), (YES, 9)], [], id="and is lost by a return"),
        pytest.param([(YES, 10), (KEEP, 9999)], [(10, True)], id="what stands stays"),
        pytest.param(
            [(YES, 10), (NO, 59), (KEEP, 9999)], [(10, True)], id="what was leaving stays"
        ),
        pytest.param([(KEEP, 9999)], [], id="what never was does not come"),
        pytest.param(
            [(YES, 10), (KEEP, 100), (NO, 60)], [(10, True), (170, False)], id="until it is told"
        ),
    ],
)
def test_where_nothing_is_known_the_condition_is_left_as_it_is(
    stands: list[tuple[Signal, float]], turns: list[tuple[float, bool]]
) -> None:
    condition = Condition()
    for signal, length in stands:
        condition.hold(signal, length)
    assert condition.turns == turns


@pytest.mark.parametrize(
    ("stands", "turns"),
    [
        pytest.param(
            [(YES, 4), (NO, 2.9), (YES, 5)], [(10, True)], id="a short gap counts as there"
        ),
        pytest.param([(YES, 4), (NO, 3), (YES, 9)], [], id="a gap of the hold is one"),
        pytest.param([(YES, 9), (NO, 2), (YES, 1)], [(11, True)], id="raised while it is there"),
        pytest.param([(YES, 9), (NO, 99)], [], id="a gap completes no on-delay"),
        pytest.param(
            [(YES, 8), (NO, 1), (KEEP, 99), (NO, 1), (YES, 1)], [(109, True)], id="not known waits"
        ),
        pytest.param(
            [(YES, 20), (NO, 60)], [(10, True), (80, False)], id="no part of the off-delay"
        ),
    ],
)
def test_a_gap_shorter_than_the_hold_starts_nothing_anew(
    stands: list[tuple[Signal, float]], turns: list[tuple[float, bool]]
) -> None:
    condition = Condition(hold=HOLD)
    for signal, length in stands:
        condition.hold(signal, length)
    assert condition.turns == turns


@pytest.mark.parametrize(("on", "off"), [(0, 0), (0, 60), (10, 0)], ids=lambda each: f"{each} s")
def test_a_delay_of_nothing_is_at_once(on: float, off: float) -> None:
    condition = Condition(seconds(on), seconds(off)).hold(YES, 100).hold(NO, 100)
    assert condition.turns == [(on, True), (100 + off, False)]


def test_a_late_look_finds_what_came_and_went_meanwhile() -> None:
    rising = delays.advance(Delay(at=START), YES, START, ON, OFF)
    late = delays.advance(rising, NO, START + MINUTE, ON, OFF)
    assert (late.present, late.leaving) == (True, START + MINUTE)
    over = delays.advance(late, NO, START + 10 * MINUTE, ON, OFF)
    assert over.present is False


def test_a_spell_that_ends_in_a_gap_raises_late_and_leaves_again() -> None:
    # 9 s present, 1 s absent, and nobody looks from second 58 on until minute five.
    condition = Condition()
    for _ in range(5):
        condition.hold(YES, 9).hold(NO, 1)
    condition.hold(YES, 8).hold(NO, 0.1)
    late = delays.advance(condition.delay, NO, START + 5 * MINUTE, ON, OFF)
    assert late.present is True
    assert late.leaving is not None
    assert late.leaving <= START + MINUTE
    assert delays.advance(late, NO, START + 5 * MINUTE, ON, OFF).present is False


def test_raised_at_once_whatever_the_delays_say() -> None:
    assert delays.raised(Delay(at=START), START + 1) == Delay(present=True, at=START + 1)


# The whole way through filter, release hold and delay


def bounded(on: float) -> float:
    """Within how many seconds of the first edge it must be raised."""
    return max(2 * on, 60)


def flutters(
    period: float, duty: float, limit: float, contact: str, condition: str, world: World
) -> float:
    """Seconds from the first edge to the alarm of a contact that flutters with that period."""
    world.run(5)
    began = world.up
    share = round(seconds(period) * duty)
    while world.up < began + seconds(limit) + seconds(period):
        for on, length in ((True, share), (False, seconds(period) - share)):
            world.alarm(contact, on)
            world.run_to(world.up + length)
            alarm = world.state.subjects["panel:cabin"].alarms.get(condition)
            if alarm is not None and alarm.raised is not None:
                return (alarm.raised.up - began) / SECOND
    return float("inf")


def level_alone(on: float) -> World:
    spec = level_input(on_delay=seconds(on))
    return World(plan(spec)).start()


def circuit_alone(on: float) -> World:
    spec = circuit_input(on_delay=seconds(on))
    return World(plan(spec)).start()


WAYS: dict[str, tuple[Callable[[float], World], str, str]] = {
    "high level": (level_alone, LEVEL, "high-level"),
    "alarm circuit": (circuit_alone, CIRCUIT, "alarm-power"),
}
PERIODS = [0.05, 0.11, 0.5, 1, 3, 6.1, 8, 10, 13, 13.9, 16, 19, 20, 25, 39, 60, 80, 119, 120]
DUTIES = [0.501, 0.52, 0.6, 0.75, 0.9, 0.99]


@pytest.mark.untraced
@pytest.mark.parametrize("on", [6, 10, 60], ids=lambda each: f"on-delay {each} s")
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("duty", DUTIES, ids=lambda each: f"duty {each}")
def test_what_is_there_for_more_than_half_of_the_time_is_raised(
    duty: float, way: str, on: float
) -> None:
    make, contact, condition = WAYS[way]
    late = {}
    for period in PERIODS:
        took = flutters(period, duty, bounded(on), contact, condition, make(on))
        if not took <= bounded(on):
            late[period] = took
    assert late == {}


@pytest.mark.untraced
@pytest.mark.slow
@settings(max_examples=150)
@given(
    period=st.floats(0.05, 120),
    duty=st.floats(0.501, 0.999),
    on=st.sampled_from([1, 5.5, 6, 10, 30, 60]),
    way=st.sampled_from(sorted(WAYS)),
)
def test_no_flutter_starves_the_alarm(period: float, duty: float, on: float, way: str) -> None:
    make, contact, condition = WAYS[way]
    took = flutters(period, duty, bounded(on), contact, condition, make(on))
    assert took <= bounded(on)


SELDOM = [
    (40, 0.24),
    (20, 0.45),
    (19, 0.49),
    (13, 0.49),
    (12, 0.45),
    (7, 0.49),
    (6.3, 0.49),
    (9, 0.15),
]


@pytest.mark.untraced
@pytest.mark.parametrize(("period", "duty"), SELDOM, ids=lambda each: str(each))
def test_what_is_there_for_less_than_half_of_the_time_is_never_raised(
    period: float, duty: float
) -> None:
    # No run as long as the on-delay, and gaps over the release hold.
    assert period * duty < 10
    assert period * (1 - duty) > 3.05
    assert flutters(period, duty, 3600, LEVEL, "high-level", level_alone(10)) == float("inf")


@pytest.mark.untraced
@pytest.mark.parametrize(
    ("period", "duty"),
    [(1, 0.49), (10, 0.49), (20, 0.3), (100, 0.49), (120, 0.49)],
    ids=lambda each: str(each),
)
def test_a_supply_that_fails_for_less_than_half_of_the_time_is_never_lost(
    period: float, duty: float
) -> None:
    lost = flutters(period, duty, 3600, CIRCUIT, "alarm-power", circuit_alone(60))
    assert lost == float("inf")


@pytest.mark.untraced
@settings(max_examples=60)
@given(run=st.floats(0.06, 59), gap=st.floats(3.1, 200), on=st.sampled_from([10, 20, 60]))
def test_no_seldom_flutter_is_an_alarm(run: float, gap: float, on: float) -> None:
    run = min(run, on - 0.1)
    period = run + max(gap, run + 0.001)
    took = flutters(period, run / period, 20 * period, LEVEL, "high-level", level_alone(on))
    assert took == float("inf")


def test_the_on_delay_counts_from_the_end_of_the_filter() -> None:
    world = level_alone(10).run(5)
    began = world.up
    world.alarm(LEVEL)
    world.run(30)
    raised = world.state.subjects["panel:cabin"].alarms["high-level"].raised
    assert raised is not None
    assert raised.up - began == FILTER + 10 * SECOND


def test_short_returns_end_no_alarm_and_a_whole_off_delay_does() -> None:
    """Off-delay of OPC 10000-9 B.1.5 (Sources 1.2, read): in alarm through short returns."""
    world = World(plan()).start().run(5)
    world.alarm(LEVEL)
    world.run(20)
    for _ in range(30):
        world.alarm(LEVEL, False)
        world.run(62)  # less than hold and off-delay together
        world.alarm(LEVEL)
        world.run(1)
        assert world.process("high-level") == "UNACK"
    world.alarm(LEVEL, False)
    went = world.up
    world.run(120)
    returned = world.state.subjects["panel:cabin"].alarms["high-level"].returned
    assert returned is not None
    assert returned.up - went == FILTER + HOLD + OFF


@pytest.mark.untraced
@pytest.mark.slow
@pytest.mark.parametrize(
    ("close", "opens"), [(1, 50), (50, 200), (200, 200), (500, 1000), (1000, 1000)]
)
def test_no_filter_times_that_a_plan_permits_starve_the_alarm(close: int, opens: int) -> None:
    """The loader refuses a way to the alarm that is slower than the way back: 200/50 ms would starve."""
    for period in (0.05, 0.1, 0.2, 0.4, 1, 2, 5, 13, 40, 119):
        for duty in (0.501, 0.51, 0.55, 0.7, 0.9):
            spec = level_input(close_time=close * 1_000_000, open_time=opens * 1_000_000)
            took = flutters(period, duty, 60, LEVEL, "high-level", World(plan(spec)).start())
            assert took <= 60, f"period {period} s, duty {duty}"
