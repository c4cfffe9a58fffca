"""Who is told, in which order, until somebody has it.

In: an alarm that was raised, acknowledged, or returned; time. Out: notices, and the alarm's call.
Knows nothing of contacts, services or addresses.

A high alarm is told at any hour; a medium one in a person's waking hours (or working hours, where
the plan says so) and a low one in working hours, else it is held for that person and said to be.
Who has something of the panel, or was called to it lately, hears of a new alarm at its first step.
An alarm that is put aside, or that goes to a visitor alone, has its list paused: when that is
over the list begins at its first step.
"""

from dataclasses import replace

from relayd.core.calling import concerned, duty, lists, no_way, realarm, telling
from relayd.core.calling.acknowledging import (
    SEEN_QUIET,
    TAKEN_DEFAULT,
    acknowledged,
    ended,
    looked_high,
    returned,
)
from relayd.core.calling.digests import release
from relayd.core.calling.lists import QUIET_REPEAT, RANK, Foreseen, foreseen, list_of
from relayd.core.calling.telling import owe, tell
from relayd.core.draft import UNIT, Draft
from relayd.core.life import marks
from relayd.core.life.alarm import Happening, following
from relayd.core.plan import CallList, Priority
from relayd.core.state import Alarm, Call, NoticeKind
from relayd.core.upkeep import visits

REALARM = realarm.UNKNOWN_RESERVE
TAKEN_GRACE = realarm.TAKEN_GRACE
RECORDED_ONLY = "its priority is record-only"

__all__ = [
    "QUIET_REPEAT",
    "REALARM",
    "SEEN_QUIET",
    "TAKEN_DEFAULT",
    "TAKEN_GRACE",
    "Foreseen",
    "acknowledged",
    "begin",
    "climb",
    "due",
    "ended",
    "foreseen",
    "list_of",
    "looked_high",
    "owe",
    "realarmed",
    "release",
    "returned",
    "tell",
    "updated",
]


def begin(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """Start (or start again) the call list of a raised alarm; who waits for its end waits for it."""
    before = draft.subject(subject).alarms.get(alarm.condition)
    calls = lists.calls_for(draft.plan, subject, alarm.condition, alarm.priority)
    turn = alarm.call.round + 1 if alarm.call else 1
    call = Call(
        draft.now.up,
        due=draft.now.up + calls.steps[0].after,
        round=turn,
        priority=alarm.priority,
    )
    held = {**(before.held if before else {}), **alarm.held}
    return replace(alarm, call=call, held=held, morning=None)


def climb(draft: Draft, subject: str, condition: str) -> None:
    """Tell everybody whose step has come."""
    alarm = draft.alarm(subject, condition)
    call = alarm.call
    if call is None or call.stopped is not None:
        return
    owner = draft.subject(subject)
    why = marks.quiet(alarm, owner)
    if not why and alarm.priority is Priority.RECORD_ONLY:
        why = RECORDED_ONLY
    if why:
        alarm = _paused(draft, subject, alarm, why)
    elif visits.only_visitor(draft, subject, alarm):
        alarm = _to_the_visitor(draft, subject, alarm)
    else:
        alarm = _climbed(draft, subject, _woken(draft, subject, alarm, call))
    draft.put_alarm(subject, alarm)


def due(alarm: Alarm) -> int | None:
    """When this alarm's people are next to be told something."""
    times = [alarm.call.due if alarm.call else None, alarm.realarm, alarm.update, alarm.morning]
    times.append(alarm.rise)
    times += alarm.held.values()
    return min((each for each in times if each is not None), default=None)


def realarmed(draft: Draft, subject: str, condition: str) -> None:
    """Still active although it was acknowledged: as if it had just occurred."""
    alarm = draft.alarm(subject, condition)
    process = following(alarm.process, Happening.REALARMED)
    alarm = replace(alarm, process=process, realarm=None, rise=None, taken=None, seen={})
    draft.record("re-alarmed", subject, condition=condition, state=process.value)
    draft.put_alarm(subject, begin(draft, subject, alarm))


def updated(draft: Draft, subject: str, condition: str) -> None:
    """What is known has changed: those already told hear it."""
    alarm = draft.alarm(subject, condition)
    alarm = replace(alarm, update=None)
    why = marks.quiet(alarm, draft.subject(subject))
    if why:
        telling.not_told(draft, subject, alarm, why)
    else:
        persons = _hear_news(draft, subject, alarm)
        alarm = telling.tell_in_hours(draft, subject, alarm, persons, NoticeKind.UPDATE)
    draft.put_alarm(subject, replace(alarm, told_row=alarm.row, told_notes=alarm.notes))


def _hear_news(draft: Draft, subject: str, alarm: Alarm) -> tuple[str, ...]:
    """Who was told of it; of those the visitor alone, where it is the visitor's matter."""
    visitor = visits.visitor(draft, subject)
    taken = alarm.taken is not None and alarm.taken.person == visitor
    if visitor in alarm.told and (taken or visits.only_visitor(draft, subject, alarm)):
        return (visitor,)
    return alarm.told


def _paused(draft: Draft, subject: str, alarm: Alarm, why: str) -> Alarm:
    """Nobody is told until the pause is over; said once, and who was held is called anew then."""
    if alarm.call is None or alarm.call.due is None:
        return alarm
    telling.not_told(draft, subject, alarm, why)
    return replace(alarm, call=replace(alarm.call, due=None), held={})


def _to_the_visitor(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """Somebody is at the panel: that person hears it at once, and nobody else yet."""
    call, visitor = alarm.call, visits.visitor(draft, subject)
    untold = visitor not in alarm.told
    if call is None or (call.due is None and not untold):
        return alarm
    news = call.step == 0 or untold
    alarm = _paused(draft, subject, alarm, f"{visitor} is at the panel")
    if news:
        alarm = telling.told(alarm, visitor)
        telling.tell(draft, subject, alarm, visitor, NoticeKind.RAISED)
    return alarm


def _woken(draft: Draft, subject: str, alarm: Alarm, call: Call) -> Alarm:
    """After a pause, or where it has become more urgent, the list begins at its first step."""
    graver = RANK[alarm.priority] > RANK[call.priority]
    if graver:
        draft.record(
            "call list begins again",
            subject,
            condition=alarm.condition,
            why=f"{alarm.priority.value}, it was {call.priority.value}",
        )
    alarm = begin(draft, subject, alarm) if graver or call.due is None else alarm
    return replace(alarm, held={}) if graver else alarm


def _climbed(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    calls = lists.calls_for(draft.plan, subject, alarm.condition, alarm.priority)
    away, call = draft.subject(UNIT).away, alarm.call
    while call is not None and call.due is not None and call.due <= draft.now.up:
        first, after = _beside(draft, subject, alarm, call)
        alarm = _told_beside(draft, subject, alarm, first)
        alarm, found = _step(draft, subject, alarm, calls, call.step, first)
        alarm = _told_beside(draft, subject, alarm, after)
        step = call.step + 1 if found is not None else len(calls.steps)
        at = lists.next_due(draft.plan, away, calls, alarm.priority, step, call.began, draft.now)
        skipped = found is False and step < len(calls.steps)
        call = replace(call, step=step, due=draft.now.up if skipped else at)
    return replace(alarm, call=call)


def _beside(
    draft: Draft, subject: str, alarm: Alarm, call: Call
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Who hears of it beside the list, before the step and after it: of a new alarm, at its first."""
    if call.step or call.round > 1:
        return (), ()
    away = draft.subject(UNIT).away
    return concerned.beside(draft.plan, draft.subject(subject), away, alarm.priority, draft.now)


def _told_beside(draft: Draft, subject: str, alarm: Alarm, persons: tuple[str, ...]) -> Alarm:
    for person in persons:
        if person not in alarm.told and person not in alarm.held:
            alarm = _tell_unless_seen(draft, subject, alarm, person, draft.now.up)
    return alarm


def _step(
    draft: Draft,
    subject: str,
    alarm: Alarm,
    calls: CallList,
    step: int,
    already: tuple[str, ...],
) -> tuple[Alarm, bool | None]:
    """Tell those of one step; whether it found somebody (None: nobody on the whole list is there)."""
    away = draft.subject(UNIT).away
    found = False
    for name in lists.names_at(calls, step):
        persons = lists.resolved(draft.plan, away, name, alarm.priority, draft.now)
        if not persons:
            telling.not_told(draft, subject, alarm, "nobody on duty", name)
        reachable = no_way.reachable(draft, persons, alarm.priority)
        found = found or bool(reachable)
        for person, at in persons:
            if person not in already and not no_way.owed(draft, alarm, calls, step, person):
                alarm = _tell_unless_seen(draft, subject, alarm, person, at)
        if persons and not reachable:
            no_way.record(draft, subject, alarm, tuple(person for person, _ in persons))
    everybody = lists.everyone(calls)
    if found or alarm.priority is not Priority.HIGH:
        return alarm, found
    if duty.persons(draft.plan, away, everybody, draft.now):
        return alarm, found
    # A high alarm never ends in nobody: away or not, everybody hears it.
    for person in duty.everybody(draft.plan, everybody):
        alarm = _tell_unless_seen(draft, subject, alarm, person, draft.now.up)
    return alarm, None


def _tell_unless_seen(draft: Draft, subject: str, alarm: Alarm, person: str, at: int) -> Alarm:
    if alarm.seen.get(person, 0) > draft.now.up:
        telling.not_told(draft, subject, alarm, "has seen it already", person)
        return alarm
    if at > draft.now.up:
        return telling.hold(draft, subject, alarm, person, at)
    alarm = telling.told(alarm, person)
    telling.tell(draft, subject, alarm, person, NoticeKind.RAISED)
    return alarm
