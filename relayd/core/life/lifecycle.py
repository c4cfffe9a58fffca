"""From a condition's signal to its alarm: raised, changed in text or priority, returned, reset.

In: findings of one subject. Out: alarms through the table of alarm.py, and what the call-out makes
of them. Knows nothing of contacts or services.

A finding changes the text of the alarm that stands and never raises a second one. A priority that
goes up calls again as if the alarm had just occurred; one that goes down changes the value alone.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.calling import callout, outbox, realarm
from relayd.core.calling.lists import RANK, panel_of
from relayd.core.conditions import (
    HIGH_LEVEL,
    NOT_FALLING,
    character,
    delays as delays_of,
    input_of,
    release_hold,
)
from relayd.core.diagnosis import cycles
from relayd.core.draft import UNIT, Draft
from relayd.core.findings import Finding
from relayd.core.life import bursts, delay as delays, marks, urgency
from relayd.core.life.alarm import ACTIVE, Happening, following
from relayd.core.life.news import is_news
from relayd.core.plan import MINUTE, SECOND, Follows, Panel, Priority
from relayd.core.refusal import Refused
from relayd.core.state import Alarm, CallStop, Delay, Live, Process

RISE_PAUSE = 10 * MINUTE
"""A priority that goes up and down calls again once in that time (common practice, no source)."""
UPDATE_PAUSE = 60 * SECOND
"""A changed text waits that long, so that a fluttering contact is one message."""


def present(draft: Draft, subject: str) -> dict[str, bool]:
    """Which conditions of the subject stand, after their delays."""
    return {name: alarm.process in ACTIVE for name, alarm in draft.subject(subject).alarms.items()}


def _stands(draft: Draft, subject: str, condition: str) -> bool:
    alarm = draft.subject(subject).alarms.get(condition)
    return alarm is not None and alarm.process in ACTIVE


def settle(
    draft: Draft,
    subject: str,
    panel: Panel | None,
    findings: Mapping[str, Finding],
) -> None:
    """Run each condition's delays to now with its signal, and let its alarm follow."""
    for condition, found in findings.items():
        live = draft.live.get(subject, Live())
        before = live.delays.get(condition) or Delay(
            present=_stands(draft, subject, condition), at=draft.now.up
        )
        after = _advanced(draft, subject, panel, condition, before, found)
        if after is not before or condition not in live.delays:
            draft.put_live(subject, replace(live, delays={**live.delays, condition: after}))
        marks.suppress(draft, subject, condition, found.suppressed)
        began = before.spell if before.pending is None else before.pending
        _follow(draft, subject, condition, after, found, began)


def _advanced(
    draft: Draft, subject: str, panel: Panel | None, condition: str, before: Delay, found: Finding
) -> Delay:
    """The condition's delays with its signal; most rest, and are asked nothing."""
    if found.signal is before.signal and delays.rests(before):
        return before
    high = _stands(draft, subject, HIGH_LEVEL)
    on, off = _delays(draft, subject, panel, condition, high)
    hold = release_hold(panel, condition)
    after = delays.advance(before, found.signal, draft.now.up, on, off, hold)
    return before if after == before else after


def due(draft: Draft, subject: str, panel: Panel | None) -> int | None:
    """When a delay, a call or a priority of this subject is next due."""
    high = _stands(draft, subject, HIGH_LEVEL)
    times = [
        delays.due(each, *_delays(draft, subject, panel, condition, high))
        for condition, each in draft.live.get(subject, Live()).delays.items()
        if not delays.rests(each)
    ]
    for alarm in draft.subject(subject).alarms.values():
        times += _due_of(draft, subject, alarm)
    if subject == UNIT:
        times.append(bursts.burst_due(draft))
    return min((each for each in times if each is not None), default=None)


def _delays(
    draft: Draft, subject: str, panel: Panel | None, condition: str, high_level: bool
) -> tuple[int, int]:
    """On- and off-delay of a condition; a pump is given as long as its runs usually take."""
    on, off = delays_of(panel, condition, high_level, draft.plan.empty)
    if panel is not None and condition == NOT_FALLING:
        owner = draft.subject(subject)
        high = owner.alarms.get(HIGH_LEVEL)
        after_outage = high is not None and "R8" in high.notes
        on = cycles.patience(panel, owner.pumps, after_outage)
    return on, off


def _due_of(draft: Draft, subject: str, alarm: Alarm) -> list[int | None]:
    times = [bursts.due(alarm)]
    if alarm.process in ACTIVE:
        times.append(urgency.due(draft.plan, alarm, draft.now))
    if not (bursts.waits(alarm) or marks.quiet(alarm, draft.subject(subject))):
        times.append(callout.due(alarm))
    return times


def call(draft: Draft, subject: str) -> None:
    """Do what is due for the people of this subject's alarms."""
    if subject == UNIT:
        bursts.settle(draft)
    for condition in list(draft.subject(subject).alarms):
        bursts.tidy(draft, subject, condition)
        if bursts.calmed(draft.alarm(subject, condition), draft.now.up):
            _calm(draft, subject, condition)
        alarm = draft.alarm(subject, condition)
        if bursts.waits(alarm):
            continue
        if not marks.quiet(alarm, draft.subject(subject)):
            _again(draft, subject, alarm)
        callout.climb(draft, subject, condition)


def _again(draft: Draft, subject: str, alarm: Alarm) -> None:
    again, rise = alarm.realarm is not None and alarm.realarm <= draft.now.up, alarm.rise
    if rise is not None and rise <= draft.now.up:
        again = again or alarm.process in ACTIVE
        draft.put_alarm(subject, replace(alarm, rise=None))
    if again:
        callout.realarmed(draft, subject, alarm.condition)
    if alarm.update is not None and alarm.update <= draft.now.up:
        callout.updated(draft, subject, alarm.condition)


def reset(draft: Draft, subject: str, condition: str, person: str) -> Refused | None:
    """Let go a latched alarm ('' = all of this subject); refused while its condition is there.

    It lets go what is shown here alone: a panel that latches by itself is reset at the panel.
    """
    alarms = draft.subject(subject).alarms
    meant = [each for name, each in alarms.items() if not condition or name == condition]
    ready = [each for each in meant if each.process is Process.LATAK]
    if not ready:
        return _no_reset(draft, subject, meant)
    for alarm in ready:
        process = following(alarm.process, Happening.RESET)
        draft.record("reset", subject, condition=alarm.condition, person=person)
        alarm = callout.ended(draft, subject, replace(alarm, process=process))
        draft.put_alarm(subject, alarm)
    return None


def _no_reset(draft: Draft, subject: str, meant: list[Alarm]) -> Refused:
    panel = panel_of(draft.plan, subject)
    for alarm in meant:
        name = alarm.condition
        if alarm.process is Process.LATUN:
            return Refused("not-acknowledged", f"acknowledge {name} first, then reset it")
        if alarm.latching and alarm.process in ACTIVE:
            spec = input_of(panel, name) if panel else None
            at_panel = spec is not None and spec.follows is Follows.LATCHED
            how = "press Reset at the panel" if at_panel else "see to its cause"
            return Refused("still-there", f"{name} is still there: {how}, then reset it here")
    return Refused("not-latched", "nothing here waits for a reset")


def _follow(
    draft: Draft, subject: str, condition: str, after: Delay, found: Finding, began: int | None
) -> None:
    alarm = draft.subject(subject).alarms.get(condition)
    active = alarm is not None and alarm.process in ACTIVE
    if after.present and not active:
        _raise(draft, subject, condition, alarm, found, began)
    elif alarm is not None and active and not after.present:
        _return(draft, subject, replace(alarm, row=found.row or alarm.row))
    elif alarm is not None and active:
        _retext(draft, subject, alarm, found)
        _reprioritise(draft, subject, condition, found)


def _raise(
    draft: Draft,
    subject: str,
    condition: str,
    before: Alarm | None,
    found: Finding,
    began: int | None,
) -> None:
    panel, now = panel_of(draft.plan, subject), draft.now
    spec = input_of(panel, condition) if panel else None
    before = before or Alarm(condition, Priority.LOW)
    quiet = marks.quiet(before, draft.subject(subject))
    # A chattering alarm, and one whose people were told before it was put aside, is one occurrence.
    goes_on = before.chattering is not None or bool(quiet and before.told)
    fresh = replace(
        before if goes_on else _new(draft, before),
        priority=urgency.priority(draft.plan, panel, condition, found.priority, now.up, now),
        process=following(before.process, Happening.RAISED),
        row=found.row,
        detail=found.detail,
        notes=found.notes,
        raised=draft.stamp,
        began=None if began is None else draft.at(began),
        returned=None,
        stale=False,
        latching=spec.latch if spec else False,
    )
    draft.record(
        "raised",
        subject,
        condition=condition,
        row=found.row,
        occurrence=draft.ref(fresh.occurrence),
        detail=found.detail,
        **({"not_told": quiet or "it chatters"} if quiet or goes_on else {}),
    )
    fresh = bursts.counted(draft, subject, fresh, before)
    bursts.noted(draft)
    fresh = (
        _resumed(draft, subject, _with_news(draft, fresh))
        if goes_on
        else callout.begin(draft, subject, fresh)
    )
    draft.put_alarm(subject, fresh)


def _new(draft: Draft, before: Alarm) -> Alarm:
    """A new occurrence of an alarm, under the marks of the one before."""
    return Alarm(
        before.condition,
        before.priority,
        occurrence=draft.number(),
        shelved=before.shelved,
        out=before.out,
        suppressed=before.suppressed,
        call=None,
    )


def _resumed(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """A repeat is not told; but what stays, and what the call list had still to do, is."""
    if alarm.realarm is None and (alarm.call is None or alarm.call.due is None):
        again = realarm.after_seen(draft.plan, subject, alarm, draft.now.up)
        return replace(alarm, realarm=again)
    return alarm


def _return(draft: Draft, subject: str, alarm: Alarm) -> None:
    happening = Happening.RETURNED_LATCHED if alarm.latching else Happening.RETURNED
    process = following(alarm.process, happening)
    draft.record(
        "returned",
        subject,
        condition=alarm.condition,
        row=alarm.row,
        occurrence=draft.ref(alarm.occurrence),
    )
    alarm = replace(alarm, process=process)
    if alarm.chattering is not None:
        alarm = replace(alarm, returned=draft.stamp, update=None)
    else:
        alarm = _told_over(draft, subject, alarm)
    draft.put_alarm(subject, alarm)


def _calm(draft: Draft, subject: str, condition: str) -> None:
    """It has chattered for the last time: where it is normal, that is told now, once."""
    alarm = draft.alarm(subject, condition)
    draft.record("chattering ended", subject, condition=condition, began=alarm.chattering)
    alarm = replace(alarm, chattering=None)
    if alarm.process not in ACTIVE:
        alarm = _told_over(draft, subject, alarm)
    draft.put_alarm(subject, alarm)


def _told_over(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """The condition is gone: the call list stops, and who was told hears so, now or when the mark goes."""
    if reason := marks.quiet(alarm, draft.subject(subject)):
        alarm = _returned_unseen(draft, alarm, reason)
    else:
        alarm = callout.returned(draft, subject, alarm)
    return callout.ended(draft, subject, alarm) if alarm.process is Process.NORM else alarm


def _returned_unseen(draft: Draft, alarm: Alarm, reason: str) -> Alarm:
    """Gone while it is put aside: who was told hears so when the mark goes."""
    outbox.withdraw_occurrence(draft, alarm.occurrence, reason)
    call = alarm.call and replace(
        alarm.call, due=None, stopped=alarm.call.stopped or CallStop.RETURNED
    )
    return replace(alarm, call=call, realarm=None, update=None, returned=draft.stamp)


def _retext(draft: Draft, subject: str, alarm: Alarm, found: Finding) -> None:
    row, detail = found.row or alarm.row, found.detail or alarm.detail
    if (row, detail, found.notes) == (alarm.row, alarm.detail, alarm.notes):
        return
    if row != alarm.row:
        draft.record("row changed", subject, condition=alarm.condition, before=alarm.row, row=row)
    if found.notes != alarm.notes:
        draft.record("notes changed", subject, condition=alarm.condition, notes=list(found.notes))
    alarm = replace(alarm, row=row, detail=detail, notes=found.notes)
    draft.put_alarm(subject, _with_news(draft, alarm))


def _with_news(draft: Draft, alarm: Alarm) -> Alarm:
    """What those who were told of it do not know yet is told them soon; what they know is not."""
    if not is_news(alarm, alarm.row, alarm.notes):
        return replace(alarm, update=None)
    if alarm.update is None and alarm.told:
        return replace(alarm, update=draft.now.up + UPDATE_PAUSE)
    return alarm


def _reprioritise(draft: Draft, subject: str, condition: str, found: Finding) -> None:
    """Up: told as if it had just occurred, unless that was told just now. Down: noted."""
    alarm, now = draft.alarm(subject, condition), draft.now
    since = alarm.raised.up if alarm.raised else now.up
    panel = panel_of(draft.plan, subject)
    new = urgency.priority(draft.plan, panel, condition, found.priority, since, now)
    if new is alarm.priority:
        return
    up = RANK[new] > RANK[alarm.priority]
    draft.record(
        "priority changed",
        subject,
        condition=condition,
        before=alarm.priority.value,
        priority=new.value,
    )
    alarm = replace(alarm, priority=new, rise=None)
    if not up or _has_it(draft, alarm, found):
        draft.put_alarm(subject, alarm)
        return
    wait = _told_just_now(alarm, draft.now.up)
    draft.put_alarm(subject, replace(alarm, held={}, rise=wait))
    if wait is None and not marks.quiet(alarm, draft.subject(subject)):
        callout.realarmed(draft, subject, condition)


def _has_it(draft: Draft, alarm: Alarm, found: Finding) -> bool:
    """Whether somebody has it, and it rose by the time of day alone or was called so before."""
    if alarm.taken is None or alarm.taken.until <= draft.now.up:
        return False
    by_clock = found.priority is None and character(alarm.condition).night is not None
    return by_clock or not _first_time(alarm)


def _first_time(alarm: Alarm) -> bool:
    return alarm.call is None or RANK[alarm.priority] > RANK[alarm.call.priority]


def _told_just_now(alarm: Alarm, now: int) -> int | None:
    """When a priority that flutters is told again; None: now, as the first rise is at once."""
    if alarm.call is None or _first_time(alarm):
        return None
    later = alarm.call.began + RISE_PAUSE
    return later if later > now else None
