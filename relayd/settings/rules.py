"""What must hold between the values of a plan, each rule with its reason in the message.

In: the tables, with gaps where a value was refused already: a rule says nothing about a gap.
Out: problems. Opens no file. Inputs are looked at in wiring.py, people in roster.py.
"""

from collections.abc import Iterator, Sequence

from relayd.core.conditions import CHARACTERS, OTHER, base_of
from relayd.core.saying import gsm7
from relayd.core.saying.templates import template_problem
from relayd.settings import brokers, mailbox, roster, supervision, wiring
from relayd.settings.build import UNIT
from relayd.settings.checks import Gap, Lines, known, twice
from relayd.settings.schema import (
    InputTable,
    PanelTable,
    PlanTable,
    TextTable,
    UnitTable,
)
from relayd.words import Loc, Problem, did_you_mean, one_of, quoted


def problems(plan: PlanTable, line: Lines, gap: Gap) -> Iterator[Problem]:
    """Every rule that this plan breaks, gaps left out."""
    return (each for each in _broken(plan, line, gap) if not gap(each.loc))


def _broken(plan: PlanTable, line: Lines, gap: Gap) -> Iterator[Problem]:
    yield from _tables_there(plan)
    yield from _unique_ids(plan, line)
    yield from _call_lists_known(plan)
    yield from _lines_free(plan, line, gap(("unit", "chip")))
    if plan.unit is not None:
        yield from wiring.of_unit(plan.unit.input or [], ("unit",), line, gap)
    for n, panel in enumerate(plan.panel or []):
        yield from wiring.of_panel(panel, ("panel", n), line, gap)
        yield from _panel(panel, ("panel", n))
    yield from roster.problems(plan, line, gap)
    yield from _texts(plan, line)
    yield from brokers.problems(plan, line)
    yield from mailbox.problems(plan)
    yield from supervision.problems(plan, line)


def _tables_there(plan: PlanTable) -> Iterator[Problem]:
    for name, found in (
        ("panel", plan.panel),
        ("person", plan.person),
        ("call_list", plan.call_list),
    ):
        if not found:
            yield Problem((name,), f"is missing; write at least one [[{name}]]")


def _unique_ids(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    for name, what in (
        ("panel", "panel"),
        ("person", "person"),
        ("call_list", "call list"),
        ("on_call", "on-call schedule"),
        ("hours", "table of hours"),
    ):
        ids = [each.id for each in getattr(plan, name) or []]
        locs = [(name, n, "id") for n in range(len(ids))]
        yield from twice(ids, locs, f"each {what} needs an id of its own", line)


def _call_lists_known(plan: PlanTable) -> Iterator[Problem]:
    ids = [each.id for each in plan.call_list or []]
    if plan.unit is not None:
        yield from _lists_known(plan.unit, ("unit",), ids)
    for n, panel in enumerate(plan.panel or []):
        yield from _lists_known(panel, ("panel", n), ids)


def _lists_known(
    owner: UnitTable | PanelTable, loc: Loc, ids: Sequence[str | None]
) -> Iterator[Problem]:
    for key in ("call_list", "medium_list", "low_list"):
        yield from known(getattr(owner, key), ids, "call list", (*loc, key), "call_list")


def _lines_free(plan: PlanTable, line: Lines, chip_refused: bool) -> Iterator[Problem]:
    """Each input has a chip, and lines that no other input has."""
    chip = plan.unit.chip if plan.unit is not None else None
    first: dict[tuple[str, int], Loc] = {}
    for loc, each in _inputs(plan):
        own = each.chip or chip
        if own is None and plan.unit is not None and not chip_refused:
            say = "is missing; give the chip's label here, or for all inputs in [unit]"
            yield Problem((*loc, "chip"), say)
        for key, number in (("line", each.line), ("second_line", each.second_line)):
            if own is None or number is None:
                continue
            if (own, number) in first:
                before = line(first[own, number])
                what = f"{number} of chip {quoted(own)} is used twice, first on line {before}"
                yield Problem((*loc, key), f"{what}; each input needs a line of its own")
            first.setdefault((own, number), (*loc, key))


def _inputs(plan: PlanTable) -> Iterator[tuple[Loc, InputTable]]:
    for m, each in enumerate(plan.unit.input or [] if plan.unit else []):
        yield ("unit", "input", m), each
    for n, panel in enumerate(plan.panel or []):
        for m, each in enumerate(panel.input or []):
            yield ("panel", n, "input", m), each


def _panel(panel: PanelTable, loc: Loc) -> Iterator[Problem]:
    if panel.id == UNIT:
        say = 'is "unit", and that is where the unit\'s own inputs belong; any other id'
        yield Problem((*loc, "id"), say)
    if panel.alternates and panel.pumps == 1:
        say = "one pump cannot take turns; take it out, or write pumps = 2"
        yield Problem((*loc, "alternates"), say)
    if panel.pumps is not None:
        allowed = ["main", "alarm", "control", *(f"pump-{n + 1}" for n in range(panel.pumps))]
        for key in panel.labels or {}:
            if key not in allowed:
                near = "pump-1" if key == "pump" else ""
                meant = f'; did you mean "{near}"?' if near else did_you_mean(key, allowed)
                say = f"is no circuit of this panel; {one_of(allowed)}{meant}"
                yield Problem((*loc, "labels", key), say)
    for key in panel.realarm or {}:
        yield from _condition(key, (*loc, "realarm", key))


def _condition(name: str, loc: Loc) -> Iterator[Problem]:
    """A condition of the catalogue, with or without a pump's number or an input's name."""
    if base_of(name) in CHARACTERS and name != OTHER:
        return
    if name == OTHER:
        yield Problem(loc, 'names no input; "other-" and the name of the input')
        return
    say = f"there is no condition {quoted(name)}; such as high-level, pump-power or overload-2"
    yield Problem(loc, f"{say}{did_you_mean(name, CHARACTERS)}")


def _texts(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    first: dict[tuple[str, str | None], Loc] = {}
    for n, each in enumerate(plan.text or []):
        loc: Loc = ("text", n)
        if each.condition is None:
            continue
        yield from _condition(each.condition, (*loc, "condition"))
        key = each.condition, each.language
        if key in first:
            what = f'"{each.condition}" in {each.language} is used twice, first on line'
            say = f"{what} {line((*first[key], 'condition'))}; one [[text]] for each condition and language"
            yield Problem((*loc, "condition"), say)
        first.setdefault(key, loc)
        yield from _forms(each, loc)


def _forms(text: TextTable, loc: Loc) -> Iterator[Problem]:
    if text.short is None and text.long is None:
        yield Problem((*loc, "short"), "is missing; a short form, a long one, or both")
    for key, template in (("short", text.short), ("long", text.long)):
        if template is not None and (say := template_problem(template)):
            yield Problem((*loc, key), say)
    if text.short is not None:
        size = gsm7.septets(gsm7.spelled(text.short))
        if size > gsm7.ONE_MESSAGE:
            say = f"takes {size} characters of a text message; at most {gsm7.ONE_MESSAGE}, its $names filled in"
            yield Problem((*loc, "short"), say)
