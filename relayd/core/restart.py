"""The state after a start: what was remembered, fitted to this boot, this plan and these contacts.

In: the state as it was stored, a `Started`. Out: the draft with every deadline in this boot's
time, what is gone from the plan withdrawn and said, and everything that was out owed again.
The contacts are read anew: nothing of what they said before is taken as still true.

A stored deadline holds both clocks: in the same boot boot time counts; in another boot the time
that passed is trusted wall time; where neither tells, it goes by kind: a step is due now, what
was left alone is left alone no longer, a re-alarm counts from this boot.
"""

from dataclasses import replace

from relayd.core import callout, outbox
from relayd.core.alarm import ACTIVE
from relayd.core.conditions import PANEL_CONDITIONS
from relayd.core.draft import UNIT, Draft
from relayd.core.events import Started
from relayd.core.plan import Means
from relayd.core.sentences import GONE
from relayd.core.state import Alarm, Belief, Live, Notice, Stamp, State, Subject
from relayd.core.when import lasted


def begun(draft: Draft, before: State, event: Started) -> None:
    """Fit the remembered state to this start."""
    shift, certain = _shift(draft, before)
    for subject in list(draft.subjects.values()):
        draft.put(_fitted(draft, subject, shift, certain))
    for notice in list(draft.notices.values()):
        draft.put_notice(_moved_notice(notice, shift))
    draft.boot = draft.now.boot
    draft.live = {}
    down = draft.now.up - before.stamp.up - shift if certain and before.boot else None
    draft.record(
        "started",
        UNIT,
        planned=event.planned,
        why=event.why,
        down=f"at most {lasted(down)}" if down is not None else "not known",
        missed="what began and ended meanwhile was not seen",
    )
    _forget_what_is_gone(draft)
    for panel in draft.plan.panels:
        draft.put(draft.subject(f"panel:{panel}"))
        draft.put_live(f"panel:{panel}", Live())
    # What the unit knew of itself is judged anew; a channel fails until it takes something.
    draft.put(replace(draft.subject(UNIT), said={}))
    for name in [UNIT, *(each for each in draft.subjects if each.startswith("channel:"))]:
        draft.put_live(name, Live())
    outbox.owed_again(draft)


def _shift(draft: Draft, before: State) -> tuple[int, bool]:
    """What turns the old boot's times into this one's, and whether that is certain."""
    if before.boot in ("", draft.now.boot):
        return 0, True
    certain = before.stamp.trusted and draft.now.trusted
    down = max(0, draft.now.wall - before.stamp.wall) if certain else 0
    return draft.now.up - down - before.stamp.up, certain


def _fitted(draft: Draft, subject: Subject, shift: int, certain: bool) -> Subject:
    alarms = {name: _alarm(draft, each, shift, certain) for name, each in subject.alarms.items()}
    return replace(subject, alarms=alarms, belief=_belief(subject.belief, shift))


def _later(moment: int | None, shift: int) -> int | None:
    return None if moment is None else moment + shift


def _stamp(stamp: Stamp | None, shift: int) -> Stamp | None:
    return None if stamp is None else replace(stamp, up=stamp.up + shift)


def _belief(belief: Belief, shift: int) -> Belief:
    return replace(
        belief,
        alarm_edge=_later(belief.alarm_edge, shift),
        normal_edge=_later(belief.normal_edge, shift),
        circuit_edge=_later(belief.circuit_edge, shift),
        circuit_back=_later(belief.circuit_back, shift),
        looked=_later(belief.looked, shift),
    )


def _alarm(draft: Draft, alarm: Alarm, shift: int, certain: bool) -> Alarm:
    people = draft.plan.people
    known = tuple(person for person in alarm.told if person in people)
    taken = alarm.taken if alarm.taken and alarm.taken.person in people else None
    moved = replace(
        alarm,
        raised=_stamp(alarm.raised, shift),
        returned=_stamp(alarm.returned, shift),
        told=known,
        update=_later(alarm.update, shift),
        taken=taken and replace(taken, until=taken.until + shift),
        realarm=_later(alarm.realarm, shift),
        seen={person: quiet + shift for person, quiet in alarm.seen.items() if person in people},
        call=alarm.call
        and replace(alarm.call, began=alarm.call.began + shift, due=_later(alarm.call.due, shift)),
    )
    moved = moved if certain else _by_kind(draft, moved)
    if alarm.taken is not None and taken is None:
        # Who had it is no longer in the plan: nobody has it, and the call list begins again.
        moved = replace(moved, realarm=draft.now.up)
    return moved


def _by_kind(draft: Draft, alarm: Alarm) -> Alarm:
    """Nobody knows how long the unit was off: what is owed is due now."""
    now = draft.now.up
    call = alarm.call
    if call is not None and call.due is not None:
        call = replace(call, due=now)
    realarm = None if alarm.realarm is None else now + callout.REALARM
    return replace(alarm, seen={}, call=call, realarm=realarm)


def _moved_notice(notice: Notice, shift: int) -> Notice:
    return replace(notice, made=replace(notice.made, up=notice.made.up + shift))


def _forget_what_is_gone(draft: Draft) -> None:
    """Alarms of panels, inputs and channels that the plan no longer has are withdrawn and said."""
    for notice in list(draft.notices.values()):
        gone = frozenset(each.channel for each in notice.sends) - draft.plan.channels.keys()
        if notice.person not in draft.plan.people:
            outbox.withdraw(draft, notice, "the plan no longer has this person")
        elif gone:
            outbox.withdraw(draft, notice, "the plan no longer has this channel", gone)
    for subject in list(draft.subjects.values()):
        kept = {
            name: each
            for name, each in subject.alarms.items()
            if _is_planned(draft, subject.id, name)
        }
        for name, alarm in subject.alarms.items():
            if name not in kept and alarm.process in ACTIVE:
                draft.record(
                    "alarm withdrawn", subject.id, condition=name, why="no longer in the plan"
                )
                callout.returned(draft, subject.id, replace(alarm, row=GONE))
        draft.put(replace(subject, alarms=kept))
        if not kept and not _is_planned(draft, subject.id, ""):
            draft.subjects.pop(subject.id)


def _is_planned(draft: Draft, subject: str, condition: str) -> bool:
    kind, _, name = subject.partition(":")
    if kind == "channel":
        return name in draft.plan.channels
    if kind != "panel":
        return True
    panel = draft.plan.panels.get(name)
    if panel is None:
        return False
    wired = condition in PANEL_CONDITIONS[:3]
    return not wired or panel.input(Means(condition)) is not None
