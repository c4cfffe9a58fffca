"""Who is not reached, or too late, and what is written and used by nobody.

In: tables that broke no rule, and the plan that was made of them. Out: warnings.
"""

from collections.abc import Iterator

from relayd.core.conditions import OTHER, base_of, of_panel, of_unit
from relayd.core.plan import MINUTE, Kind, Panel, Plan, Priority
from relayd.settings import reach, roster
from relayd.settings.schema import CallListTable, PanelTable, PersonTable, PlanTable, UnitTable
from relayd.words import Loc, Problem

FAST = 6 * MINUTE
"""ns; by then the last person has been told where a basin's reserve is short or not known."""


def doubts(tables: PlanTable, plan: Plan) -> Iterator[Problem]:
    """Every doubt about who is told what, and when."""
    for n, table in enumerate(tables.panel or []):
        place: Loc = ("panel", n, "call_list" if table.call_list else "id")
        yield from _asleep(plan, plan.panels[table.id or ""], place)
        yield from _too_late(plan, plan.panels[table.id or ""], ("panel", n, "reserve"))
    for n, calls in enumerate(tables.call_list or []):
        yield from _call_list(calls, ("call_list", n), tables)
    reached = roster.called(tables)
    for n, person in enumerate(tables.person or []):
        yield from _person(person, ("person", n), plan, person.id in reached)
    yield from _unused(tables)
    yield from _idle_texts(tables, plan)


def _asleep(plan: Plan, panel: Panel, loc: Loc) -> Iterator[Problem]:
    if not any(each.wakes for each in reach.told(plan, plan.call_lists[panel.call_list])):
        say = "a high alarm at 03:00 reaches nobody by a channel that wakes (wakes = true): a text or a"
        yield Problem(
            loc,
            f"{say} mail waits until somebody looks; a telephone call, or an alert that sounds in silent mode",
        )


def _too_late(plan: Plan, panel: Panel, loc: Loc) -> Iterator[Problem]:
    worst = reach.worst_case(plan, panel)
    late = f"in the worst case the last person is told after {reach.about(worst)}"
    if panel.reserve is not None and worst > panel.reserve:
        say = f"this basin's pessimistic reserve is {reach.about(panel.reserve)}: {late}"
        yield Problem(loc, f"{say}; shorten the steps of its call list")
    elif panel.reserve is None and panel.kind is Kind.SUMP and worst > FAST + reach.BELIEVED:
        say = f"is not written, and a sump can be full in minutes: {late}"
        yield Problem(loc, f"{say}; write the reserve, or tell everybody within 6 min")


def _call_list(calls: CallListTable, loc: Loc, tables: PlanTable) -> Iterator[Problem]:
    persons = {who for name in roster.names(calls) for who in roster.members(tables, name)}
    if not any(each.responds for each in tables.person or [] if each.id in persons):
        say = "nobody on this call list is marked responds = true"
        yield Problem(loc, f"{say}: an acknowledgement then counts as seen, and the calls go on")
    owners: list[PanelTable | UnitTable] = [*(tables.panel or [])]
    owners += [tables.unit] if tables.unit else []
    used = {name for each in owners for name in (each.call_list, each.medium_list, each.low_list)}
    if calls.id not in used:
        yield Problem((*loc, "id"), "is used by no panel and not by the unit")


def _person(person: PersonTable, loc: Loc, plan: Plan, reached: bool) -> Iterator[Problem]:
    if not reached:
        yield Problem((*loc, "id"), "is on no call list: this person is never told")
    if person.language != "en" and not plan.languages.get(person.language or ""):
        say = "has no catalogue here: this person's messages come in English"
        yield Problem((*loc, "language"), say)
    ways = person.channel or []
    if reached and ways and all(each.least is Priority.HIGH for each in ways):
        say = 'is "high" at every channel: this person never hears of a medium or low alarm'
        yield Problem((*loc, "channel", 0, "least"), say)


def _unused(tables: PlanTable) -> Iterator[Problem]:
    named = {name for calls in tables.call_list or [] for name in roster.names(calls)}
    for n, schedule in enumerate(tables.on_call or []):
        if schedule.id not in named:
            yield Problem(("on_call", n, "id"), "is on no call list: nobody is told by it")
    worked = {tables.unit.hours if tables.unit else None}
    worked |= {each.hours for each in tables.person or []}
    for n, hours in enumerate(tables.hours or []):
        if hours.id not in worked:
            yield Problem(("hours", n, "id"), "is used by no person and not by the unit")


def _idle_texts(tables: PlanTable, plan: Plan) -> Iterator[Problem]:
    told = {each for panel in plan.panels.values() for each in of_panel(panel)}
    told |= set(of_unit(plan)) | {base_of(each) for each in told}
    for n, text in enumerate(tables.text or []):
        if (text.condition or OTHER) not in told:
            say = "is a condition that nothing wired here can tell: this text is never used"
            yield Problem(("text", n, "condition"), say)
