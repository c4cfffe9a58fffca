"""Notices: made at once for a person over that person's channels, or held for that person's hours.

In: an alarm or a finished text, a person. Out: a notice in the outbox, or the alarm with that
person held. Knows nothing of call lists. A high alarm is never held. Every reason for silence is
a record: 'held' says until when, 'not told' says why.
"""

from collections.abc import Iterable
from dataclasses import replace

from relayd.core.calling import bundles, concerned, hours, ways
from relayd.core.calling.lists import RANK
from relayd.core.draft import Draft
from relayd.core.life.news import as_told
from relayd.core.plan import Priority
from relayd.core.saying import texts, when
from relayd.core.saying.sentences import GONE
from relayd.core.state import Alarm, Notice, NoticeKind


def tell(draft: Draft, subject: str, alarm: Alarm, person: str, kind: NoticeKind) -> None:
    """Owe one notice of an occurrence to one person."""
    text = texts.compose(
        draft.plan, draft.subjects, subject, alarm, person, kind, draft.now, draft.ref
    )
    say(draft, subject, alarm, person, kind, text)
    if kind is NoticeKind.RAISED and RANK[alarm.priority] >= RANK[Priority.MEDIUM]:
        concerned.called(draft, subject, person)


def say(
    draft: Draft, subject: str, alarm: Alarm, person: str, kind: NoticeKind, text: texts.Text
) -> None:
    """Owe these words about an occurrence to one person."""
    about = (alarm.condition, alarm.occurrence)
    _owe(draft, subject, about, person, kind, alarm.priority, text)


def owe(
    draft: Draft,
    subject: str,
    person: str,
    kind: NoticeKind,
    priority: Priority,
    text: texts.Text,
) -> None:
    """Owe a notice that belongs to no occurrence: a reminder, a question, word of a visit."""
    _owe(draft, subject, ("", 0), person, kind, priority, text)


def prove(draft: Draft, subject: str, person: str, kind: NoticeKind, text: texts.Text) -> None:
    """Owe a low notice over every channel of that person, also those that are kept for graver ones."""
    every = draft.plan.people[person].channels
    _owe(draft, subject, ("", 0), person, kind, Priority.LOW, text, every)


def told(alarm: Alarm, person: str) -> Alarm:
    """The alarm with that person among those told, and waiting for nothing."""
    known = alarm.told if person in alarm.told else (*alarm.told, person)
    held = {other: at for other, at in alarm.held.items() if other != person}
    return replace(as_told(alarm), told=known, held=held)


def tell_in_hours(
    draft: Draft, subject: str, alarm: Alarm, persons: Iterable[str], kind: NoticeKind
) -> Alarm:
    """Tell those whose hours allow it now; the others are held until theirs begin."""
    for person in persons:
        at = hours.may_tell(draft.plan, person, alarm.priority, draft.now)
        if at <= draft.now.up or alarm.row == GONE:
            tell(draft, subject, alarm, person, kind)
        else:
            alarm = hold(draft, subject, alarm, person, at)
    return alarm


def hold(draft: Draft, subject: str, alarm: Alarm, person: str, at: int) -> Alarm:
    """Keep it for that person until boot time `at`; recorded once."""
    if person in alarm.held:
        return alarm
    wall = hours.later(draft.now, at).wall
    draft.record(
        "held",
        subject,
        condition=alarm.condition,
        person=person,
        until=when.until(draft.plan, wall, at, draft.now),
        why=f"{alarm.priority.value}: outside this person's hours",
    )
    return replace(alarm, held={**alarm.held, person: at})


def not_told(draft: Draft, subject: str, alarm: Alarm, why: str, person: str = "") -> None:
    """Record why nobody (or not that person) is told."""
    whom = {"person": person} if person else {}
    draft.record("not told", subject, condition=alarm.condition, why=why, **whom)


def _owe(
    draft: Draft,
    subject: str,
    about: tuple[str, int],
    person: str,
    kind: NoticeKind,
    priority: Priority,
    text: texts.Text,
    over: tuple[str, ...] = (),
) -> None:
    number = draft.number()
    about_channel = subject.removeprefix("channel:")
    channels = over or ways.channels_of(draft.plan, person, priority, about_channel)
    notice = Notice(
        id=number,
        subject=subject,
        condition=about[0],
        occurrence=about[1],
        person=person,
        kind=kind,
        priority=priority,
        title=text.title,
        short=text.short,
        long=text.long,
        made=draft.stamp,
        # Whatever is to prove each way goes over all of them at once.
        sends=ways.sends(draft, channels, Priority.HIGH if over else priority),
    )
    bundles.owe(draft, notice)
