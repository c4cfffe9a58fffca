"""The parts of DEVELOPERS.md that are printed from the code: `python -m tests.house.generated` writes them.

A test compares, so that the page cannot lie.
"""

from collections.abc import Callable
from pathlib import Path

from relayd.core.alarm import TABLE, Happening, diagram
from relayd.core.panel import POWER
from relayd.core.sentences import LEVEL_NOW, LEVEL_ROWS, POWER_ROWS
from relayd.core.state import Process

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"


def alarm_table() -> str:
    """The life cycle: every state by every happening, then the diagram."""
    head = "| state | " + " | ".join(happening.value for happening in Happening) + " |"
    rule = "| --- " * (len(Happening) + 1) + "|"
    rows = [
        f"| **{state}** | " + " | ".join(TABLE[state, each] for each in Happening) + " |"
        for state in Process
    ]
    return "\n".join([head, rule, *rows, "", "```mermaid", diagram(), "```"])


def level_rows() -> str:
    """What each row of the belief in the level says, in an alarm and without one."""
    rows = [
        f"| {row} | {LEVEL_ROWS.get(row, '')} | {LEVEL_NOW[row] if LEVEL_NOW[row] != LEVEL_ROWS.get(row) else 'the same'} |"
        for row in LEVEL_NOW
        if row
    ]
    return "\n".join(
        ["| row | said of an alarm | said where no alarm stands |", "| --- | --- | --- |", *rows]
    )


def power_rows() -> str:
    """Alarm circuit and pump power, each on, lost or not known: the row, its signals, its words."""
    rows = [
        f"| {alarm} | {pump} | {power.row} | {power.alarm_power} | {power.pump_power} | {POWER_ROWS.get(power.row, '')} |"
        for (alarm, pump), power in POWER.items()
    ]
    head = "| alarm circuit | pump power | row | `alarm-power` | `pump-power` | what is said of an alarm |"
    return "\n".join([head, "| --- " * 6 + "|", *rows])


PARTS: dict[str, Callable[[], str]] = {
    "alarm table": alarm_table,
    "level rows": level_rows,
    "power rows": power_rows,
}


def filled(page: str) -> str:
    """The page with every generated part made anew."""
    for name, make in PARTS.items():
        begin, end = f"<!-- generated: {name} -->\n", "<!-- end -->"
        before, _, rest = page.partition(begin)
        page = f"{before}{begin}{make()}\n{end}{rest.partition(end)[2]}"
    return page


if __name__ == "__main__":
    PAGE.write_text(filled(PAGE.read_text()))
