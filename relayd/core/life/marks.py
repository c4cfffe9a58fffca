"""The three marks beside the alarm's table: shelved, suppressed by design, out of service.

In: an alarm, its subject, time, a person's wish. Out: marks set and ended, and what happens when
the last one goes. The table of alarm.py runs on beneath them. Knows nothing of contacts.

While a mark stands nobody is told. When the last one goes, what is abnormal is raised as a new
occurrence unless somebody had acknowledged it, what is normal is over, and those who were told
before the mark hear so. The standard leaves that choice to the site (ISA-18.2; value from memory).
"""

from dataclasses import replace

from relayd.core.calling import outbox, realarm, telling
from relayd.core.calling.acknowledging import ended
from relayd.core.calling.lists import panel_of
from relayd.core.conditions import LEVEL_ALARMS, base_of
from relayd.core.draft import Draft
from relayd.core.findings import FOLDED
from relayd.core.life import bursts, limits
from relayd.core.life.alarm import ACTIVE
from relayd.core.life.shown import quiet, shown
from relayd.core.life.urgency import priority
from relayd.core.refusal import Refused
from relayd.core.state import Alarm, Call, Mark, NoticeKind, Process

__all__ = [
    "due",
    "expire",
    "put_back",
    "quiet",
    "released",
    "shelve",
    "shown",
    "suppress",
    "take_out",
    "unshelve",
]


def expire(draft: Draft, subject: str) -> None:
    """End what is over, and let alarms whose last mark went be seen again."""
    now, over = draft.now.up, "its time is over"
    out = draft.subject(subject).out
    if out is not None and out.until <= now:
        _in_service(draft, subject, "", "", over)
    for condition, alarm in draft.subject(subject).alarms.items():
        if alarm.shelved is not None and alarm.shelved.until <= now:
            _unshelved(draft, subject, condition, "", over)
        if alarm.out is not None and alarm.out.until <= now:
            _in_service(draft, subject, condition, "", over)


def due(draft: Draft, subject: str) -> int | None:
    """When the next mark of this subject ends (boot ns)."""
    owner = draft.subject(subject)
    marks = [owner.out]
    for alarm in owner.alarms.values():
        marks += [alarm.shelved, alarm.out]
    return min((each.until for each in marks if each is not None), default=None)


def shelve(
    draft: Draft, subject: str, condition: str, person: str, until: int, why: str
) -> Refused | None:
    """A person puts one alarm aside until boot time `until`; None where that was done."""
    refused = limits.no_shelf(draft, subject, condition, person, until)
    if refused is not None:
        return refused
    alarm, mark = _alarm(draft, subject, condition), _mark(draft, person, until, why)
    before = quiet(alarm, draft.subject(subject))
    draft.put_alarm(subject, replace(alarm, shelved=mark))
    _set(draft, "shelved", subject, condition, mark)
    _hush(draft, subject, condition, before)
    return None


def unshelve(draft: Draft, subject: str, condition: str, person: str) -> Refused | None:
    """A person ends a shelving."""
    alarm = draft.subject(subject).alarms.get(condition)
    if alarm is None or alarm.shelved is None:
        return Refused("not-shelved", f"{condition} is not paused: nothing to do")
    _unshelved(draft, subject, condition, person, "")
    return None


def take_out(
    draft: Draft, subject: str, condition: str, person: str, until: int, why: str
) -> Refused | None:
    """A person takes an alarm ('' = the whole panel) out of service until boot time `until`."""
    refused = limits.no_service(draft, subject, condition, until)
    if refused is not None:
        return refused
    mark, owner = _mark(draft, person, until, why), draft.subject(subject)
    if condition:
        alarm = _alarm(draft, subject, condition)
        draft.put_alarm(subject, replace(alarm, out=mark))
        before = {condition: quiet(alarm, owner)}
    else:
        draft.put(replace(owner, out=mark))
        before = {name: quiet(alarm, owner) for name, alarm in owner.alarms.items()}
    _set(draft, "out of service", subject, condition, mark)
    for name, was in before.items():
        _hush(draft, subject, name, was)
    return None


def put_back(draft: Draft, subject: str, condition: str, person: str) -> Refused | None:
    """A person returns an alarm ('' = the whole panel) to service."""
    owner = draft.subject(subject)
    alarm = owner.alarms.get(condition)
    out = (alarm.out if alarm else None) if condition else owner.out
    if out is None and condition and owner.out is not None:
        return Refused("panel-out", "the whole panel is out of service: return the panel itself")
    if out is None:
        return Refused("not-out", f"{condition or 'the panel'} is in service: nothing to do")
    _in_service(draft, subject, condition, person, "")
    return None


def suppress(draft: Draft, subject: str, condition: str, why: str) -> None:
    """The diagnosis suppresses this alarm by design, because of `why` ('' = no longer).

    An alarm about water that stands keeps its state and its call list.
    """
    alarm = draft.subject(subject).alarms.get(condition)
    before = alarm.suppressed if alarm else ""
    if why == before:
        return
    alarm = alarm or _alarm(draft, subject, condition)
    if not before and alarm.process in ACTIVE and base_of(condition) in LEVEL_ALARMS:
        return
    was = quiet(alarm, draft.subject(subject))
    draft.put_alarm(subject, replace(alarm, suppressed=why))
    if not why:
        draft.record("suppression ended", subject, condition=condition, why=before)
        released(draft, subject, condition)
    elif not before:
        draft.record("suppressed by design", subject, condition=condition, why=why)
        _hush(draft, subject, condition, was, word=why not in FOLDED)


def released(draft: Draft, subject: str, condition: str) -> None:
    """Let an alarm be seen again, unless another mark still stands."""
    owner, alarm = draft.subject(subject), draft.alarm(subject, condition)
    if quiet(alarm, owner):
        return
    if not alarm.occurrence:
        kept = {name: each for name, each in owner.alarms.items() if name != condition}
        draft.put(replace(owner, alarms=kept))
        return
    outbox.withdraw_occurrence(draft, alarm.occurrence, "no longer put aside")
    if alarm.process in ACTIVE:
        _seen_again(draft, subject, alarm)
    else:
        _over(draft, subject, alarm)


def _seen_again(draft: Draft, subject: str, alarm: Alarm) -> None:
    """Abnormal still: acknowledged it stays so, else it is told as if it had just occurred."""
    if alarm.process is Process.ACKED:
        again = realarm.after_seen(draft.plan, subject, alarm, draft.now.up)
        if alarm.taken is not None:
            alarm = telling.told(alarm, alarm.taken.person)
        draft.put_alarm(subject, replace(alarm, realarm=alarm.realarm or again))
        return
    number = draft.number()
    draft.record(
        "raised",
        subject,
        condition=alarm.condition,
        row=alarm.row,
        occurrence=draft.ref(number),
        detail=alarm.detail,
        why="it was put aside, and is still there",
    )
    bursts.noted(draft)
    before = alarm.call or Call(draft.now.up, round=0, priority=alarm.priority)
    # A list that waits without a time begins at its first step, in this same step of the machine.
    call = replace(before, due=None, stopped=None)
    fresh = replace(alarm, occurrence=number, told=(), seen={}, taken=None, realarm=None, call=call)
    fresh = replace(fresh, update=None)
    draft.put_alarm(subject, replace(fresh, told_row=alarm.row, told_notes=alarm.notes))


def _over(draft: Draft, subject: str, alarm: Alarm) -> None:
    """Normal: the occurrence is over, and those who were told before the mark hear so."""
    before = alarm.process
    if before is not Process.NORM:
        alarm = ended(draft, subject, replace(alarm, process=Process.NORM))
    alarm = telling.tell_in_hours(draft, subject, alarm, alarm.told, NoticeKind.STAND_DOWN)
    draft.put_alarm(subject, replace(alarm, told=(), chattering=None))


def _hush(draft: Draft, subject: str, condition: str, before: str, word: bool = True) -> None:
    """Stop calling; those who were told hear that it is put aside, once, unless no `word` is due."""
    alarm = draft.alarm(subject, condition)
    told = alarm.told if alarm.process in ACTIVE or alarm.chattering is not None else ()
    if before:
        return
    if alarm.occurrence:
        reason = quiet(alarm, draft.subject(subject))
        outbox.withdraw_occurrence(draft, alarm.occurrence, reason)
    alarm = replace(alarm, update=None, held={}, morning=None, told=told)
    if word:
        alarm = telling.tell_in_hours(draft, subject, alarm, told, NoticeKind.UPDATE)
    draft.put_alarm(subject, alarm)


def _unshelved(draft: Draft, subject: str, condition: str, person: str, why: str) -> None:
    draft.put_alarm(subject, replace(draft.alarm(subject, condition), shelved=None))
    draft.record("shelving ended", subject, condition=condition, by=person, why=why)
    released(draft, subject, condition)


def _in_service(draft: Draft, subject: str, condition: str, person: str, why: str) -> None:
    owner = draft.subject(subject)
    if condition:
        draft.put_alarm(subject, replace(owner.alarms[condition], out=None))
    else:
        draft.put(replace(owner, out=None))
    draft.record("in service", subject, condition=condition, by=person, why=why)
    for name in [condition] if condition else list(owner.alarms):
        released(draft, subject, name)


def _mark(draft: Draft, person: str, until: int, why: str) -> Mark:
    return Mark(person, draft.stamp, until, draft.now.wall + until - draft.now.up, why)


def _set(draft: Draft, kind: str, subject: str, condition: str, mark: Mark) -> None:
    draft.record(
        kind, subject, condition=condition, by=mark.by, until=mark.until_wall, why=mark.why
    )


def _alarm(draft: Draft, subject: str, condition: str) -> Alarm:
    """The alarm, or one that was never raised: only its marks are kept of it."""
    known = draft.subject(subject).alarms.get(condition)
    panel, now = panel_of(draft.plan, subject), draft.now
    usual = priority(draft.plan, panel, condition, None, now.up, now)
    return known or Alarm(condition, usual)
