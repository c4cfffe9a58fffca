"""What a row may say on its evidence, and no more."""

import re

import pytest

from relayd.core.conditions import CHARACTERS
from relayd.core.sentences import LEVEL_NOW, LEVEL_ROWS, NAMES, POWER_ROWS, level
from relayd.core.state import Belief, Subject

DOUBT = re.compile(
    r"not known|cannot tell|no return to normal until|take (it|the level) as high|doubtful|believed"
)


def test_every_condition_has_a_name_that_fits_a_title() -> None:
    assert set(NAMES) == set(CHARACTERS)
    assert max(map(len, NAMES.values())) <= 30


@pytest.mark.parametrize("row", sorted(set(LEVEL_ROWS) - {"L1", "L2", "L10", "L14"}))
def test_a_row_without_proof_says_that_it_has_none(row: str) -> None:
    assert DOUBT.search(LEVEL_ROWS[row])


@pytest.mark.parametrize("row", ["L3", "L4", "L5", "L6", "L7", "L8", "L9", "L12", "L15"])
def test_no_row_without_proof_says_that_the_water_is_low(row: str) -> None:
    assert "below" not in LEVEL_ROWS[row]


@pytest.mark.parametrize("row", ["L4", "L7", "L8", "L11", "L12", ""])
def test_a_level_that_is_not_known_is_not_called_high_on_a_screen(row: str) -> None:
    assert re.search(r"not known|not believed", level(Subject("panel:x", belief=Belief(row=row))))


def test_a_row_that_nobody_wrote_is_not_known() -> None:
    assert level(Subject("panel:x", belief=Belief(row="L99"))) == LEVEL_NOW[""]


@pytest.mark.parametrize("row", ["P4", "P5", "P6"])
def test_a_dead_alarm_circuit_says_what_is_dead_with_it(row: str) -> None:
    assert "Lamp, horn and alarm contact at the panel are dead." in POWER_ROWS[row]


@pytest.mark.parametrize("row", ["P2", "P5", "P6", "P8"])
def test_a_pump_that_may_not_start_lets_the_level_rise(row: str) -> None:
    assert "the level will rise" in POWER_ROWS[row]
