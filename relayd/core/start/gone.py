"""What the plan no longer has: its alarms, marks, loose ends, visits, people and channels.

In: the draft after a start with another plan. Out: what is gone withdrawn, recorded, and said to
those who had been told. Knows nothing of time.
"""

from collections.abc import Iterable
from dataclasses import replace

from relayd.core.calling import callout, outbox
from relayd.core.conditions import of_panel, of_unit
from relayd.core.draft import UNIT, Draft
from relayd.core.life.alarm import ACTIVE
from relayd.core.saying.sentences import GONE
from relayd.core.state import Alarm, Subject

WHY = "no longer in the plan"


def forget_notice(draft: Draft, notice_id: int) -> None:
    """What is owed to people and over channels that the plan no longer has is withdrawn."""
    notice = draft.notices[notice_id]
    gone = frozenset(each.channel for each in notice.sends) - draft.plan.channels.keys()
    if notice.person not in draft.plan.people:
        outbox.withdraw(draft, notice, "the plan no longer has this person")
    elif gone:
        outbox.withdraw(draft, notice, "the plan no longer has this channel", gone)


def forget(draft: Draft, subject: str) -> None:
    """Alarms of panels, inputs and channels that the plan no longer has are withdrawn and said."""
    owner = draft.subject(subject)
    for name, alarm in owner.alarms.items():
        if not _is_planned(draft, subject, name):
            _withdraw(draft, subject, alarm)
    kept = {name: each for name, each in owner.alarms.items() if _is_planned(draft, subject, name)}
    draft.put(replace(owner, alarms=kept))
    if not _is_planned(draft, subject, ""):
        _record_rest(draft, owner)
        draft.subjects.pop(subject)


def known_people(draft: Draft, subject: Subject) -> Subject:
    """The subject without people who are no longer in the plan."""
    people = draft.plan.people
    visit = subject.visit
    if visit is not None and visit.person not in people:
        _dropped(draft, subject.id, "visit", [visit.person])
        visit = None
    away = {name: each for name, each in subject.away.items() if name in people}
    _dropped(draft, subject.id, "away", subject.away.keys() - away.keys())
    away = {
        name: each if each.stand_in in people else replace(each, stand_in="")
        for name, each in away.items()
    }
    told = tuple(each for each in subject.horn.told if each in people)
    asking = {name: at for name, at in subject.horn.asking.items() if name in people}
    return replace(
        subject,
        alarms={name: _alarm(draft, each) for name, each in subject.alarms.items()},
        visit=visit,
        away=away,
        called={name: at for name, at in subject.called.items() if name in people},
        wells={name: at for name, at in subject.wells.items() if name in people},
        promised={name: until for name, until in subject.promised.items() if name in people},
        horn=replace(subject.horn, told=told, asking=asking),
    )


def _alarm(draft: Draft, alarm: Alarm) -> Alarm:
    people = draft.plan.people
    taken = alarm.taken if alarm.taken and alarm.taken.person in people else None
    fit = replace(
        alarm,
        told=tuple(each for each in alarm.told if each in people),
        seen={name: until for name, until in alarm.seen.items() if name in people},
        held={name: at for name, at in alarm.held.items() if name in people},
        taken=taken,
    )
    # Who had it is no longer in the plan: nobody has it, and the call list begins again.
    lost = alarm.taken is not None and taken is None
    return replace(fit, realarm=draft.now.up) if lost else fit


def _withdraw(draft: Draft, subject: str, alarm: Alarm) -> None:
    if alarm.process in ACTIVE:
        draft.record("alarm withdrawn", subject, condition=alarm.condition, why=WHY)
        callout.returned(draft, subject, replace(alarm, row=GONE))
    for mark, what in ((alarm.shelved, "shelving"), (alarm.out, "out of service")):
        if mark is not None:
            _dropped(draft, subject, what, [alarm.condition])


def _record_rest(draft: Draft, owner: Subject) -> None:
    """What goes with a panel beside its alarms."""
    _dropped(draft, owner.id, "loose end", owner.loose)
    _dropped(draft, owner.id, "visit", [owner.visit.person] if owner.visit else [])
    _dropped(draft, owner.id, "out of service", [owner.out.by] if owner.out else [])


def _dropped(draft: Draft, subject: str, what: str, names: Iterable[str]) -> None:
    for name in sorted(names):
        draft.record("dropped", subject, what=what, name=name, why=WHY)


def _is_planned(draft: Draft, subject: str, condition: str) -> bool:
    kind, _, name = subject.partition(":")
    if kind == "channel":
        return name in draft.plan.channels
    if subject == UNIT:
        return not condition or condition in of_unit(draft.plan)
    panel = draft.plan.panels.get(name)
    return panel is not None and (not condition or condition in of_panel(panel))
