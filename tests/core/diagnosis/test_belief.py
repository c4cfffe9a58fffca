"""The alarm circuit dies at second 0, the level contact moves from 10 s before to 10 s after it.

Every combination of declared properties, each contact as it may really behave. What must come of
it is worked out twice here: from the truth about the water, which relayd does not know, and from
the rules in words. The panel itself is in power_cut.py.
"""

from dataclasses import dataclass
from itertools import groupby

import pytest

from relayd.core.plan import Follows, Unpowered
from tests.core.belief_table import table
from tests.core.power_cut import (
    BACK,
    BOOT,
    END,
    WINDOW,
    Cause,
    Cut,
    Side,
    Story,
    cuts,
    told,
    wirings,
)

FILTER, HOLD, ON, OFF = 0.05, 3.0, 10.0, 60.0
SETTLE, SETTLE_ALARM = 60.0, 10.0
GROUPS = [
    pytest.param(list(group), id=f"{wiring}-{cause.value}")
    for wiring in wirings()
    for cause, group in groupby(cuts(wiring), key=lambda each: each.cause)
]


@dataclass
class Expected:
    """When high level is raised, by which row it is known half a minute on, when it may go."""

    raised: float | None
    row: str
    returned: float | None


def expected(cut: Cut) -> Expected:
    """The rules in words."""
    declared = cut.wiring.declared
    if declared == Side.HOLDS.value:
        return _needs_no_circuit(cut)
    if cut.wiring.wired:
        return _circuit_is_seen(cut, declared)
    return _circuit_is_not_seen(cut, declared)


def _needs_no_circuit(cut: Cut) -> Expected:
    # The contact tells of the water whatever the circuit does.
    if cut.cause in (Cause.RISES, Cause.TAP):
        return Expected(cut.edge + FILTER + ON, "L1", None)
    if cut.cause is Cause.FALLS and cut.wiring.follows is Follows.LATCHED:
        return Expected(None, "L1", None)
    if cut.cause is Cause.FALLS and cut.wiring.follows_water:
        return Expected(None, "L2", cut.edge + FILTER + HOLD + OFF)
    return Expected(None, "L3", None)


def _circuit_is_seen(cut: Cut, declared: str) -> Expected:
    believed_again = BACK + FILTER + SETTLE_ALARM + ON
    if cut.high_first:
        # High before the loss: held, whatever the contact does, until the water is seen to be low.
        seen_low = cut.cause is Cause.FALLS and cut.wiring.follows_water
        return Expected(None, "L5", BACK + FILTER + SETTLE + OFF if seen_low else None)
    if cut.cause is Cause.DROPS:
        return Expected(None, "L7" if cut.edge > WINDOW else "L4", None)
    lives = cut.edge < 0 or cut.cause is Cause.TAP
    if not lives:
        # The relay is dead: it tells nothing of the water, and is not asked.
        return Expected(believed_again, "L4" if cut.wiring.really is Side.ALARM else "L8", None)
    if cut.edge < -WINDOW:
        return Expected(cut.edge + FILTER + ON, "L5", None)
    if declared == Side.NORMAL.value:
        # No loss of power moves this contact to its alarm side: it was the water.
        return Expected(cut.edge + FILTER + ON, "L6" if cut.edge > 0 else "L5", None)
    released = cut.wiring.really is Side.NORMAL and cut.cause is Cause.RISES
    doubt = "L8" if released else "L7" if cut.edge > WINDOW else "L4"
    return Expected(believed_again, doubt, None)


def _circuit_is_not_seen(cut: Cut, declared: str) -> Expected:
    dead_in_alarm = cut.wiring.really is Side.ALARM
    cannot_tell = "L10" if declared == Side.NORMAL.value else "L9"
    if cut.high_first:
        if not dead_in_alarm:
            return Expected(None, "L15", None)
        low = cut.cause is Cause.FALLS and cut.wiring.follows_water and declared == Side.ALARM.value
        return Expected(None, cannot_tell, BACK + BOOT + FILTER + HOLD + OFF if low else None)
    if cut.cause is Cause.DROPS:
        # It may be high water: said, with 'or loss of the circuit', until the contact has gone back.
        back = BACK + BOOT + FILTER + HOLD + OFF
        proves = cut.wiring.follows_water and declared == Side.ALARM.value
        return Expected(cut.edge + FILTER + ON, cannot_tell, back if proves else None)
    if dead_in_alarm:
        return Expected(min(cut.edge, 0) + FILTER + ON, cannot_tell, None)
    if -cut.edge >= ON:
        return Expected(cut.edge + FILTER + ON, "L15", None)
    return Expected(BACK + BOOT + FILTER + ON, "L14", None)


def nearly(at: float | None) -> object:
    """That second, to the microsecond; None is None."""
    return None if at is None else pytest.approx(at, abs=1e-6)


@pytest.mark.untraced
@pytest.mark.parametrize("group", GROUPS)
def test_the_circuit_dies_and_the_contact_moves(group: list[Cut]) -> None:
    """Trade 1.1, 1.2, 1.10: each wiring, each cause, edges from 10 s before to 10 s after the loss."""
    for cut in group:
        story = told(cut)
        _by_the_rules(cut, story)
        _by_the_truth(cut, story)


def _by_the_rules(cut: Cut, story: Story) -> None:
    wanted = expected(cut)
    raised = [at for at, _ in story.raised]
    first = -110.0 + FILTER if cut.high_first else wanted.raised
    assert raised == ([] if first is None else [nearly(first)]), f"{cut}: raised {story.raised}"
    assert story.rows[30.0] == wanted.row, f"{cut}: known by another row"
    gone = [at for at, _ in story.returned]
    assert gone == ([] if wanted.returned is None else [nearly(wanted.returned)]), (
        f"{cut}: returned"
    )
    assert story.circuit == _loss_is_told(cut, first), f"{cut}: loss of the circuit"


def _loss_is_told(cut: Cut, high: float | None) -> list[object]:
    """The loss of a circuit that is seen is an alarm of its own: after 60 s, in an alarm after 15."""
    if not cut.wiring.wired:
        return []
    stands = high is not None and high < 60
    return [nearly(max(15.0 + FILTER, high or 0) if stands else 60.0 + FILTER)]


def _by_the_truth(cut: Cut, story: Story) -> None:
    _never_false(cut, story)
    _never_hidden(cut, story)
    _no_return_without_evidence(cut, story)


def _never_false(cut: Cut, story: Story) -> None:
    for at, row in story.raised:
        was_high = cut.high_first or any(cut.high(each / 2) for each in range(-40, int(at * 2)))
        assert was_high or row in ("L6", "L9"), f"{cut}: raised at {at} by {row}, never was high"


def _never_hidden(cut: Cut, story: Story) -> None:
    if cut.high_first:
        assert story.stands(-20)
    elif cut.cause is Cause.RISES and not cut.dead(cut.edge):
        seen = cut.wiring.really is Side.HOLDS or cut.edge <= -(ON + FILTER)
        before = cut.edge < -WINDOW and cut.wiring.wired
        if seen or before:
            assert story.stands(cut.edge + ON + FILTER + 0.01), f"{cut}: hidden"
    if cut.high(END):
        assert story.stands(END), f"{cut}: hidden after the circuit lived again"


def _no_return_without_evidence(cut: Cut, story: Story) -> None:
    for at, _ in story.returned:
        assert not cut.high(at), f"{cut}: stood down at {at} with high water"
        assert not any(cut.in_alarm(at - half / 2) for half in range(int(OFF * 2))), f"{cut}"
        assert cut.wiring.follows_water, f"{cut}: nothing proves that the water fell"
        alive = cut.wiring.really is Side.HOLDS or not 0 <= at < BACK + OFF
        assert alive, f"{cut}: stood down at {at} on the word of a dead contact"


def test_every_combination_is_there() -> None:
    seen = {(w.in_alarm, w.unpowered, w.follows, w.wired) for w in wirings()}
    assert len(seen) == 2 * 4 * 5 * 2
    assert {w.really for w in wirings() if w.unpowered is Unpowered.UNKNOWN} == {
        Side.ALARM,
        Side.NORMAL,
    }


@pytest.mark.untraced
def test_the_table_for_readers_is_what_was_played() -> None:
    lines = table()
    assert lines[0].startswith("| without power | circuit |")
    assert {line.count("|") for line in lines} == {10}
    rows = ("L1", "L2", "L3", "L4", "L5", "L6", "L7", "L8", "L9", "L10", "L14", "L15")
    assert [row for row in rows if not any(f"| {row} |" in line for line in lines)] == []
    silent = [line for line in lines if Cause.DROPS.value in line and "| wired" in line]
    assert silent
    assert all("| never | never | 60.05 |" in line for line in silent)
