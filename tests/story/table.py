"""What the faults of this run made the unit say, and after how long; printed when the run ends."""

from dataclasses import dataclass

MARK = "fault| "


@dataclass(frozen=True, slots=True)
class Row:
    """One thing that was said. `after` is seconds, None where there is nothing to measure."""

    fault: str
    said: str
    after: float | None = None

    def line(self) -> str:
        """The row as it is printed, and as `taken_from` finds it again."""
        after = "" if self.after is None else f"{self.after:7.2f} s"
        return f"{MARK}{self.fault:<38.38}| {after:>9} | {self.said}"


lines: list[str] = []


def add(*rows: Row) -> None:
    """Keep rows for the end of the run."""
    lines.extend(row.line() for row in rows)


def taken_from(output: str) -> None:
    """Keep the rows that another run, inside the guest, has printed."""
    lines.extend(line for line in output.splitlines() if line.startswith(MARK))
