"""Acknowledging an alarm, and saying what somebody saw of the water.

In: a command and who asks. Out: what was done, or why not. Nothing is changed by a refusal.
Knows nothing of sockets or topics.
"""

from dataclasses import replace

from relayd.core.asking import wishes
from relayd.core.asking.wishes import Done
from relayd.core.calling import callout
from relayd.core.conditions import FAULT, HIGH_LEVEL, JOURNAL_DAMAGED
from relayd.core.draft import UNIT, Draft
from relayd.core.events import Acknowledge, Act, Looked
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import HOUR, Means, Person
from relayd.core.refusal import Refused
from relayd.core.state import Alarm, Fact, Process

LONGEST_TAKE = 24 * HOUR
ANSWERED_FOR = frozenset({FAULT, JOURNAL_DAMAGED})
"""They leave no contact to watch: they stand until somebody answers for them."""
ANSWERABLE = frozenset({Process.UNACK, Process.ACKED, Process.RTNUN, Process.LATUN})


def acknowledge(draft: Draft, command: Acknowledge, person: Person) -> Done | Refused:
    """The person has seen it, or has it; one occurrence, or all that are open at a panel."""
    until = _until(draft, command)
    if isinstance(until, Refused):
        return until
    found = _found(draft, command)
    if isinstance(found, str):
        return Refused("not-active", found)
    act = command.act or _usual(person)
    if act.value not in person.may:
        return _may_not(draft, person, act)
    for subject, alarm in found:
        callout.acknowledged(draft, subject, alarm.condition, person.id, act, until)
        _faults_are_known(draft, alarm)
    stand = [
        alarm for subject, alarm in found if draft.alarm(subject, alarm.condition).process in ACTIVE
    ]
    latched = [
        alarm.condition
        for subject, alarm in found
        if draft.alarm(subject, alarm.condition).process is Process.LATAK
    ]
    say = _say(draft, person, act, until, stand, latched)
    return Done(act.value, say, tuple(dict.fromkeys(subject for subject, _ in found)))


def looked(draft: Draft, command: Looked, person: Person, way: str) -> Done | Refused:
    """The person at the panel says where the water stands."""
    place = wishes.panel_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    if place.panel is None or place.panel.input(Means.HIGH_LEVEL) is None:
        say = f"{place.name} has no level contact: nothing would hear it"
        return Refused("no-level-contact", say)
    subject = draft.subject(place.subject)
    if command.normal and subject.belief.contact is Fact.ALARM:
        say = "the level contact is still in alarm: it stays high level until the contact goes back"
        return Refused("still-in-alarm", say)
    at = draft.now.up if command.normal else None
    draft.put(replace(subject, belief=replace(subject.belief, looked=at)))
    says = "below the alarm float" if command.normal else "high"
    draft.record("looked", subject.id, person=person.id, level=says, way=way)
    if not command.normal:
        callout.looked_high(draft, subject.id, person.id)
    stands = HIGH_LEVEL in subject.alarms and subject.alarms[HIGH_LEVEL].process in ANSWERABLE
    what = (
        "; the alarm ends when that has held for its off-delay" if command.normal and stands else ""
    )
    return Done("noted", f"{person.name} says the level is {says}{what}", (subject.id,))


def _usual(person: Person) -> Act:
    """What that person's acknowledging is where no act is named."""
    takes = person.responds and Act.TAKEN.value in person.may
    return Act.TAKEN if takes else Act.SEEN


def _may_not(draft: Draft, person: Person, act: Act) -> Refused:
    others = [each.name for each in draft.plan.people.values() if act.value in each.may]
    who = ", ".join(others) or "nobody"
    say = f"by the plan {person.name} may not answer with '{act.value}'; that may: {who}"
    return Refused("may-not", say)


def _say(
    draft: Draft, person: Person, act: Act, until: int, stand: list[Alarm], latched: list[str]
) -> str:
    stays = f"; stays until reset: {', '.join(latched)}" if latched else ""
    if not stand:
        return f"answered by {person.name}: it was over already{stays}"
    if act is Act.SEEN:
        say = "has seen it; the call list goes on until somebody takes it (add: taken)"
        return f"{person.name} {say}{stays}"
    told = dict.fromkeys(each for alarm in stand for each in alarm.told if each != person.id)
    names = ", ".join(draft.plan.people[each].name for each in told if each in draft.plan.people)
    others = f"told: {names}" if names else "nobody else had been told"
    return f"{person.name} has it {wishes.until_words(draft, until)}; {others}{stays}"


def _faults_are_known(draft: Draft, alarm: Alarm) -> None:
    """What has happened to the unit itself, and is no state that goes, stands until somebody answers."""
    name = alarm.condition
    if name in ANSWERED_FOR:
        unit = draft.subject(UNIT)
        said = {condition: why for condition, why in unit.said.items() if condition != name}
        draft.put(replace(unit, said=said))


def _until(draft: Draft, command: Acknowledge) -> int | Refused:
    """Boot time until which it is taken."""
    usual = callout.TAKEN_DEFAULT
    until = wishes.end_of(draft, command.until, command.within, "at most 24 h", usual)
    if isinstance(until, int) and until > draft.now.up + LONGEST_TAKE:
        return Refused("bad-time", "that is too far away: at most 24 h")
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
    place = wishes.place_of(draft, command.panel or "")
    if isinstance(place, Refused):
        return place.say
    found = [each for each in answerable if each[0] == place.subject]
    return found or f"nothing to acknowledge at '{command.panel}'; open now: {refs}"
