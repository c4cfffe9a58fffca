"""Who is told, in which order, until somebody has it.

In: an alarm that was raised, acknowledged, or returned; time. Out: notices, and the alarm's call.
Knows nothing of contacts, services or addresses.

Two acts are told apart. `seen` is the standard's acknowledge: that person is left alone for a
while and the call list goes on. `taken` is 'I have it': it stops the call list and holds until a
promised time; what is still active half an hour after that time calls again from the first step.
"""

from dataclasses import replace

from relayd.core import outbox, texts
from relayd.core.alarm import ACTIVE, Happening, following
from relayd.core.draft import Draft
from relayd.core.events import Act
from relayd.core.plan import HOUR, MINUTE, CallList, Plan, Priority
from relayd.core.state import Alarm, Call, CallStop, Notice, NoticeKind, Process, Send, Take

SEEN_QUIET = 30 * MINUTE
TAKEN_DEFAULT = 60 * MINUTE
TAKEN_GRACE = 30 * MINUTE
REALARM = 60 * MINUTE
QUIET_REPEAT = 24 * HOUR
"""Alarms below high are repeated daily, not through the night."""


def list_of(plan: Plan, subject: str) -> CallList:
    """The call list for a subject: its panel's own, else the unit's."""
    kind, _, name = subject.partition(":")
    panel = plan.panels.get(name) if kind == "panel" else None
    return plan.call_lists[panel.call_list if panel else plan.call_list]


def begin(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """Start (or start again) the call list of a raised alarm."""
    first = list_of(draft.plan, subject).steps[0]
    turn = alarm.call.round + 1 if alarm.call else 1
    return replace(alarm, call=Call(draft.now.up, due=draft.now.up + first.after, round=turn))


def climb(draft: Draft, subject: str, condition: str) -> None:
    """Tell everybody whose step has come."""
    alarm = draft.alarm(subject, condition)
    calls, call = list_of(draft.plan, subject), alarm.call
    while call is not None and call.due is not None and call.due <= draft.now.up:
        for person in _persons(calls, call.step):
            alarm = _tell_unless_seen(draft, subject, alarm, person)
        call = _next(calls, alarm, call, draft.now.up)
    draft.put_alarm(subject, replace(alarm, call=call))


def due(alarm: Alarm) -> int | None:
    """When this alarm's people are next to be told something."""
    times = [alarm.call.due if alarm.call else None, alarm.realarm, alarm.update]
    return min((each for each in times if each is not None), default=None)


def acknowledged(
    draft: Draft, subject: str, condition: str, person: str, act: Act, until: int
) -> None:
    """A person noticed the alarm, or has it until boot time `until`."""
    alarm = draft.alarm(subject, condition)
    before = alarm.process
    alarm = replace(alarm, process=following(before, Happening.ACKNOWLEDGED))
    draft.record("acknowledged", subject, condition=condition, person=person, act=act.value)
    if act is Act.SEEN:
        quiet = draft.now.up + SEEN_QUIET
        alarm = replace(alarm, seen={**alarm.seen, person: quiet})
        if alarm.process in ACTIVE and alarm.taken is None:
            alarm = replace(alarm, realarm=alarm.realarm or draft.now.up + REALARM)
    elif alarm.process in ACTIVE:
        alarm = _take(draft, subject, alarm, person, until)
    if before is Process.RTNUN:
        alarm = ended(draft, subject, alarm)
    draft.put_alarm(subject, alarm)
    _withdraw_for(draft, alarm.occurrence, None if act is Act.TAKEN else person)
    if act is Act.TAKEN and alarm.process in ACTIVE:
        for other in alarm.told:
            if other != person:
                tell(draft, subject, alarm, other, NoticeKind.TAKEN)


def returned(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """The condition is gone: the call list stops, and exactly those who were told hear of it."""
    call = alarm.call and replace(
        alarm.call, due=None, stopped=alarm.call.stopped or CallStop.RETURNED
    )
    alarm = replace(alarm, call=call, realarm=None, update=None, returned=draft.stamp)
    outbox.withdraw_occurrence(draft, alarm.occurrence, "returned to normal")
    for person in alarm.told:
        tell(draft, subject, alarm, person, NoticeKind.STAND_DOWN)
    return alarm


def realarmed(draft: Draft, subject: str, condition: str) -> None:
    """Still active although it was acknowledged: as if it had just occurred."""
    alarm = draft.alarm(subject, condition)
    process = following(alarm.process, Happening.REALARMED)
    alarm = replace(alarm, process=process, realarm=None, taken=None, seen={})
    draft.record("re-alarmed", subject, condition=condition, state=process.value)
    draft.put_alarm(subject, begin(draft, subject, alarm))


def updated(draft: Draft, subject: str, condition: str) -> None:
    """What is known has changed: those already told hear it."""
    alarm = draft.alarm(subject, condition)
    alarm = replace(alarm, update=None, told_row=alarm.row)
    for person in alarm.told:
        tell(draft, subject, alarm, person, NoticeKind.UPDATE)
    draft.put_alarm(subject, alarm)


def ended(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """Normal and acknowledged: the occurrence is over."""
    draft.record(
        "occurrence ended",
        subject,
        condition=alarm.condition,
        occurrence=draft.ref(alarm.occurrence),
    )
    call = alarm.call and replace(
        alarm.call, due=None, stopped=alarm.call.stopped or CallStop.ENDED
    )
    return replace(alarm, call=call, taken=None, seen={}, realarm=None, update=None)


def tell(draft: Draft, subject: str, alarm: Alarm, person: str, kind: NoticeKind) -> None:
    """Owe one notice to one person over all of that person's channels."""
    about = subject.removeprefix("channel:")
    channels = [name for name in draft.plan.people[person].channels if name != about]
    number = draft.number()
    text = texts.compose(
        draft.plan, draft.subjects, subject, alarm, person, kind, draft.now, draft.ref
    )
    sends = tuple(Send(draft.number(), name, due=draft.now.up) for name in channels)
    notice = Notice(
        id=number,
        subject=subject,
        condition=alarm.condition,
        occurrence=alarm.occurrence,
        person=person,
        kind=kind,
        priority=alarm.priority,
        title=text.title,
        short=text.short,
        long=text.long,
        made=draft.stamp,
        sends=sends,
    )
    outbox.keep(draft, notice)


def _persons(calls: CallList, step: int) -> tuple[str, ...]:
    if step < len(calls.steps):
        return calls.steps[step].persons
    return tuple(dict.fromkeys(person for each in calls.steps for person in each.persons))


def _next(calls: CallList, alarm: Alarm, call: Call, now: int) -> Call:
    step = call.step + 1
    if step < len(calls.steps):
        return replace(call, step=step, due=max(now, call.began + calls.steps[step].after))
    pause = calls.slow if now - call.began >= calls.slow_after else calls.repeat
    if alarm.priority is not Priority.HIGH:
        pause = QUIET_REPEAT
    return replace(call, step=step, due=now + pause)


def _tell_unless_seen(draft: Draft, subject: str, alarm: Alarm, person: str) -> Alarm:
    if alarm.seen.get(person, 0) > draft.now.up:
        draft.record(
            "not told", subject, condition=alarm.condition, person=person, why="has seen it already"
        )
        return alarm
    told = alarm.told if person in alarm.told else (*alarm.told, person)
    alarm = replace(alarm, told=told, told_row=alarm.row)
    tell(draft, subject, alarm, person, NoticeKind.RAISED)
    return alarm


def _take(draft: Draft, subject: str, alarm: Alarm, person: str, until: int) -> Alarm:
    wall = draft.now.wall + until - draft.now.up
    call = alarm.call and replace(alarm.call, due=None, stopped=CallStop.TAKEN)
    take = Take(person, draft.stamp, until, wall)
    draft.record("call list stopped", subject, condition=alarm.condition, why=f"{person} has it")
    return replace(alarm, call=call, taken=take, realarm=until + TAKEN_GRACE)


def _withdraw_for(draft: Draft, occurrence: int, person: str | None) -> None:
    """Who has answered, or when somebody has it everybody, needs no older notice any more."""
    for notice in list(draft.notices.values()):
        mine = person is None or notice.person == person
        if notice.occurrence == occurrence and mine and notice.kind is not NoticeKind.STAND_DOWN:
            outbox.withdraw(draft, notice, "acknowledged")
