"""The state after a start: what was remembered, fitted to this boot, this plan and these contacts.

In: the state as it was stored, a `Started`. Out: the draft with every deadline in this boot's
time, what is gone from the plan withdrawn and said, and everything that was out owed again.
The contacts are read anew: nothing of what they said before is taken as still true.

A stored deadline holds both clocks: in the same boot boot time counts; in another boot the time
that passed is trusted wall time; where neither tells, it goes by kind: see by_kind.py. What of one
subject can not be fitted is dropped, recorded and told as a fault; the others go on.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, replace
from functools import partial

from relayd.core import guard
from relayd.core.calling import outbox
from relayd.core.conditions import FAULT, LASTING, UNWATCHED, base_of, of_itself
from relayd.core.draft import UNIT, Draft
from relayd.core.events import Started
from relayd.core.itself import BY, NOT_KNOWN, READ_WITHIN, SHORT
from relayd.core.plan import HOUR, MINUTE
from relayd.core.saying.when import lasted
from relayd.core.start.by_kind import by_kind
from relayd.core.start.gone import forget, forget_notice, known_people
from relayd.core.start.shifting import moved
from relayd.core.state import Alarm, Call, Live, Notice, Process, State, Subject

CRASHED, STOPPED = 5 * MINUTE, HOUR
"""Time without a watch that is told: after an end that nobody meant, and after one that somebody did."""


def begun(draft: Draft, before: State, event: Started) -> None:
    """Fit the remembered state to this start."""
    shift, certain = _shift(draft, before)
    wrong: dict[str, str] = {}
    for subject in list(draft.subjects.values()):
        _fit(draft, subject, shift, certain, wrong)
    for notice in list(draft.notices.values()):
        put = partial(_owed, draft, notice, shift, certain)
        _try(draft, f"notice {draft.ref(notice.id)}", wrong, put)
    draft.boot = draft.now.boot
    draft.live = {}
    down = draft.now.up - before.stamp.up - shift if certain and before.boot else None
    lasted_most = f"at most {lasted(down)}" if down is not None else NOT_KNOWN
    draft.record(
        "started",
        UNIT,
        planned=event.planned,
        why=event.why,
        down=lasted_most,
        missed="what began and ended meanwhile was not seen",
    )
    for name in list(draft.subjects):
        _try(draft, name, wrong, partial(forget, draft, name))
    _watch_all(draft)
    # What the unit knew of itself is judged anew; a channel fails until it takes something.
    said = {FAULT: "; ".join(wrong.values())} if wrong else {}
    said |= _lasting(draft)
    if before.boot:
        said |= _unwatched(draft, event, down)
    draft.put(replace(draft.subject(UNIT), said=said))


def _lasting(draft: Draft) -> dict[str, str]:
    """What was sensed stands until it is judged again, unless the plan no longer asks for it."""
    known = {each for each in of_itself(draft.plan) if base_of(each) in LASTING}
    said = draft.subject(UNIT).said
    return {key: why for key, why in said.items() if key.partition(":")[0] in known}


def _unwatched(draft: Draft, event: Started, down: int | None) -> dict[str, str]:
    """What is said of the time without a watch; nothing where it was short and somebody's will."""
    lasted_most = f"at most {lasted(down)}" if down is not None else NOT_KNOWN
    is_long = down is None or down > (STOPPED if event.planned else CRASHED)
    if not is_long and (event.planned or not event.why):
        return {}
    detail = "; ".join(filter(None, (lasted_most, "" if event.planned else event.why)))
    # One that began and ended before it could tell of the gap tells of it at once.
    pending = UNWATCHED in draft.subject(UNIT).said
    by = str(draft.now.up + (0 if pending else READ_WITHIN))
    return {UNWATCHED: detail, BY: by, **({} if is_long else {SHORT: "yes"})}


def _owed(draft: Draft, notice: Notice, shift: int, certain: bool) -> None:
    """What was out may never have left: it is owed, but to whom and over what the plan has lost.

    What waits for its turn waits for what remains of it; where nobody knows how much, it is due now.
    """
    fit = moved(notice, shift)
    if not certain:
        now = draft.now.up
        fit = replace(fit, sends=tuple(replace(each, due=each.due and now) for each in fit.sends))
    draft.put_notice(fit)
    forget_notice(draft, notice.id)
    outbox.owed_again(draft, notice.id)


def _watch_all(draft: Draft) -> None:
    for panel in draft.plan.panels:
        draft.put(draft.subject(f"panel:{panel}"))
        draft.put_live(f"panel:{panel}", Live())
    for name in [UNIT, *(each for each in draft.subjects if each.startswith("channel:"))]:
        draft.put_live(name, Live())


def _try(draft: Draft, subject: str, wrong: dict[str, str], act: Callable[[], None]) -> None:
    """Do it; what goes wrong is recorded, and kept in `wrong` for the unit to tell."""
    what = guard.attempt(draft, subject, act)
    if what:
        wrong[subject] = f"{subject}: {what}"


def _shift(draft: Draft, before: State) -> tuple[int, bool]:
    """What turns the old boot's times into this one's, and whether that is certain."""
    if before.boot in ("", draft.now.boot):
        return 0, True
    certain = before.stamp.trusted and draft.now.trusted
    down = max(0, draft.now.wall - before.stamp.wall) if certain else 0
    return draft.now.up - down - before.stamp.up, certain


def _fit(draft: Draft, subject: Subject, shift: int, certain: bool, wrong: dict[str, str]) -> None:
    """Put the subject into this boot's time; what of it can not be fitted begins anew."""
    _try(draft, subject.id, wrong, lambda: draft.put(_fitted(draft, subject, shift, certain)))
    if subject.id in wrong:
        draft.put(_salvaged(draft, subject, shift, certain))


def _fitted(draft: Draft, subject: Subject, shift: int, certain: bool) -> Subject:
    fit = moved(subject, shift)
    return known_people(draft, fit if certain else by_kind(draft.plan, fit, draft.now))


def _salvaged(draft: Draft, subject: Subject, shift: int, certain: bool) -> Subject:
    """Each alarm and each other field by itself: only what is wrong is lost."""
    fit = Subject(subject.id)
    for each in fields(Subject):
        if each.name not in ("id", "alarms"):
            alone = Subject(subject.id, **{each.name: getattr(subject, each.name)})
            with suppress(Exception):
                kept = getattr(_fitted(draft, alone, shift, certain), each.name)
                fit = replace(fit, **{each.name: kept})
    alarms: dict[str, Alarm] = {}
    for name, alarm in subject.alarms.items():
        alarms[name] = _bare(alarm, draft.now.up)
        with suppress(Exception):
            alone = Subject(subject.id, alarms={name: alarm})
            alarms[name] = _fitted(draft, alone, shift, certain).alarms[name]
    return replace(fit, alarms=alarms)


def _bare(alarm: Alarm, now: int) -> Alarm:
    """An alarm whose times are lost: what is owed is due now, what was acknowledged is asked again."""
    call = Call(now, due=now, priority=alarm.priority) if alarm.process is Process.UNACK else None
    return Alarm(
        alarm.condition,
        alarm.priority,
        alarm.process,
        row=alarm.row,
        detail=alarm.detail,
        occurrence=alarm.occurrence,
        call=call,
        realarm=now + HOUR if alarm.process is Process.ACKED else None,
        latching=alarm.latching,
    )
