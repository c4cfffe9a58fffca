"""The plan's own small answers."""

import pytest

from relayd.core.plan import Input, Means, Plan, seconds
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
