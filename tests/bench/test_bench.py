"""The bench still runs: every row is there, whatever it says. How long anything takes is not judged."""

import pytest

from tests.bench.__main__ import QUICK, measure
from tests.bench.figures import Row, quantile, table
from tests.kernel.guest import NO_KERNEL, program

ON_PINS = {
    "start": 1,
    "idle": 4,
    "written to the disk": 1,
    "memory": 4,
    "edge": 2,
    "alarm's deadline": 2,
    "alarm at the": 2,
    "the loop": 1,
}
WITHOUT = {
    "an alarm told": 2,
    "the same, and both told": 2,
    "a step": 3,
    "the same, and the": 3,
    "a commit": 1,
    "50 events": 1,
    "a tree of": 1,
    "one change": 1,
}


def counted(rows: list[Row], kinds: dict[str, int]) -> dict[str, int]:
    return {kind: sum(row.what.startswith(kind) for row in rows) for kind in kinds}


def check(rows: list[Row], kinds: dict[str, int]) -> None:
    assert counted(rows, kinds) == kinds
    assert len(rows) == sum(kinds.values())
    assert all(row.measured for row in rows)
    assert all(row.budget or row.within is None for row in rows)


@pytest.mark.slow
def test_every_row_that_needs_no_pins_is_there() -> None:
    check(list(measure(["bytes", "size", "mqtt"], QUICK, 60)), WITHOUT)


@pytest.mark.long
@pytest.mark.kernel
@pytest.mark.skipif(program() is None, reason=NO_KERNEL)
def test_every_row_that_needs_pins_is_there() -> None:
    check(list(measure(["guest"], QUICK, 300)), ON_PINS)


@pytest.mark.parametrize(
    ("values", "share", "found"),
    [([3], 0.99, 3), ([4, 1, 3, 2], 0.5, 2), (range(1, 101), 0.99, 99), (range(1, 11), 0.99, 10)],
    ids=["one", "p50 of four", "p99 of a hundred", "p99 of ten is the greatest"],
)
def test_a_quantile_is_the_nearest_rank(values: list[float], share: float, found: float) -> None:
    assert quantile(values, share) == found


def test_a_row_over_its_budget_is_seen_at_once() -> None:
    rows = [Row("a", "1", within=False), Row("b", "2", within=True), Row("c", "3")]
    verdicts = [line.split("|")[-2].strip() for line in table(rows).splitlines()[2:]]
    assert verdicts == ["OVER", "within", ""]
