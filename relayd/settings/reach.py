"""Whom a high alarm reaches, how, and by when at the latest.

In: the frozen plan. Out: names and times, for warnings and for the summary of `relayd check`.
Times in nanoseconds.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from relayd.core.plan import ALARM_CONTACTS, MINUTE, SECOND, CallList, Panel, Plan, Turn

BELIEVED = 60 * SECOND
"""ns; a contact that moves for more than half of the time raises within this, or twice its on-delay."""


@dataclass(frozen=True, slots=True)
class Told:
    """Somebody on a call list: after how long, and whether a channel of theirs wakes."""

    after: int
    name: str
    wakes: bool


def told(plan: Plan, calls: CallList) -> Iterator[Told]:
    """Every name of the list at the step where it first comes."""
    seen: set[str] = set()
    for step in calls.steps:
        for name in step.persons:
            if name not in seen:
                seen.add(name)
                yield Told(step.after, name, wakes(plan, name))


def wakes(plan: Plan, name: str) -> bool:
    """Whether that person has a channel that wakes; of an on-call schedule, whether each of its persons has."""
    return all(plan.wakes & set(plan.people[each].channels) for each in persons(plan, name))


def persons(plan: Plan, name: str) -> set[str]:
    """Whom that name may be: the person, or everybody who has a turn in that on-call schedule."""
    schedule = plan.on_call.get(name)
    return {each.person for each in schedule.turns} if schedule else {name}


def on_duty(turns: tuple[Turn, ...], wall: int) -> str:
    """The person whose turn it is at that instant (UTC, ns)."""
    return next((each.person for each in reversed(turns) if each.begins <= wall), "")


def called(plan: Plan, panel: Panel, wall: int) -> str:
    """Who is told of a high alarm, step by step, and who of them by a channel that wakes."""
    parts = []
    for each in told(plan, plan.call_lists[panel.call_list]):
        schedule = plan.on_call.get(each.name)
        who = on_duty(schedule.turns, wall) if schedule else each.name
        name = plan.people[who].name if who in plan.people else who
        by = f" (on call: {each.name})" if schedule else ""
        when = "at once" if not each.after else f"after {about(each.after)}"
        parts.append(f"{name}{by} {when}{', which wakes' if each.wakes else ''}")
    return "; ".join(parts)


def worst_case(plan: Plan, panel: Panel) -> int:
    """The longest time from the alarm float to the message to the last person, everything working (ns)."""
    delays = [each.on_delay for each in panel.inputs if each.means in ALARM_CONTACTS]
    last = max(each.after for each in told(plan, plan.call_lists[panel.call_list]))
    return max(BELIEVED, 2 * min(delays, default=0)) + last


def about(span: int) -> str:
    """A time in whole minutes, or hours and minutes."""
    minutes = round(span / MINUTE)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
