"""The weekly message: it says that the unit lives, and proves every channel that it comes over.

In: the plan's day and hour, time. Out: one notice a person over each of that person's channels,
within waking hours. Knows nothing of contacts. Where wall time is not to be believed the message
comes seven days after the last one. A week that is known by no clock is a week of boot time: a
step of the wall clock brings no second message, and loses none.

With a keeper that person hears weekly, everybody once a quarter: what comes every week is muted,
and then the alarms are muted too (common practice, no source).
"""

from dataclasses import replace

from relayd.core.calling import hours, telling
from relayd.core.draft import UNIT, Draft
from relayd.core.events import Now
from relayd.core.plan import DAY, Plan
from relayd.core.saying import texts_well
from relayd.core.state import NoticeKind, Stamp

WEEK, LEAST = 7 * DAY, 6 * DAY
"""Two messages are at least six days apart, whatever the wall clock does."""
QUARTER = 13
"""Weeks: the message of every thirteenth goes to everybody."""


def watch(draft: Draft, subject: str) -> None:
    """Begin a round when its time has come, and tell whoever is awake."""
    if subject != UNIT:
        return
    owner = draft.subject(UNIT)
    if draft.plan.all_well is None:
        if owner.well is not None:
            draft.put(replace(owner, well=None, wells={}))
        return
    if owner.well is None:
        # As if the last one had been six days ago: the first comes within a week.
        now = draft.now
        draft.put(replace(owner, well=Stamp(now.up - LEAST, now.wall - LEAST, now.trusted)))
    elif next_round(draft.plan, owner.well, draft.now) <= draft.now.up:
        _begin(draft)
    if draft.subject(UNIT).wells:
        _tell(draft)


def due(draft: Draft, subject: str) -> int | None:
    """When the next round begins, or the next person of this one is told (boot ns)."""
    owner = draft.subject(UNIT)
    if subject != UNIT or owner.well is None:
        return None
    return min([next_round(draft.plan, owner.well, draft.now), *owner.wells.values()])


def next_round(plan: Plan, last: Stamp, now: Now) -> int:
    """Boot time of the round after `last`."""
    if plan.all_well is None or not now.trusted:
        return last.up + WEEK
    # Boot time never steps: this is when it was, as the wall clock now has it.
    least = now.wall - (now.up - last.up) + LEAST
    day = hours.local(plan, least)[0]
    while True:
        found = hours.instant(plan, day, plan.all_well.at)
        if hours.weekday(day) == plan.all_well.day and found >= least:
            return now.up + found - now.wall
        day += 1


def _begin(draft: Draft) -> None:
    persons, now = _persons(draft.plan, draft.now), draft.now
    people = draft.plan.people
    wells = {each: hours.waking(draft.plan, people[each], now) for each in persons}
    draft.put(replace(draft.subject(UNIT), well=draft.stamp, wells=wells))
    draft.record("weekly message", UNIT, persons=list(persons))


def _persons(plan: Plan, now: Now) -> tuple[str, ...]:
    keeper = plan.all_well.keeper if plan.all_well else ""
    week = hours.local(plan, now.wall)[0] // 7
    if keeper in plan.people and week % QUARTER:
        return (keeper,)
    return tuple(name for name, each in plan.people.items() if each.channels)


def _tell(draft: Draft) -> None:
    now = draft.now.up
    for person, at in draft.subject(UNIT).wells.items():
        if at <= now:
            text = texts_well.weekly(draft.plan, draft.subjects, person, draft.now)
            telling.prove(draft, UNIT, person, NoticeKind.ALL_WELL, text)
    owner = draft.subject(UNIT)
    left = {person: at for person, at in owner.wells.items() if at > now}
    draft.put(replace(owner, wells=left))
