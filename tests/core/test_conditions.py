"""How urgent each condition is and how long it must last: the trade's defaults, written out again.

Common practice, no source; a plan changes those of its own inputs.
"""

import pytest

from relayd.core.conditions import CHARACTERS, delays, release_hold
from relayd.core.plan import Panel, seconds
from tests.core.world import circuit_input, level_input, plan, pump_input

DEFAULTS = [
    # condition, priority, on-delay, off-delay, re-alarm (s); Trade 5's table, row by row
    ("high-level", "high", 10, 60, 3600),
    ("high-high-level", "high", 2, 60, 900),
    ("common-alarm", "high", 10, 60, 3600),
    ("alarm-power", "high", 60, 30, 14400),
    ("control-power", "high", 60, 30, 14400),
    ("pump-power", "high", 60, 30, 14400),
    ("site-outage", "medium", 300, 120, 43200),
    ("unit-power", "low", 300, 60, 86400),
    ("blind", "high", 30, 30, 43200),
    ("input-lost", "high", 30, 30, 43200),
    ("pump-no-current", "high", 10, 10, 14400),
    ("level-not-falling", "high", 600, 60, 14400),
    ("overload", "high", 5, 5, 86400),
    ("over-temperature", "medium", 5, 300, 86400),
    ("seal-leak", "low", 60, 600, 604800),
    ("low-level", "medium", 30, 60, 43200),
    ("redundant-off", "medium", 30, 60, 43200),
    ("run-too-long", "medium", 0, 10, 86400),
    ("starts-per-hour", "low", 0, 3600, 86400),
    ("no-pump-cycle", "low", 0, 0, 86400),
    ("in-hand", "medium", 900, 10, 1800),
    ("in-off", "medium", 1800, 10, 43200),
    ("panel-door", "record-only", 10, 10, 86400),
    ("tank-lid", "medium", 10, 10, 1800),
    ("air-supply", "low", 300, 300, 86400),
    # of the house: not in that table; common practice, no source
    ("not-in-auto", "medium", 900, 10, 1800),
    ("unstable-supply", "medium", 10, 600, 43200),
    ("alarm-left-off", "high", 0, 30, 14400),
    ("level-keeps-reaching", "medium", 0, 0, 86400),
    ("pump-not-seen", "medium", 0, 0, 86400),
    ("unwatched", "low", 0, 3600, 86400),
    ("pump-uncalled", "medium", 60, 10, 43200),
    ("pump-contradiction", "low", 60, 60, 86400),
    ("lag-called", "low", 10, 600, 86400),
    ("alternation-stopped", "low", 0, 0, 86400),
    ("phase-fault", "high", 30, 30, 14400),
    ("pump-fault", "high", 5, 5, 86400),
    ("horn-silent", "medium", 0, 0, 86400),
    ("silence-left-on", "low", 0, 0, 86400),
    ("other", "medium", 10, 60, 43200),
    ("unsettled", "medium", 0, 600, 43200),
    ("unit-silent", "medium", 0, 0, 43200),
    ("dead-man-url", "medium", 0, 0, 86400),
    ("copied-card", "high", 0, 0, 43200),
    ("unit-battery", "medium", 60, 60, 43200),
    ("under-voltage", "medium", 60, 3600, 86400),
    ("unit-hot", "medium", 60, 600, 86400),
    ("unit-disk", "medium", 60, 60, 86400),
    ("memory-low", "medium", 300, 300, 86400),
    ("clock-unset", "low", 3600, 60, 86400),
    ("loop-slow", "low", 60, 600, 86400),
    ("sense-lost", "low", 300, 300, 604800),
    ("wiring-fault", "high", 30, 30, 43200),
    ("journal-late", "medium", 0, 60, 86400),
    ("journal-damaged", "medium", 0, 0, 86400),
    ("sender-down", "high", 20, 5, 3600),
    ("mqtt-down", "medium", 300, 5, 86400),
    ("mailbox-down", "medium", 300, 5, 86400),
    ("answers-locked", "medium", 0, 5, 86400),
    ("plan-refused", "medium", 0, 0, 86400),
    ("fault-in-relayd", "high", 0, 3600, 3600),
    ("channel-failing", "medium", 60, 0, 86400),
]


def cabin() -> Panel:
    inputs = (level_input(), circuit_input(), pump_input())
    return plan(*inputs).panels["cabin"]


@pytest.mark.parametrize(
    ("condition", "priority", "on", "off", "again"), DEFAULTS, ids=lambda each: str(each)
)
def test_a_condition_has_its_priority_and_its_delays(
    condition: str, priority: str, on: float, off: float, again: float
) -> None:
    assert CHARACTERS[condition].priority.value == priority
    assert CHARACTERS[condition].realarm == seconds(again)
    if condition != "unstable-supply":
        assert delays(None, condition, False) == (seconds(on), seconds(off))
    assert delays(cabin(), condition, False) == (seconds(on), seconds(off))


def test_the_site_s_own_supply_is_told_before_any_panel_s() -> None:
    assert delays(None, "unstable-supply", False) == (seconds(2), seconds(600))


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
