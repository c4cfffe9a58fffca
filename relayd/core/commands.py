"""What people ask for: acknowledge an alarm, say what they saw at the panel.

In: a `Commanded`. Out: an `Answer` that says what was done, or why not and what to do. Nothing is
changed by a command that is refused. Knows nothing of sockets or topics.
"""

from dataclasses import replace

from relayd.core import callout, when
from relayd.core.alarm import ACTIVE
from relayd.core.conditions import FAULT, HIGH_LEVEL
from relayd.core.draft import UNIT, Draft
from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, Commanded, Looked
from relayd.core.plan import HOUR, Means, Person
from relayd.core.state import Alarm, Fact, Process

LONGEST_TAKE = 24 * HOUR
ANSWERABLE = frozenset({Process.UNACK, Process.ACKED, Process.RTNUN, Process.LATUN})


def obey(draft: Draft, event: Commanded) -> tuple[str, ...]:
    """Do it or refuse it; the subjects that changed."""
    person = draft.plan.people.get(event.by)
    if person is None:
        known = ", ".join(sorted(draft.plan.people))
        return _no(
            draft,
            event,
            "unknown-person",
            f"nobody is called '{event.by}'; the plan knows: {known}",
        )
    if isinstance(event.command, Acknowledge):
        return _acknowledge(draft, event, event.command, person)
    return _looked(draft, event, event.command, person)


def _no(draft: Draft, event: Commanded, code: str, say: str) -> tuple[str, ...]:
    draft.record("command refused", UNIT, way=event.way, by=event.by, code=code, say=say)
    draft.effects.append(Answer(event.token, False, code, say))
    return ()


def _acknowledge(
    draft: Draft, event: Commanded, command: Acknowledge, person: Person
) -> tuple[str, ...]:
    until = _until(draft, command)
    if isinstance(until, str):
        return _no(draft, event, "bad-time", until)
    found = _found(draft, command)
    if isinstance(found, str):
        return _no(draft, event, "not-active", found)
    act = command.act or (Act.TAKEN if person.responds else Act.SEEN)
    for subject, alarm in found:
        callout.acknowledged(draft, subject, alarm.condition, person.id, act, until)
        _faults_are_known(draft, alarm)
    stand = [
        alarm for subject, alarm in found if draft.alarm(subject, alarm.condition).process in ACTIVE
    ]
    told = dict.fromkeys(each for alarm in stand for each in alarm.told if each != person.id)
    names = ", ".join(draft.plan.people[each].name for each in told if each in draft.plan.people)
    say = (
        _done(draft, person, act, until, names)
        if stand
        else f"answered by {person.name}: it was over already"
    )
    draft.effects.append(Answer(event.token, True, act.value, say))
    return tuple(dict.fromkeys(subject for subject, _ in found))


def _faults_are_known(draft: Draft, alarm: Alarm) -> None:
    """A fault of relayd itself leaves no contact to watch: it stands until somebody answers."""
    if alarm.condition == FAULT:
        unit = draft.subject(UNIT)
        draft.put(
            replace(unit, said={name: why for name, why in unit.said.items() if name != FAULT})
        )


def _done(draft: Draft, person: Person, act: Act, until: int, names: str) -> str:
    if act is Act.SEEN:
        return (
            f"{person.name} has seen it; the call list goes on until somebody takes it (add: taken)"
        )
    wall = draft.now.wall + until - draft.now.up
    told = f"; told: {names}" if names else "; nobody else had been told"
    return f"{person.name} has it {when.until(draft.plan, wall, until, draft.now)}{told}"


def _until(draft: Draft, command: Acknowledge) -> int | str:
    """Boot time until which it is taken, or what is wrong with the time that was given."""
    now = draft.now
    if command.until is not None and not now.trusted:
        return "the unit's clock is not set: say how long instead (within 45 min)"
    if command.until is not None:
        until = now.up + command.until - now.wall
    else:
        until = now.up + (callout.TAKEN_DEFAULT if command.within is None else command.within)
    if until <= now.up:
        return "that time is over: give one that is still to come"
    if until > now.up + LONGEST_TAKE:
        return "that is too far away: at most 24 h"
    return until


def _found(draft: Draft, command: Acknowledge) -> list[tuple[str, Alarm]] | str:
    """The alarms that are meant, or why there are none."""
    answerable = [
        (subject.id, alarm)
        for subject in draft.subjects.values()
        for alarm in subject.alarms.values()
        if alarm.process in ANSWERABLE
    ]
    refs = ", ".join(draft.ref(alarm.occurrence) for _, alarm in answerable) or "none"
    if command.occurrence is not None:
        found = [each for each in answerable if draft.ref(each[1].occurrence) == command.occurrence]
        return found or f"no open alarm is called '{command.occurrence}'; open now: {refs}"
    name = command.panel or ""
    subject = UNIT if name == draft.plan.unit and name not in draft.plan.panels else f"panel:{name}"
    if subject != UNIT and name not in draft.plan.panels:
        known = ", ".join([*draft.plan.panels, draft.plan.unit])
        return f"no panel is called '{name}'; the plan knows: {known}"
    found = [each for each in answerable if each[0] == subject]
    return found or f"nothing to acknowledge at '{name}'; open now: {refs}"


def _looked(draft: Draft, event: Commanded, command: Looked, person: Person) -> tuple[str, ...]:
    panel = draft.plan.panels.get(command.panel)
    if panel is None or panel.input(Means.HIGH_LEVEL) is None:
        known = ", ".join(draft.plan.panels)
        return _no(
            draft,
            event,
            "unknown-panel",
            f"no panel is called '{command.panel}'; the plan knows: {known}",
        )
    subject = draft.subject(f"panel:{panel.id}")
    if command.normal and subject.belief.contact is Fact.ALARM:
        say = "the level contact is still in alarm: it stays high level until the contact goes back"
        return _no(draft, event, "still-in-alarm", say)
    looked = draft.now.up if command.normal else None
    draft.put(replace(subject, belief=replace(subject.belief, looked=looked)))
    says = "below the alarm float" if command.normal else "high"
    draft.record("looked", subject.id, person=person.id, level=says, way=event.way)
    stands = HIGH_LEVEL in subject.alarms and subject.alarms[HIGH_LEVEL].process in ANSWERABLE
    what = (
        "; the alarm ends when that has held for its off-delay" if command.normal and stands else ""
    )
    draft.effects.append(
        Answer(event.token, True, "noted", f"{person.name} says the level is {says}{what}")
    )
    return (subject.id,)
