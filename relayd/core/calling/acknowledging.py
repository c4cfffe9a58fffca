"""The two acts of acknowledging, and how an occurrence ends.

In: a person's act, an alarm that returned. Out: the alarm as it then stands, and word to those
who were told. Knows nothing of contacts, services or addresses.

`seen` is the standard's acknowledge: that person is left alone for a while and the call list goes
on. `taken` is 'I have it': it stops the call list and holds until a promised time; what is still
active half an hour after that time calls again from the first step. What returned and nobody
acknowledged becomes a low item of the next working mornings.
"""

from dataclasses import replace

from relayd.core.calling import concerned, duty, hours, lists, outbox, realarm, telling
from relayd.core.conditions import LEVELS, base_of
from relayd.core.draft import UNIT, Draft
from relayd.core.events import Act
from relayd.core.findings import FOLDED
from relayd.core.life.alarm import ACTIVE, Happening, following
from relayd.core.plan import MINUTE, Priority
from relayd.core.state import Alarm, CallStop, NoticeKind, Process, Take

SEEN_QUIET = 30 * MINUTE
TAKEN_DEFAULT = 60 * MINUTE
UNANSWERED = frozenset({Process.RTNUN, Process.LATUN})
"""The condition has gone, and nobody has acknowledged it."""


def acknowledged(
    draft: Draft, subject: str, condition: str, person: str, act: Act, until: int
) -> None:
    """A person noticed the alarm, or has it until boot time `until`."""
    alarm = draft.alarm(subject, condition)
    before = alarm.process
    after = following(before, Happening.ACKNOWLEDGED)
    alarm = replace(alarm, process=after, morning=None, answered=person)
    draft.record("acknowledged", subject, condition=condition, person=person, act=act.value)
    _withdraw_for(draft, alarm.occurrence, None if act is Act.TAKEN else person)
    if act is Act.SEEN:
        alarm = _seen(draft, subject, alarm, person)
    elif alarm.process in ACTIVE:
        alarm = _take(draft, subject, alarm, person, until)
    else:
        # The others for whom it was held still hear of it, once, and who answered.
        alarm = _let_go(draft, subject, alarm, (person,), "has answered it")
    if before is Process.RTNUN:
        alarm = ended(draft, subject, alarm)
    draft.put_alarm(subject, alarm)


def returned(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """The condition is gone: the call list stops, and exactly those who were told hear of it."""
    call = alarm.call and replace(
        alarm.call, due=None, stopped=alarm.call.stopped or CallStop.RETURNED
    )
    alarm = replace(alarm, call=call, realarm=None, update=None, returned=draft.stamp)
    outbox.withdraw_occurrence(draft, alarm.occurrence, "returned to normal")
    if alarm.process in UNANSWERED and alarm.priority is not Priority.RECORD_ONLY:
        alarm = replace(alarm, morning=next_morning(draft, subject), mornings=0)
    waiting = [person for person in alarm.told if person not in alarm.held]
    return telling.tell_in_hours(draft, subject, alarm, waiting, NoticeKind.STAND_DOWN)


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
    return replace(alarm, call=call, taken=None, seen={}, realarm=None, update=None, morning=None)


def looked_high(draft: Draft, subject: str, person: str) -> None:
    """Somebody looked and says that the water stands high: those already told hear it."""
    for alarm in draft.subject(subject).alarms.values():
        if base_of(alarm.condition) in LEVELS and alarm.process in ACTIVE:
            name = draft.plan.people[person].name
            news = replace(alarm, detail=f"{name} has looked: it is high.")
            others = [each for each in alarm.told if each != person]
            news = telling.tell_in_hours(draft, subject, news, others, NoticeKind.UPDATE)
            draft.put_alarm(subject, replace(alarm, held=news.held))


def morning_person(draft: Draft, subject: str) -> str:
    """Who hears in the morning of what nobody answered: the first of the low list who is there.

    Where nobody of that list is there, its first person all the same; never nobody.
    """
    names = lists.everyone(lists.list_of(draft.plan, subject, Priority.LOW))
    away = draft.subject(UNIT).away
    there = (
        *duty.persons(draft.plan, away, names, draft.now),
        *duty.everybody(draft.plan, names),
        *draft.plan.people,
    )
    return there[0]


def next_morning(draft: Draft, subject: str, after: int = 0) -> int:
    """Boot time of the next working morning of whoever hears of what nobody answered."""
    then = hours.later(draft.now, draft.now.up + after)
    person = draft.plan.people[morning_person(draft, subject)]
    return hours.next_opening(draft.plan, person, then)


def _seen(draft: Draft, subject: str, alarm: Alarm, person: str) -> Alarm:
    alarm = replace(alarm, seen={**alarm.seen, person: draft.now.up + SEEN_QUIET})
    alarm = _let_go(draft, subject, alarm, (person,), "has seen it already")
    if alarm.process not in ACTIVE or alarm.taken is not None:
        return alarm
    again = realarm.after_seen(draft.plan, subject, alarm, draft.now.up)
    return replace(alarm, realarm=alarm.realarm or again)


def _take(draft: Draft, subject: str, alarm: Alarm, person: str, until: int) -> Alarm:
    wall = draft.now.wall + until - draft.now.up
    call = alarm.call and replace(alarm.call, due=None, stopped=CallStop.TAKEN)
    again = realarm.after_taken(draft.plan, subject, alarm, until, draft.now.up)
    draft.record("call list stopped", subject, condition=alarm.condition, why=f"{person} has it")
    concerned.promised(draft, subject, person, until)
    alarm = replace(alarm, call=call, taken=Take(person, draft.stamp, until, wall), realarm=again)
    alarm = _let_go(draft, subject, alarm, tuple(alarm.held), f"{person} has it")
    if alarm.suppressed in FOLDED:
        return alarm  # the alarm that tells it has been taken as well, and says so
    others = [each for each in alarm.told if each != person]
    # Who takes it hears of its end, whether or not a step had come to him.
    alarm = telling.told(alarm, person)
    return telling.tell_in_hours(draft, subject, alarm, others, NoticeKind.TAKEN)


def _let_go(draft: Draft, subject: str, alarm: Alarm, persons: tuple[str, ...], why: str) -> Alarm:
    """What was held for these persons is not told any more: somebody has answered."""
    for person in persons:
        if person in alarm.held:
            telling.not_told(draft, subject, alarm, why, person)
    held = {person: at for person, at in alarm.held.items() if person not in persons}
    return replace(alarm, held=held)


def _withdraw_for(draft: Draft, occurrence: int, person: str | None) -> None:
    """Who has answered, or when somebody has it everybody, needs no older notice any more."""
    for notice in list(draft.notices.values()):
        mine = person is None or notice.person == person
        if notice.occurrence == occurrence and mine and notice.kind is not NoticeKind.STAND_DOWN:
            outbox.withdraw(draft, notice, "acknowledged")
