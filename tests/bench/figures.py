"""Rows of the table: what was measured beside its floor, as ratios, and the budget."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from statistics import median


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. `within` is None where no budget is named."""

    what: str
    measured: str
    floor: str = ""
    ratio: str = ""
    budget: str = ""
    within: bool | None = None

    def as_dict(self) -> dict[str, object]:
        return asdict(self)


def quantile(values: Sequence[float], share: float) -> float:
    """The nearest-rank quantile: with fewer than 100 values, p99 is the greatest of them."""
    ordered = sorted(values)
    return ordered[max(0, math.ceil(share * len(ordered)) - 1)]


def ms(nanoseconds: float) -> str:
    return f"{nanoseconds / 1e6:.2f} ms"


def spread(values: Sequence[float], digits: int = 2) -> str:
    """The median, and the least and the greatest."""
    low, high = min(values), max(values)
    return f"{median(values):.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


def kib(count: float) -> str:
    return f"{count / 1024:.0f} KiB" if count >= 10_240 else f"{count / 1024:.1f} KiB"


def table(rows: Sequence[Row]) -> str:
    """The rows as a Markdown table."""
    head = ("what", "measured", "floor", "ratio", "budget", "")
    verdicts = {True: "within", False: "OVER", None: ""}
    cells = [(r.what, r.measured, r.floor, r.ratio, r.budget, verdicts[r.within]) for r in rows]
    widths = [max(len(each[n]) for each in [head, *cells]) for n in range(len(head))]
    lines = [_line(head, widths), "| " + " | ".join("-" * width for width in widths) + " |"]
    return "\n".join([*lines, *(_line(each, widths) for each in cells)])


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    filled = (cell.ljust(width) for cell, width in zip(cells, widths, strict=True))
    return "| " + " | ".join(filled) + " |"
