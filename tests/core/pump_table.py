"""The pump table as Markdown, printed from the rows themselves."""

from collections.abc import Iterable
from itertools import permutations, product

from relayd.core import conditions as c
from relayd.core.diagnosis.pump_rows import (
    SAYS,
    Reading,
    Switch,
    contradiction,
    no_current,
    notes,
    uncalled,
)
from relayd.core.state import Signal

_NOTE = "note of high level"
ROWS: dict[str, tuple[str, str]] = {
    "R1": ("high level, switch not in Auto", f"`{c.NOT_IN_AUTO}`, {_NOTE}, said first"),
    "R1-hand": ("the same, in Hand", f"`{c.IN_HAND}`, {_NOTE}, said first"),
    "R1-off": ("the same, in Off", f"`{c.IN_OFF}`, {_NOTE}, said first"),
    "R2": ("high level, pump power lost", _NOTE),
    "R3": ("called, no current", f"`{c.NO_CURRENT}`, {_NOTE}"),
    "R4": ("high level, a pump has run for 10 min", f"`{c.NOT_FALLING}`, {_NOTE}"),
    "R5": ("high level, power, Auto, not called", _NOTE),
    "R5-idle": ("high level, known not to run, no other row says why; not on a timed panel", _NOTE),
    "R5-timed": ("R5 on a timed panel", _NOTE),
    "R6": ("high level, another pump runs and this one does not", _NOTE),
    "R7": ("high level, all pumps run", f"`{c.NOT_FALLING}`, {_NOTE}"),
    "R8": ("high level within 2 h of a supply's return (timed: 48 h), no cause known", _NOTE),
    "R9": ("no high level, current without call", f"`{c.UNCALLED}`"),
    "R10": ("low level or low cut-off, current", f"`{c.LOW_LEVEL}`, `{c.REDUNDANT_OFF}`"),
    "R11": ("low cut-off, no current", f"`{c.REDUNDANT_OFF}`"),
    "R12": ("a run above its limit", f"`{c.RUN_LONG}`"),
    "R13": ("starts in an hour above their limit", f"`{c.STARTS}`"),
    "R14": ("no start within twice the longest gap of 8 weeks, 12 h at least", f"`{c.NO_CYCLE}`"),
    "R15": ("current or call, power lost", f"`{c.CONTRADICTION}`"),
    "R16": ("second pump called, level fine", f"`{c.LAG_CALLED}`"),
    "R17": ("five starts of one pump running, pumps take turns", f"`{c.ALTERNATION}`"),
    "R18-overload": ("overload tripped", f"`{c.OVERLOAD}`"),
    "R18-hot": ("over-temperature", f"`{c.OVER_TEMPERATURE}`"),
    "R18-repeats": ("the third time within a day", f"`{c.OVER_TEMPERATURE}`, high"),
    "R18-wet": ("with a leaking seal of the same pump", f"`{c.OVER_TEMPERATURE}`, high"),
    "R18-seal": ("seal leak", f"`{c.SEAL_LEAK}`"),
    "R18-fault": ("one common contact for all faults", f"`{c.PUMP_FAULT}`"),
    "keeps": (
        "high level over by itself thrice in 24 h, or on 3 of 7 days",
        f"`{c.KEEPS_REACHING}`",
    ),
}
"""Row -> what is seen, and what follows."""

_WORD, _POWER = {True: "yes", False: "no", None: "?"}, {True: "on", False: "lost", None: "?"}
_DOMAINS = (
    ("fine", "high"),
    tuple(_WORD.values()),
    tuple(_WORD.values()),
    tuple(_POWER.values()),
    tuple(each.value for each in Switch),
    ("demand", "timed"),
)
Key = tuple[frozenset[str], ...]


def table() -> str:
    """Every row, then every combination of a pump's contacts, switch and kind of panel by classes."""
    lines = ["| row | seen | what follows | what is said |", "| --- " * 4 + "|"]
    lines += [f"| {row} | {' | '.join(ROWS[row])} | {text} |" for row, text in SAYS.items()]
    lines += ["", "| level | called | current | power | switch | panel | present | notes |"]
    lines.append("| --- " * 8 + "|")
    for key, outcome in classes():
        sets = (_set(*each) for each in zip(key, _DOMAINS, strict=True))
        lines.append(f"| {' | '.join((*sets, *outcome))} |")
    return "\n".join(lines)


def classes() -> list[tuple[Key, tuple[str, str]]]:
    """Combinations with one outcome, put together where they differ in one column alone."""
    every = dict(_outcomes())
    return min((_merged(every, order) for order in permutations(range(6))), key=len)


def _merged(
    every: dict[Key, tuple[str, str]], order: Iterable[int]
) -> list[tuple[Key, tuple[str, str]]]:
    for column in order:
        joined: dict[tuple[Key, tuple[str, str]], frozenset[str]] = {}
        for key, outcome in every.items():
            rest = (*key[:column], frozenset[str](), *key[column + 1 :]), outcome
            joined[rest] = joined.get(rest, frozenset()) | key[column]
        every = {
            (*key[:column], values, *key[column + 1 :]): outcome
            for (key, outcome), values in joined.items()
        }
    return list(every.items())


def _outcomes() -> Iterable[tuple[Key, tuple[str, str]]]:
    three = (True, False, None)
    for high, called, current, power, switch, timed in product(
        (False, True), three, three, three, Switch, (False, True)
    ):
        now = Reading(called, current, power, switch)
        signals = {
            c.NO_CURRENT: no_current(now),
            c.UNCALLED: uncalled(now, high),
            c.CONTRADICTION: contradiction(now),
            c.NOT_FALLING: Signal.PRESENT if high and now.runs else Signal.ABSENT,
        }
        present = ", ".join(f"`{name}`" for name, each in signals.items() if each == "present")
        said = ", ".join(notes(now, timed, long=False)) if high else ""
        values = ("high" if high else "fine", _WORD[called], _WORD[current], _POWER[power])
        words = (*values, switch.value, "timed" if timed else "demand")
        yield tuple(frozenset({each}) for each in words), (present, said)


def _set(values: frozenset[str], domain: tuple[str, ...]) -> str:
    if len(values) == len(domain):
        return "any"
    return ", ".join(each for each in domain if each in values)
