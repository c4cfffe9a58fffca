"""The words of the pump table's rows."""

import pytest

from relayd.core.diagnosis.pump_rows import SAYS, in_order, said, split


@pytest.mark.parametrize("row", SAYS)
def test_every_row_is_said_of_the_pump_and_of_pump_2(row: str) -> None:
    assert "{" not in said(row)
    assert said(f"{row}-2").endswith(".")
    assert split(f"{row}-2") == (row, 2)


def test_a_row_of_another_table_is_not_said_here() -> None:
    assert said("L1") == ""


def test_notes_are_said_by_row_and_then_by_pump() -> None:
    found = ["R5-2", "R7", "R3-2", "R1-off-1", "R3-1"]
    assert in_order(found) == ("R1-off-1", "R3-1", "R3-2", "R5-2", "R7")


def test_the_number_of_the_pump_is_said() -> None:
    assert said("R9-2").startswith("Pump 2 takes current")
    assert said("R9").startswith("The pump takes current")
