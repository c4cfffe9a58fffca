"""The parts of DEVELOPERS.md that are printed from the code: `python -m tests.house.generated` writes them.

A test compares, so that the page cannot lie.
"""

from collections.abc import Callable, Collection
from enum import StrEnum
from pathlib import Path

from relayd.core import conditions as c
from relayd.core.diagnosis import power as supplies
from relayd.core.diagnosis.level import SAYS as LEVEL_SAYS
from relayd.core.diagnosis.power import BAD, SAYS, Power
from relayd.core.life.alarm import TABLE, Happening, diagram
from relayd.core.saying.said import NAMES, WHAT
from relayd.core.saying.sentences import LEVEL_NOW, LEVEL_ROWS
from relayd.core.state import Process, Signal
from relayd.core.upkeep.horn_table import (
    ROWS as HORN_ROWS,
    SAYS as HORN_SAYS,
    Circuit,
    Moment,
    Sense,
)
from relayd.words import spelt
from tests.core import pump_table

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


def unit_conditions() -> str:
    """What the unit knows of itself, its ways and its peers: how urgent, after what time, which words."""
    head = "| condition | called | priority | after | over after | again after | what is said |"
    more = (c.MAILBOX_DOWN, c.ANSWERS_LOCKED, c.DEAD_MAN, c.UNIT_SILENT, c.CHANNEL_FAILING)
    rows = [
        f"| `{name}` | {NAMES[name]} | {each.priority.value} | {spelt(each.on_delay)}"
        f" | {spelt(each.off_delay)} | {spelt(each.realarm)} | {WHAT[name]} |"
        for name, each in ((name, c.CHARACTERS[name]) for name in (*c.UNIT_CONDITIONS, *more))
    ]
    return "\n".join([head, "| --- " * 7 + "|", *rows])


def level_rows() -> str:
    """What each row of the belief in the level says, in an alarm and without one."""
    rows = [
        f"| {row} | {LEVEL_ROWS.get(row, '')} | {LEVEL_NOW[row] if LEVEL_NOW[row] != LEVEL_ROWS.get(row) else 'the same'} |"
        for row in LEVEL_NOW
        if row
    ]
    rows += [f"| {row} | {text} | the same |" for row, text in LEVEL_SAYS.items()]
    return "\n".join(
        ["| row | said of an alarm | said where no alarm stands |", "| --- | --- | --- |", *rows]
    )


def power_rows() -> str:
    """Every combination of the supplies: its row, its conditions, its words; 'bad' is as 'not known'."""
    head = "| unit's supply | alarm circuit | pump power | generator | row | present | kept as it is | what is said |"
    rows = [
        f"| {unit} | {alarm} | {pump} | {'yes' if generator else 'no'} | {power.row}"
        f"{''.join(f' + {each}' for each in power.notes)} | {_having(power, Signal.PRESENT)}"
        f" | {_having(power, Signal.KEEP)} | {' '.join(SAYS[each] for each in (power.row, *power.notes))} |"
        for (unit, alarm, pump, generator), power in supplies.TABLE.items()
        if BAD not in (unit, alarm, pump)
    ]
    more = [f"| {row} | {text} |" for row, text in SAYS.items()]
    return "\n".join(
        [head, "| --- " * 8 + "|", *rows, "", "| row or note | words |", "| --- | --- |", *more]
    )


def _having(power: Power, signal: Signal) -> str:
    signals = {
        "alarm-power": power.alarm_power,
        "pump-power": power.pump_power,
        "site-outage": power.site_outage,
        "unit-power": power.unit_power,
    }
    return ", ".join(f"`{name}`" for name, each in signals.items() if each is signal)


def horn_rows() -> str:
    """Each row of the horn: the combinations that it takes, the standing that follows, its words."""
    head = "| row | alarm circuit | moment | driven (V) | heard (S) | parked (K) | standing | what is said |"
    rows = [
        f"| {each.name} | {_values(each.circuit, Circuit)} | {_values(each.moment, Moment)}"
        f" | {_values(each.driven, Sense)} | {_values(each.heard, Sense)} | {_values(each.parked, Sense)}"
        f" | {each.standing.value if each.standing else 'stays'} | {HORN_SAYS[each.name]} |"
        for each in HORN_ROWS
    ]
    return "\n".join([head, "| --- " * 8 + "|", *rows])


def _values(some: Collection[StrEnum], domain: type[StrEnum]) -> str:
    if len(some) == len(domain):
        return "any"
    return ", ".join(each.value for each in domain if each in some)


PARTS: dict[str, Callable[[], str]] = {
    "alarm table": alarm_table,
    "unit conditions": unit_conditions,
    "level rows": level_rows,
    "power rows": power_rows,
    "pump rows": pump_table.table,
    "horn rows": horn_rows,
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
