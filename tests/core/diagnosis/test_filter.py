"""The bounce filter against pulses, chatter, and an integrator of its own that counts milliseconds; the hold."""

from collections.abc import Iterable
from dataclasses import dataclass

import pytest
from hypothesis import given, settings, strategies as st

from relayd.core.diagnosis import filter as flt
from relayd.core.plan import HOUR, SECOND
from relayd.core.state import Filter

MS = 1_000_000
START = 7 * SECOND
Runs = list[tuple[bool, int]]
"""(raw level, for how many ms), one after another."""


@dataclass
class Contact:
    """A contact behind a filter, settled open, whose turns are noted in ms since it settled."""

    close: int = 50
    open: int = 50

    def __post_init__(self) -> None:
        self.flt = flt.started(False, START, self.close * MS, self.open * MS)
        self.zero = self.flt.settles
        self.at = self.zero
        self.flt = self._advance(None)
        self.turns: list[tuple[float, bool]] = []

    def _advance(self, raw: bool | None) -> Filter:
        return flt.advance(self.flt, raw, self.at, self.close * MS, self.open * MS)

    def hold(self, raw: bool, length: int) -> None:
        """Stand at `raw` for that many ns; every deadline on the way is met at its very time."""
        self.flt = self._advance(raw)
        end = self.at + length
        while (due := flt.due(self.flt, self.close * MS, self.open * MS)) is not None:
            if due > end:
                break
            before = self.flt.closed
            early = flt.advance(self.flt, None, due - 1, self.close * MS, self.open * MS)
            assert early.closed is before, "it turned before the time it had named"
            self.at, self.flt = (
                due,
                flt.advance(self.flt, None, due, self.close * MS, self.open * MS),
            )
            assert self.flt.closed is not before, "it did not turn at the time it had named"
            self.turns.append(((due - self.zero) / MS, bool(self.flt.closed)))
        self.at = end
        self.flt = self._advance(None)

    def follow(self, runs: Iterable[tuple[bool, int]]) -> "Contact":
        """Go through runs given in ms."""
        for raw, length in runs:
            self.hold(raw, length * MS)
        return self


def chatter(period: int, closed: int, whole: int) -> Runs:
    """`whole` ms of a contact that is closed for `closed` ms of every `period` ms."""
    return [(True, closed), (False, period - closed)] * (whole // period)


# Chatter


def test_chatter_at_20_hz_and_60_percent_passes_within_a_fifth_of_a_second() -> None:
    contact = Contact().follow(chatter(50, 30, 10_000))
    # 30 ms in, 20 ms out: 10, 20, and full at the end of the third closing.
    assert contact.turns == [(130.0, True)]


@pytest.mark.untraced
@pytest.mark.slow
def test_chatter_at_20_hz_and_40_percent_never_passes_in_an_hour() -> None:
    assert Contact().follow(chatter(50, 20, HOUR // MS)).turns == []


@pytest.mark.parametrize(
    ("close", "open_", "period", "closed"),
    [
        pytest.param(200, 50, 20, 14, id="close 200 ms, open 50 ms, 50 Hz"),
        pytest.param(200, 50, 50, 35, id="close 200 ms, open 50 ms, 20 Hz"),
        pytest.param(200, 50, 100, 70, id="close 200 ms, open 50 ms, 10 Hz"),
        pytest.param(50, 200, 50, 35, id="close 50 ms, open 200 ms, 20 Hz"),
        pytest.param(1000, 50, 50, 35, id="close 1 s, open 50 ms, 20 Hz"),
    ],
)
def test_chatter_at_70_percent_passes_unlike_times(
    close: int, open_: int, period: int, closed: int
) -> None:
    contact = Contact(close, open_).follow(chatter(period, closed, 30_000))
    passed = contact.turns[0]
    gain = 2 * closed - period
    assert passed[1] is True
    assert passed[0] <= (close / gain + 1) * period
    assert len(contact.turns) == 1, "it stays closed, since no gap empties it"


@pytest.mark.parametrize("closed", [51, 52, 55, 60, 75, 99], ids=lambda each: f"{each} percent")
@pytest.mark.parametrize(
    "period", [2, 3, 10, 50, 100, 400, 2000], ids=lambda each: f"period {each} ms"
)
def test_what_is_closed_for_more_than_half_of_the_time_passes_within_20_s(
    period: int, closed: int
) -> None:
    contact = Contact()
    share = period * MS * closed // 100
    for _ in range(21_000 // period + 1):
        contact.hold(True, share)
        contact.hold(False, period * MS - share)
    assert contact.turns[0][1] is True
    assert contact.turns[0][0] <= 20_000


def test_what_barely_leans_to_closed_turns_after_exactly_20_s() -> None:
    contact = Contact()
    for _ in range(2_000):
        contact.hold(True, 10 * MS + 1000)
        contact.hold(False, 10 * MS)
    assert contact.turns == [(20_000.0, True)]


def test_what_barely_leans_to_open_turns_after_exactly_20_s() -> None:
    contact = Contact().follow([(True, 1000)])
    contact.turns.clear()
    for _ in range(2_000):
        contact.hold(False, 10 * MS + 1000)
        contact.hold(True, 10 * MS)
    assert contact.turns == [(21_000.0, False)]


# Pulses


@pytest.mark.parametrize("pulse", [1, 10, 20, 30, 40, 48, 49], ids=lambda each: f"{each} ms")
def test_a_single_pulse_shorter_than_the_close_time_never_passes(pulse: int) -> None:
    assert Contact().follow([(True, pulse), (False, 60_000)]).turns == []


@pytest.mark.parametrize("pulse", range(1, 50), ids=lambda each: f"{each} ms")
def test_pulses_in_train_with_gaps_as_long_never_pass(pulse: int) -> None:
    train = chatter(2 * pulse, pulse, 20_000)
    assert Contact().follow(train).turns == []


@pytest.mark.parametrize("pulse", [1, 25, 49], ids=lambda each: f"{each} ms")
def test_a_closed_contact_does_not_open_for_pulses_either(pulse: int) -> None:
    contact = Contact().follow([(True, 200), *[(False, pulse), (True, pulse)] * 500])
    assert contact.turns == [(50.0, True)]


@given(st.lists(st.tuples(st.integers(1, 49), st.integers(0, 40)), max_size=60))
def test_no_train_of_short_pulses_with_gaps_at_least_as_long_passes(
    pulses: list[tuple[int, int]],
) -> None:
    runs = [run for pulse, more in pulses for run in ((True, pulse), (False, pulse + more))]
    assert Contact().follow(runs).turns == []


def test_a_pulse_of_the_close_time_passes_at_its_end() -> None:
    assert Contact().follow([(True, 50), (False, 1000)]).turns == [(50.0, True), (100.0, False)]


# Edges and the start


def test_the_first_edge_of_a_move_is_kept_and_bounces_do_not_move_it() -> None:
    contact = Contact().follow([(False, 500), (True, 20), (False, 10), (True, 200)])
    assert (contact.flt.began - contact.zero) / MS == 500
    assert (contact.flt.changed - contact.zero) / MS == 570


def test_a_pulse_that_was_forgotten_is_not_the_first_edge_of_the_next_move() -> None:
    contact = Contact().follow([(True, 10), (False, 10), (False, 300), (True, 100)])
    assert (contact.flt.began - contact.zero) / MS == 320


@pytest.mark.parametrize("raw", [False, True], ids=["open", "closed"])
def test_the_value_is_not_known_until_it_has_settled(raw: bool) -> None:
    fresh = flt.started(raw, START, 50 * MS, 50 * MS)
    due = flt.due(fresh, 50 * MS, 50 * MS)
    assert fresh.closed is None
    assert due == START + (50 if raw else 100) * MS
    assert flt.advance(fresh, None, due - 1, 50 * MS, 50 * MS).closed is None
    assert flt.advance(fresh, None, due, 50 * MS, 50 * MS).closed is raw


def test_a_contact_that_rests_has_nothing_due() -> None:
    assert flt.due(Contact().flt, 50 * MS, 50 * MS) is None


def test_an_edge_older_than_the_filter_counts_as_its_own_time() -> None:
    contact = Contact()
    late = flt.advance(contact.flt, True, contact.zero - 3 * SECOND, 50 * MS, 50 * MS)
    assert flt.due(late, 50 * MS, 50 * MS) == contact.zero + 50 * MS


def test_one_late_look_sees_what_many_looks_in_time_saw() -> None:
    contact = Contact()
    closing = flt.advance(contact.flt, True, contact.zero, 50 * MS, 50 * MS)
    late = flt.advance(closing, False, contact.zero + 80 * MS, 50 * MS, 50 * MS)
    later = flt.advance(late, None, contact.zero + 900 * MS, 50 * MS, 50 * MS)
    assert (later.closed, later.changed - contact.zero) == (False, 130 * MS)


# Against an integrator that was written here, one millisecond at a time


def counted(runs: Runs, close: int, open_: int) -> list[tuple[int, bool]]:
    """The turns in ms: up by one while closed, down by one while open, turn at full and at empty.

    A charge that was not at rest for 20,000 steps on end turns the value as well.
    """
    full, value, charge, away, now = close, False, 0, 0, 0
    turns: list[tuple[int, bool]] = []
    for raw, length in runs:
        for _ in range(length):
            now += 1
            charge = min(full, charge + 1) if raw else max(0, charge - 1)
            rest = open_ if value else 0
            away = away + 1 if charge != rest else 0
            if charge == (0 if value else close) or away == 20_000:
                value = not value
                full, charge, away = (open_, open_, 0) if value else (close, 0, 0)
                turns.append((now, value))
    return turns


lengths = st.one_of(st.integers(1, 60), st.integers(1, 400))
bursts = st.tuples(st.integers(1, 60), st.integers(1, 60), st.integers(1, 600))


@st.composite
def movements(draw: st.DrawFn) -> Runs:
    """Single stands and long chatter, in any order."""
    runs: Runs = []
    for _ in range(draw(st.integers(1, 5))):
        if draw(st.booleans()):
            runs.append((draw(st.booleans()), draw(lengths)))
        else:
            on, off, times = draw(bursts)
            runs += [(True, on), (False, off)] * times
    return runs


@pytest.mark.untraced
@pytest.mark.slow
@settings(max_examples=100)
@given(movements(), st.integers(1, 250), st.integers(1, 250))
def test_the_value_turns_when_and_only_when_the_counted_charge_says_so(
    runs: Runs, close: int, open_: int
) -> None:
    assert Contact(close, open_).follow(runs).turns == counted(runs, close, open_)


@pytest.mark.parametrize(
    ("on", "off", "times", "at"),
    [
        pytest.param(11, 10, 3000, 830, id="gains a millisecond a period"),
        pytest.param(1, 1, 20_000, None, id="gains nothing: back at rest each time"),
        pytest.param(20, 21, 2000, None, id="loses"),
    ],
)
def test_the_counter_agrees_on_long_chatter(on: int, off: int, times: int, at: int | None) -> None:
    runs = [(True, on), (False, off)] * times
    seen = Contact().follow(runs).turns
    assert seen == counted(runs, 50, 50)
    # 39 periods leave 39, and the 40th closing fills it: 39 x 21 + 11.
    assert (seen[0][0] if seen else None) == at


def test_a_charge_away_from_rest_for_20_s_turns_in_both_reckonings() -> None:
    # Up by 100, then level for good: never full (250), never empty.
    runs: Runs = [(True, 100), *[(False, 5), (True, 5)] * 2500]
    assert counted(runs, 250, 250)[0] == (20_000, True)
    assert Contact(250, 250).follow(runs).turns == counted(runs, 250, 250)


# Contacts that pulse by nature: a hold that each pulse begins anew

MAINS, HORN = (5 * MS, 200 * MS), (50 * MS, 3 * SECOND)
Times = tuple[int, int]
"""(close time, open time) in ns."""
Stands = list[tuple[bool, int]]
"""(raw level, for how many ns), one after another."""


@dataclass
class Pulsing:
    """A pulsing contact behind its hold, fresh at `START`; each turn is noted: (ns since then, value)."""

    times: Times
    raw: bool = False

    def __post_init__(self) -> None:
        self.flt = flt.started(self.raw, START, *self.times)
        self.at = START
        self.turns: list[tuple[int, bool | None]] = []

    def follow(self, stands: Iterable[tuple[bool, int]]) -> "Pulsing":
        """Stand so, one after another; every deadline on the way is met at its very time."""
        for raw, length in stands:
            self._look(raw)
            end = self.at + length
            while (due := flt.due_pulses(self.flt, *self.times)) is not None and due <= end:
                assert due > self.at, "it would spin"
                before = self.flt
                assert (
                    flt.advance_pulses(before, None, due - 1, *self.times).closed is before.closed
                )
                self.at = due
                self._look(None)
                assert self.flt.closed is not before.closed, "it did not turn when it had said"
            self.at = end
            self._look(None)
        return self

    def _look(self, raw: bool | None) -> None:
        before = self.flt.closed
        self.flt = flt.advance_pulses(self.flt, raw, self.at, *self.times)
        if self.flt.closed is not before:
            self.turns.append((self.flt.changed - START, self.flt.closed))


def waves(cycle: int, share: float, whole: int) -> Stands:
    """`whole` ns of a contact that is closed for `share` of every `cycle` ns."""
    closed = round(cycle * share)
    return [(True, closed), (False, cycle - closed)] * (whole // cycle)


MAINS_WAVES = [
    pytest.param(SECOND // 60, 0.45, id="60 Hz, half wave, 45 percent"),
    pytest.param(SECOND // 50, 0.45, id="50 Hz, half wave, 45 percent"),
    pytest.param(SECOND // 60, 0.31, id="60 Hz, half wave, low voltage"),
    pytest.param(SECOND // 120, 0.7, id="60 Hz, full wave"),
    pytest.param(SECOND // 100, 0.7, id="50 Hz, full wave"),
]


@pytest.mark.parametrize(("cycle", "share"), MAINS_WAVES)
def test_trade_1_4_mains_that_pulse_are_present_without_a_blip_and_lost_within_a_quarter_second(
    cycle: int, share: float
) -> None:
    supply = Pulsing(MAINS).follow(waves(cycle, share, 5 * SECOND))
    assert supply.turns == [(5 * MS, True)]
    # The half wave closes it for 7.5 ms of a cycle (Trade 1.4, calc); then the supply is lost.
    gone = supply.at
    supply.follow([(False, SECOND)])
    turned, value = supply.turns[-1]
    assert value is False
    assert turned + START - gone <= 200 * MS + 50 * MS


def test_trade_1_4_half_wave_mains_never_pass_the_integrator() -> None:
    # 'Fills a 50 ms filter to 8 ms at most': never closed, which is why there is a hold.
    contact = Contact()
    for raw, length in waves(SECOND // 60, 0.45, 5 * SECOND):
        contact.hold(raw, length)
        assert contact.flt.charge <= 8 * MS
    assert contact.turns == []


def test_a_horn_that_pulses_once_a_second_for_a_tenth_of_it_is_one_sound() -> None:
    horn = Pulsing(HORN).follow([(False, 10 * SECOND), *waves(SECOND, 0.1, 60 * SECOND)])
    settled = 3_050 * MS
    assert horn.turns == [(settled, False), (10_050 * MS, True)]
    assert horn.flt.began == START + 10 * SECOND, "the sound began with its first pulse"
    horn.follow([(False, 5 * SECOND)])
    # The last pulse ended 900 ms before the last second was over.
    last = START + 69_100 * MS
    assert (horn.flt.closed, horn.flt.began, horn.flt.changed) == (False, last, last + 3 * SECOND)


def test_what_is_shorter_than_the_least_pulse_neither_begins_nor_holds() -> None:
    spikes: Stands = [(True, 4 * MS), (False, 12 * MS)] * 500
    assert Pulsing(MAINS).follow(spikes).turns[-1][1] is False
    supply = Pulsing(MAINS).follow([(True, SECOND), *spikes])
    # The pulse ended at 1,000 ms; the spikes hold it up by no more than one of them.
    assert [value for _, value in supply.turns] == [True, False]
    assert supply.turns[-1][0] <= SECOND + 200 * MS + 4 * MS


def test_a_pulse_that_is_under_way_when_the_hold_ends_is_waited_for() -> None:
    supply = Pulsing(MAINS).follow([(True, 10 * MS), (False, 198 * MS), (True, 6 * MS)])
    assert supply.turns == [(5 * MS, True)]
    supply.follow([(False, 198 * MS), (True, 3 * MS), (False, 10 * MS)])
    assert supply.turns[-1] == ((10 + 198 + 6 + 198 + 3) * MS, False)


def test_a_steady_contact_is_present_and_has_nothing_due() -> None:
    supply = Pulsing(MAINS, raw=True).follow([(True, HOUR)])
    assert supply.turns == [(5 * MS, True)]
    assert flt.due_pulses(supply.flt, *MAINS) is None


def test_where_the_close_time_is_the_longer_the_pulses_open_the_contact() -> None:
    turned = (200 * MS, 5 * MS)
    contact = Pulsing(turned, raw=True).follow(
        [(not raw, length) for raw, length in waves(SECOND // 60, 0.45, 3 * SECOND)]
    )
    assert contact.turns == [(5 * MS, False)]
    contact.follow([(True, SECOND)])
    assert contact.turns[-1][1] is True


stands = st.lists(
    st.tuples(st.booleans(), st.integers(1, 40).map(lambda each: each * MS)), max_size=40
)
some_times = st.sampled_from([MAINS, HORN, (200 * MS, 5 * MS), (50 * MS, 50 * MS)])


@given(stands, some_times, st.booleans())
def test_a_pulsing_contact_always_settles_where_it_stays(
    runs: Stands, times: Times, last: bool
) -> None:
    contact = Pulsing(times).follow(runs).follow([(last, sum(times))])
    assert contact.flt.closed is last
    assert flt.due_pulses(contact.flt, *times) is None


@given(st.integers(1, 5000), st.integers(1, 5000), some_times, st.booleans())
def test_a_pulsing_contact_is_known_after_its_times_and_one_pulse_however_it_pulses(
    on: int, off: int, times: Times, raw: bool
) -> None:
    on, off = on * MS // 20, off * MS // 20
    train: Stands = [(raw, on), (not raw, off)] * (sum(times) // (on + off) + 2)
    assert Pulsing(times, raw).follow(train).flt.closed is not None


@given(stands, some_times)
def test_one_late_look_sees_what_the_looks_in_time_saw(runs: Stands, times: Times) -> None:
    often = Pulsing(times).follow(runs)
    late, at = flt.started(False, START, *times), START
    for raw, length in runs:
        late = flt.advance_pulses(late, raw, at, *times)
        at += length
    assert flt.advance_pulses(late, None, at, *times) == often.flt


@given(stands, some_times)
def test_the_value_is_the_pulses_side_while_a_whole_pulse_is_younger_than_the_hold(
    runs: Stands, times: Times
) -> None:
    contact, side = Pulsing(times), times[1] >= times[0]
    least, hold = min(times), max(times)
    begun: int | None = None
    whole: int | None = None
    for raw, length in runs:
        contact.follow([(raw, length)])
        if raw is side:
            begun = contact.at - length if begun is None else begun
            whole = contact.at if contact.at - begun >= least else whole
        else:
            begun = None
        if whole is not None and contact.at - whole < hold:
            assert contact.flt.closed is side
        elif raw is not side and contact.at >= contact.flt.settles:
            assert contact.flt.closed is (not side)
