"""How urgent each condition is and how long it must last: the trade's defaults, written out again.

Common practice, no source; a plan changes those of its own inputs.
"""

import pytest

from relayd.core.conditions import CHARACTERS, delays, release_hold
from relayd.core.plan import Panel, seconds
from tests.core.world import circuit_input, level_input, plan, pump_input

DEFAULTS = [
    # condition, priority, on-delay, off-delay (s)
    ("high-level", "high", 10, 60),
    ("alarm-power", "high", 60, 30),
    ("pump-power", "high", 60, 30),
    ("input-lost", "high", 30, 30),
    ("journal-late", "medium", 0, 60),
    ("sender-down", "high", 20, 5),
    ("mqtt-down", "medium", 300, 5),
    ("plan-refused", "medium", 0, 0),
    ("fault-in-relayd", "high", 0, 3600),
    ("channel-failing", "medium", 60, 0),
]


def cabin() -> Panel:
    inputs = (level_input(), circuit_input(), pump_input())
    return plan(*inputs).panels["cabin"]


@pytest.mark.parametrize(
    ("condition", "priority", "on", "off"), DEFAULTS, ids=lambda each: str(each)
)
def test_a_condition_has_its_priority_and_its_delays(
    condition: str, priority: str, on: float, off: float
) -> None:
    assert CHARACTERS[condition].priority.value == priority
    assert delays(None, condition, False) == (seconds(on), seconds(off))
    assert delays(cabin(), condition, False) == (seconds(on), seconds(off))


def test_every_condition_is_in_the_list() -> None:
    assert set(CHARACTERS) == {each[0] for each in DEFAULTS}


def test_an_input_s_own_delays_win() -> None:
    own = level_input(on_delay=seconds(6), off_delay=seconds(90))
    panel = plan(own).panels["cabin"]
    assert delays(panel, "high-level", False) == (seconds(6), seconds(90))


@pytest.mark.parametrize(("own", "during"), [(60, 15), (10, 10)], ids=["default", "shorter"])
def test_the_circuit_s_loss_is_told_sooner_while_high_level_stands(
    own: float, during: float
) -> None:
    panel = plan(level_input(), circuit_input(on_delay=seconds(own))).panels["cabin"]
    assert delays(panel, "alarm-power", True) == (seconds(during), seconds(30))
    assert delays(panel, "alarm-power", False) == (seconds(own), seconds(30))


def test_gaps_that_start_nothing_anew() -> None:
    panel = cabin()
    assert release_hold(panel, "high-level") == seconds(3)
    # Until a level contact is believed after a return, and the window before a loss.
    assert release_hold(panel, "alarm-power") == panel.settle_alarm + panel.window + seconds(1)
    assert release_hold(panel, "pump-power") == 0
    assert release_hold(None, "high-level") == 0
    assert release_hold(plan(circuit_input()).panels["cabin"], "alarm-power") == 0
