"""Call lists: which one an alarm takes, how fast it climbs, whom a step means, who would be told.

In: plan, who is away, an alarm's condition and priority, an instant. Out: steps, persons and boot
times. Knows nothing of notices, and changes nothing.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from relayd.core.calling import duty, hours
from relayd.core.conditions import HIGH_HIGH_LEVEL
from relayd.core.draft import UNIT
from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, CallList, Kind, Panel, Plan, Priority, Step
from relayd.core.state import Away, Subject

QUIET_REPEAT = 24 * HOUR
EVENING, BEFORE_EVENING = 20 * HOUR, 2 * HOUR
"""What is medium and nobody has answered is repeated that evening (local time of day) where its last
step was told so long before it, and then daily (common practice, no source)."""
"""Alarms below high are repeated daily, not through the night."""
SHORT_RESERVE = 2 * HOUR
"""A basin that overflows sooner is called for on the fast list (common practice, no source)."""
FAST = (0, 2 * MINUTE, 4 * MINUTE, 6 * MINUTE)
"""After how long the steps of the fast list come; all further ones with the last."""
RANK = {Priority.RECORD_ONLY: 0, Priority.LOW: 1, Priority.MEDIUM: 2, Priority.HIGH: 3}


def panel_of(plan: Plan, subject: str) -> Panel | None:
    """The panel that the subject is; None for the unit and channels."""
    kind, _, name = subject.partition(":")
    return plan.panels.get(name) if kind == "panel" else None


def list_of(plan: Plan, subject: str, priority: Priority = Priority.HIGH) -> CallList:
    """The call list for a subject: its panel's own for that priority, else the unit's."""
    owner = panel_of(plan, subject) or plan
    medium = owner.medium_list or owner.call_list
    names = {Priority.HIGH: owner.call_list, Priority.MEDIUM: medium}
    return plan.call_lists[names.get(priority, owner.low_list or medium)]


def calls_for(plan: Plan, subject: str, condition: str, priority: Priority) -> CallList:
    """The call list of an alarm, its steps drawn together where water will not wait."""
    calls = list_of(plan, subject, priority)
    if priority is not Priority.HIGH or not _fast(panel_of(plan, subject), condition):
        return calls
    return replace(calls, steps=tuple(_sooner(calls)))


def names_at(calls: CallList, step: int) -> tuple[str, ...]:
    """Whom that step names; past the last step everybody."""
    return calls.steps[step].persons if step < len(calls.steps) else everyone(calls)


def everyone(calls: CallList) -> tuple[str, ...]:
    """Every name on the list, once, in their order."""
    return tuple(dict.fromkeys(name for each in calls.steps for name in each.persons))


def next_due(
    plan: Plan,
    away: Mapping[str, Away],
    calls: CallList,
    priority: Priority,
    step: int,
    began: int,
    now: Now,
) -> int:
    """Boot time of `step` of a list that began at `began` and has climbed the one before now.

    The steps of a low alarm are a working day apart, and what is not high is repeated by day.
    """
    if priority is Priority.HIGH:
        if step < len(calls.steps):
            return max(now.up, began + calls.steps[step].after)
        return now.up + (calls.slow if now.up - began >= calls.slow_after else calls.repeat)
    told = hours.later(now, _told_at(plan, away, calls, priority, step - 1, now))
    if step >= len(calls.steps):
        young = priority is Priority.MEDIUM and step == len(calls.steps)
        return _this_evening(plan, told) if young else told.up + QUIET_REPEAT
    if priority is Priority.MEDIUM:
        return max(now.up, began + calls.steps[step].after)
    whose = _somebody(plan, away, calls, step, told)
    return hours.next_opening(plan, plan.people[whose], told) if whose else told.up + QUIET_REPEAT


def _this_evening(plan: Plan, told: Now) -> int:
    """Boot time of the same day's evening; a day later where it is over, or no clock tells."""
    evening = hours.next_at(plan, EVENING, BEFORE_EVENING, told)
    same = hours.local(plan, told.wall)[0] == hours.local(plan, hours.later(told, evening).wall)[0]
    return evening if told.trusted and same else told.up + QUIET_REPEAT


def resolved(
    plan: Plan, away: Mapping[str, Away], name: str, priority: Priority, now: Now
) -> tuple[tuple[str, int], ...]:
    """(person, boot time from which that person may be told) for one name on a list.

    Who must wait for hours is whoever will be on duty when they begin, not who is now.
    """
    found: dict[str, int] = {}
    for person in duty.persons(plan, away, (name,), now):
        opens = hours.may_tell(plan, person, priority, now)
        then = hours.later(now, opens)
        for other in duty.persons(plan, away, (name,), then) or (person,):
            found[other] = max(opens, hours.may_tell(plan, other, priority, then))
    return tuple(found.items())


@dataclass(frozen=True, slots=True)
class Foreseen:
    """One step of a call list as it would go now: after how long, whom, and who must wait until when."""

    after: int
    persons: tuple[str, ...]
    held: Mapping[str, int]
    """Person -> boot time at which that person's hours begin."""


def foreseen(
    plan: Plan,
    subjects: Mapping[str, Subject],
    subject: str,
    priority: Priority,
    now: Now,
    condition: str = "",
) -> tuple[Foreseen, ...]:
    """Who would be told of an alarm of that priority that began now, step by step."""
    if priority is Priority.RECORD_ONLY:
        return ()
    away = (subjects.get(UNIT) or Subject(UNIT)).away
    calls = calls_for(plan, subject, condition, priority)
    steps, up = [], now.up + calls.steps[0].after
    for index, each in enumerate(calls.steps):
        then = hours.later(now, up)
        told = [one for name in each.persons for one in resolved(plan, away, name, priority, then)]
        held = {person: at for person, at in told if at > up}
        steps.append(Foreseen(up - now.up, tuple(dict(told)), held))
        up = next_due(plan, away, calls, priority, index + 1, now.up, then)
    if priority is Priority.HIGH and not any(each.persons for each in steps):
        return (Foreseen(steps[0].after, duty.everybody(plan, everyone(calls)), {}),)
    return tuple(steps)


def _told_at(
    plan: Plan, away: Mapping[str, Away], calls: CallList, priority: Priority, step: int, now: Now
) -> int:
    """Boot time at which the first person of that step hears it, if it is climbed now."""
    person = _somebody(plan, away, calls, step, now)
    return hours.may_tell(plan, person, priority, now) if person else now.up


def _somebody(plan: Plan, away: Mapping[str, Away], calls: CallList, step: int, now: Now) -> str:
    """The first person of that step who is there, else whoever is first behind its names."""
    names = names_at(calls, step)
    there = (*duty.persons(plan, away, names, now), *duty.everybody(plan, names))
    return next(iter(there), "")


def _fast(panel: Panel | None, condition: str) -> bool:
    if panel is None:
        return False
    unknown = panel.reserve is None and panel.kind is Kind.SUMP
    short = panel.reserve is not None and panel.reserve < SHORT_RESERVE
    return unknown or short or condition == HIGH_HIGH_LEVEL


def _sooner(calls: CallList) -> Iterator[Step]:
    for index, each in enumerate(calls.steps):
        yield replace(each, after=min(each.after, FAST[min(index, len(FAST) - 1)]))
