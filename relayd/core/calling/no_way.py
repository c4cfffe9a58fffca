"""Nobody of a step can be reached: the next step comes at once.

In: a notice that no way has taken, an alarm with its call list, what is known of channels. Out:
the alarm with its next step due. Knows nothing of texts. Who was not reached is tried further all
the same; a list that is at its end goes on at its own pace.
"""

from dataclasses import replace

from relayd.core.calling import duty, lists, ways
from relayd.core.draft import UNIT, Draft
from relayd.core.plan import CallList, Priority
from relayd.core.state import Alarm, Notice, NoticeKind


def missed(draft: Draft, notice: Notice) -> None:
    """No way to a person works: the next step is due, unless somebody of this one was reached."""
    alarm = draft.subject(notice.subject).alarms.get(notice.condition)
    if alarm is None or notice.kind is not NoticeKind.RAISED:
        return
    call = alarm.call if alarm.occurrence == notice.occurrence and alarm.taken is None else None
    if call is None or call.due is None or call.due <= draft.now.up:
        return
    calls = lists.calls_for(draft.plan, notice.subject, alarm.condition, alarm.priority)
    if call.step < len(calls.steps) and not _reached(draft, alarm, calls, call.step - 1):
        record(draft, notice.subject, alarm, (notice.person,))
        draft.put_alarm(notice.subject, replace(alarm, call=replace(call, due=draft.now.up)))


def reachable(
    draft: Draft, persons: tuple[tuple[str, int], ...], priority: Priority
) -> tuple[str, ...]:
    """Of persons, each with the time from which it may be told, those whom a way may reach."""
    return tuple(
        person
        for person, at in persons
        if at > draft.now.up or not ways.unreachable(draft, person, priority)
    )


def owed(draft: Draft, alarm: Alarm, calls: CallList, step: int, person: str) -> bool:
    """Whether a step that comes early would only repeat what that person is owed already."""
    call = alarm.call
    planned = call is None or step >= len(calls.steps)
    if planned or call is None or draft.now.up >= call.began + calls.steps[step].after:
        return False
    return any(
        each.occurrence == alarm.occurrence
        and each.person == person
        and each.kind is NoticeKind.RAISED
        for each in draft.notices.values()
    )


def record(draft: Draft, subject: str, alarm: Alarm, persons: tuple[str, ...]) -> None:
    """Record that a step reached nobody, and that the next one is not waited for."""
    draft.record("next step at once", subject, condition=alarm.condition, persons=list(persons))


def _reached(draft: Draft, alarm: Alarm, calls: CallList, step: int) -> bool:
    """Whether somebody of that step has been reached, or still may be."""
    away = draft.subject(UNIT).away
    told = (
        person
        for name in lists.names_at(calls, step)
        for person in duty.persons(draft.plan, away, (name,), draft.now)
        if person in alarm.told
    )
    failed = {
        each.person
        for each in draft.notices.values()
        if each.occurrence == alarm.occurrence and ways.missed(each)
    }
    return any(person not in failed for person in told)
