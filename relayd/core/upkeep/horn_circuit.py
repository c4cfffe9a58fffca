"""The alarm circuit that goes off during an alarm: was the horn's wire taken off meanwhile?

In: the alarm circuit's fact, the alarms, time. Out: a question to those who were told, 'the alarm
was left off', a horn that is not known. Knows nothing of services.

The polite way to take a horn's wire off is: breaker off, wire off, breaker on. So a circuit that
is off for 15 s to 15 min of an alarm, and on again with the alarm still there, is asked about,
once per occurrence. An outage of the site, which takes the unit's own supply too, is nobody's act.
"""

from dataclasses import replace

from relayd.core.calling import callout, hours
from relayd.core.diagnosis import site
from relayd.core.draft import Draft
from relayd.core.plan import HOUR, MINUTE, SECOND, Panel, Priority
from relayd.core.saying import texts
from relayd.core.state import Alarm, Fact, Horn, HornStanding, NoticeKind, Subject
from relayd.core.upkeep import loose
from relayd.core.upkeep.horn_senses import Senses
from relayd.core.upkeep.horn_standing import HORN_UNKNOWN, stands, unsure
from relayd.core.upkeep.horn_table import Circuit
from relayd.core.upkeep.horn_trials import alarms_of, in_alarm

SHORTEST, LONGEST = 15 * SECOND, 15 * MINUTE
"""Off for so long, and back with the alarm still there: somebody was in the panel (R19)."""
ANSWER = 12 * HOUR
_RECENT = MINUTE
_HELD = (HornStanding.DISCONNECTED, HornStanding.SILENT)


def watch(draft: Draft, subject: str, panel: Panel, senses: Senses) -> None:
    """Follow the alarm circuit through an alarm; ask what only a person can know."""
    _off(draft, subject, senses)
    _on(draft, subject, panel, senses)
    _decide(draft, subject, panel)
    _ask_by_day(draft, subject)
    _unanswered(draft, subject)


def dues(horn: Horn, panel: Panel) -> tuple[int | None, ...]:
    """When something of this is due (boot ns)."""
    off, on = horn.circuit_off, horn.circuit_on
    left = off.up + LONGEST if off is not None and on is None else None
    ready = on.up + panel.settle_alarm if on is not None else None
    return (left, ready, horn.settled, horn.asked_due, *horn.asking.values())


def left_off(horn: Horn, at: int) -> bool:
    """Whether the alarm was switched off and not on again."""
    off = horn.circuit_off
    return off is not None and horn.circuit_on is None and at >= off.up + LONGEST


def ask_breaker(draft: Draft, subject: str, person: str) -> None:
    """Ask whoever took the wire off whether the alarm circuit is on again: no input tells."""
    why = "the horn's wire was taken off: is the alarm circuit on again, and its lamp lit?"
    loose.begin(draft, subject, loose.ALARM_BREAKER, person, why)
    if person not in draft.plan.people:
        return
    text = texts.breaker(draft.plan, draft.subjects, subject, person, draft.now)
    callout.owe(draft, subject, person, NoticeKind.QUESTION, Priority.HIGH, text)


def active(owner: Subject) -> Alarm | None:
    """The alarm about water that stands at this panel, the first of them."""
    return next(iter(alarms_of(owner)), None)


def _off(draft: Draft, subject: str, senses: Senses) -> None:
    owner = draft.subject(subject)
    horn, seen = owner.horn, senses.circuit
    is_off = horn.circuit_off is not None and horn.circuit_on is None
    if seen is None or seen.fact is not Fact.ALARM or is_off or active(owner) is None:
        return
    if seen.began < draft.now.up - _RECENT or _outage(draft):
        return
    horn = replace(horn, circuit_off=draft.at(seen.began), circuit_on=None, settled=None)
    draft.put(replace(owner, horn=horn))


def _on(draft: Draft, subject: str, panel: Panel, senses: Senses) -> None:
    owner = draft.subject(subject)
    horn = owner.horn
    off, seen = horn.circuit_off, senses.circuit
    if off is None or horn.circuit_on is not None or seen is None:
        return
    if senses.alarm_circuit is not Circuit.ON:
        if _outage(draft):
            draft.put(replace(owner, horn=replace(horn, circuit_off=None)))
        return
    length = seen.began - off.up
    wait = max(panel.settle, panel.settle_alarm) + panel.window
    settled = seen.began + wait if SHORTEST <= length <= LONGEST else None
    horn = replace(horn, circuit_on=draft.at(seen.began), settled=settled)
    draft.put(replace(owner, horn=horn))
    if length > LONGEST and horn.standing is HornStanding.PROVED:
        unsure(draft, subject, "the alarm circuit was off for long during an alarm")


def _decide(draft: Draft, subject: str, panel: Panel) -> None:
    """The contact is in alarm again once it is to be believed: ask; it is not in time: do not."""
    owner, now = draft.subject(subject), draft.now.up
    horn, alarm = owner.horn, active(owner)
    if horn.settled is None or horn.circuit_on is None:
        return
    there = in_alarm(owner) and now >= horn.circuit_on.up + panel.settle_alarm
    if alarm is not None and not there and now < horn.settled:
        return
    draft.put(replace(owner, horn=replace(horn, settled=None)))
    if alarm is None or not there or horn.asked_of == alarm.occurrence:
        return
    if horn.standing is not HornStanding.DISCONNECTED:
        _ask(draft, subject, alarm)


def _ask(draft: Draft, subject: str, alarm: Alarm) -> None:
    owner = draft.subject(subject)
    told = alarm.told or loose.keepers(draft, subject)
    told = (owner.visit.person,) if owner.visit else told
    times = {each: _may_ask(draft, owner, alarm, each) for each in told}
    due = draft.now.up + ANSWER
    horn = replace(
        owner.horn,
        asked=draft.stamp,
        asked_due=due,
        asked_of=alarm.occurrence,
        asking=times,
        told=told,
    )
    draft.put(replace(owner, horn=horn))


def _join(draft: Draft, subject: str) -> None:
    """Who is told of the alarm while the question is open is asked too."""
    owner = draft.subject(subject)
    alarm, new = active(owner), newly_told(owner)
    if alarm is not None and new:
        horn, times = owner.horn, {each: _may_ask(draft, owner, alarm, each) for each in new}
        horn = replace(horn, told=(*horn.told, *new), asking={**horn.asking, **times})
        draft.put(replace(owner, horn=horn))


def newly_told(owner: Subject) -> tuple[str, ...]:
    """Who has been told of the alarm since the question about it was asked, while it is open."""
    horn, alarm = owner.horn, active(owner)
    about = alarm is not None and alarm.occurrence == horn.asked_of
    if alarm is None or not about or horn.asked_due is None or owner.visit is not None:
        return ()
    return tuple(each for each in alarm.told if each not in horn.told)


def _may_ask(draft: Draft, owner: Subject, alarm: Alarm, person: str) -> int:
    """When: at night only who is there, has answered the alarm, or responds; the others by day."""
    known = draft.plan.people.get(person)
    at_it = (owner.visit and owner.visit.person, alarm.taken and alarm.taken.person)
    if known is None or known.responds or person in at_it or person in alarm.seen:
        return draft.now.up
    return hours.waking(draft.plan, known, draft.now)


def _ask_by_day(draft: Draft, subject: str) -> None:
    """Put the question to those whose time has come."""
    _join(draft, subject)
    owner, now = draft.subject(subject), draft.now.up
    horn = owner.horn
    due = [person for person, at in horn.asking.items() if at <= now]
    if not due:
        return
    later = {person: at for person, at in horn.asking.items() if at > now}
    draft.put(replace(owner, horn=replace(horn, asking=later)))
    held = {"later": sorted(later)} if later else {}
    alarm = active(owner)
    priority = alarm.priority if alarm else Priority.MEDIUM
    draft.record("asked", subject, what=loose.HORN_WIRE, persons=due, **held)
    for person in due:
        text = texts.question(draft.plan, draft.subjects, subject, person, draft.now)
        callout.owe(draft, subject, person, NoticeKind.QUESTION, priority, text)


def _unanswered(draft: Draft, subject: str) -> None:
    owner = draft.subject(subject)
    horn = owner.horn
    if horn.asked_due is None or horn.asked_due > draft.now.up:
        return
    why = "nobody answered whether the horn's wire was taken off"
    if horn.standing not in _HELD:
        horn = stands(horn, HornStanding.NOT_KNOWN, draft.stamp, why)
    draft.put(replace(owner, horn=replace(horn, asked_due=None)))
    draft.record("not answered", subject, what=loose.HORN_WIRE, persons=list(horn.told))
    loose.begin(draft, subject, HORN_UNKNOWN, "", why)


def _outage(draft: Draft) -> bool:
    return site.seen(draft.plan, draft.live).unit_power is False
