"""The plan's own small answers."""

from dataclasses import replace

import pytest

from relayd.core.conditions import HIGH_LEVEL, of_panel
from relayd.core.plan import Input, Means, Plan, seconds
from tests.core.build import contact, panel
from tests.core.world import CIRCUIT, LEVEL, circuit_input, level_input, plan


@pytest.mark.parametrize(
    ("value", "ns"),
    [
        (0, 0),
        (1, 1_000_000_000),
        (0.05, 50_000_000),
        (1e-6, 1000),
        (1e-7, 0),
        (86400.5, 86_400_500_000_000),
    ],
)
def test_seconds_are_whole_microseconds(value: float, ns: int) -> None:
    assert seconds(value) == ns


@pytest.mark.parametrize(
    ("name", "found"),
    [
        (LEVEL, True),
        (CIRCUIT, True),
        ("cabin.pump-power", False),
        ("barn.high-level", False),
        ("", False),
    ],
)
def test_an_input_is_found_by_its_whole_id(name: str, found: bool) -> None:
    spec = plan().input(name)
    assert (spec is not None) == found
    assert spec is None or spec.id == name


@pytest.mark.parametrize(
    ("means", "wired"),
    [
        (Means.HIGH_LEVEL, level_input()),
        (Means.ALARM_POWER, circuit_input()),
        (Means.PUMP_POWER, None),
    ],
)
def test_a_panel_knows_which_input_tells_what(means: Means, wired: Input | None) -> None:
    known: Plan = plan()
    assert known.panels["cabin"].input(means) == wired


def test_a_changed_panel_knows_nothing_that_was_worked_out_before_the_change() -> None:
    before = panel("cabin", contact(Means.PUMP_POWER))
    assert before.input(Means.HIGH_LEVEL) is None
    assert HIGH_LEVEL not in of_panel(before)
    level = contact(Means.HIGH_LEVEL)
    after = replace(before, inputs=(*before.inputs, level))
    assert after.input(Means.HIGH_LEVEL) is level
    assert HIGH_LEVEL in of_panel(after)
    assert before.input(Means.HIGH_LEVEL) is None


def test_what_was_worked_out_from_a_panel_is_no_part_of_it() -> None:
    asked, fresh = (panel("cabin", contact(Means.PUMP_POWER)) for _ in range(2))
    of_panel(asked)
    assert (asked, repr(asked)) == (fresh, repr(fresh))
