"""Answers that come from afar by mail: that they were taken is told to who sent them, or why not.

In: what was done, or why nothing was. Out: word to that person over the channels of the plan, and
a record. A broker and the command line answer their asker themselves.
"""

from relayd.core.calling import callout, telling
from relayd.core.draft import UNIT, Draft
from relayd.core.events import Acknowledge, Act, AnswerUnused, Commanded, Unused
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Priority
from relayd.core.saying import texts_afar
from relayd.core.saying.letter import Desk
from relayd.core.state import Alarm, NoticeKind

MAILBOX = "mailbox"


def done(draft: Draft, event: Commanded, code: str) -> None:
    """It was done: who asked by mail is told so, while the alarm lasts."""
    command = event.command
    if event.way != MAILBOX or not isinstance(command, Acknowledge):
        return
    found = _about(draft, command.occurrence or "")
    if found is not None:
        subject, alarm = found
        person = draft.plan.people[event.by]
        place, lasts = _place(draft, subject, event.by), alarm.process in ACTIVE
        text = texts_afar.taken(draft.plan, person, Act(code), place, lasts)
        telling.say(draft, subject, alarm, event.by, NoticeKind.UPDATE, text)


def refused(draft: Draft, event: Commanded, code: str) -> None:
    """The core refused it: who asked by mail is told so."""
    command = event.command
    if event.way == MAILBOX and isinstance(command, Acknowledge):
        occurrence = command.occurrence or ""
        unused(draft, AnswerUnused(MAILBOX, Unused.REFUSED, code, event.by, occurrence))


def unused(draft: Draft, event: AnswerUnused) -> None:
    """An answer from afar could not be used: recorded, and told to whose it is, where one is awaited."""
    found = _about(draft, event.occurrence)
    subject = found[0] if found else UNIT
    about = {"person": event.person, "occurrence": event.occurrence, "left_out": event.left_out}
    draft.record(
        "answer not used",
        subject,
        way=event.way,
        why=event.why.value,
        say=event.say,
        **{key: value for key, value in about.items() if value},
    )
    person = draft.plan.people.get(event.person)
    if person is not None and (found or _is_asked(draft, person.id)):
        place = _place(draft, subject, person.id)
        text = texts_afar.unused(draft.plan, person, event.why, place, event.last)
        # It is no news of the alarm: what is still owed of that goes out beside it.
        callout.owe(draft, subject, person.id, NoticeKind.QUESTION, Priority.HIGH, text)


def _is_asked(draft: Draft, person: str) -> bool:
    """Whether that person was told of something that stands: else a mail without a good code is no answer."""
    alarms = (each for owner in draft.subjects.values() for each in owner.alarms.values())
    return any(each.process in ACTIVE and person in each.told for each in alarms)


def _about(draft: Draft, occurrence: str) -> tuple[str, Alarm] | None:
    """The alarm that is open under that outside id."""
    for subject in draft.subjects.values():
        for alarm in subject.alarms.values():
            if alarm.occurrence and draft.ref(alarm.occurrence) == occurrence:
                return subject.id, alarm
    return None


def _place(draft: Draft, subject: str, person: str) -> str:
    reader = draft.plan.people[person]
    return Desk(draft.plan, draft.subjects, subject, reader, draft.now).place
