"""From a condition's signal to its alarm: raised, changed in text, returned.

In: signals and rows of one subject. Out: alarms through the table of alarm.py, and what the
call-out makes of them. Knows nothing of contacts or services.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core import callout
from relayd.core import delay as delays
from relayd.core.alarm import ACTIVE, Happening, following
from relayd.core.conditions import CHARACTERS, HIGH_LEVEL, release_hold
from relayd.core.conditions import delays as delays_of
from relayd.core.draft import Draft
from relayd.core.plan import SECOND, Panel
from relayd.core.state import Alarm, Delay, Live, Process, Signal

UPDATE_PAUSE = 60 * SECOND
"""A changed text waits that long, so that a fluttering contact is one message."""
WORTH_TELLING = frozenset({"L3", "L5", "L15"})
"""Rows whose coming is news to those who were told: the contact went back without proof, or went deaf."""


def present(draft: Draft, subject: str) -> dict[str, bool]:
    """Which conditions of the subject stand, after their delays."""
    return {name: alarm.process in ACTIVE for name, alarm in draft.subject(subject).alarms.items()}


def settle(
    draft: Draft,
    subject: str,
    panel: Panel | None,
    signals: Mapping[str, Signal],
    rows: Mapping[str, str],
    details: Mapping[str, str],
) -> None:
    """Run each condition's delays to now with its signal, and let its alarm follow."""
    for condition, signal in signals.items():
        stands = present(draft, subject)
        live = draft.live.get(subject, Live())
        before = live.delays.get(condition) or Delay(
            present=stands.get(condition, False), at=draft.now.up
        )
        on, off = delays_of(panel, condition, stands.get(HIGH_LEVEL, False))
        hold = release_hold(panel, condition)
        after = delays.advance(before, signal, draft.now.up, on, off, hold)
        if after != before or condition not in live.delays:
            draft.put_live(subject, replace(live, delays={**live.delays, condition: after}))
        _follow(
            draft, subject, condition, after, rows.get(condition, ""), details.get(condition, "")
        )


def due(draft: Draft, subject: str, panel: Panel | None) -> int | None:
    """When a delay or a call of this subject is next due."""
    stands = present(draft, subject).get(HIGH_LEVEL, False)
    times = [
        delays.due(each, *delays_of(panel, condition, stands))
        for condition, each in draft.live.get(subject, Live()).delays.items()
    ]
    times += [callout.due(alarm) for alarm in draft.subject(subject).alarms.values()]
    return min((each for each in times if each is not None), default=None)


def call(draft: Draft, subject: str) -> None:
    """Do what is due for the people of this subject's alarms."""
    for condition, alarm in draft.subject(subject).alarms.items():
        if alarm.realarm is not None and alarm.realarm <= draft.now.up:
            callout.realarmed(draft, subject, condition)
        if alarm.update is not None and alarm.update <= draft.now.up:
            callout.updated(draft, subject, condition)
        callout.climb(draft, subject, condition)


def _follow(
    draft: Draft, subject: str, condition: str, after: Delay, row: str, detail: str
) -> None:
    alarm = draft.subject(subject).alarms.get(condition)
    active = alarm is not None and alarm.process in ACTIVE
    if after.present and not active:
        _raise(draft, subject, condition, alarm, row, detail)
    elif alarm is not None and active and not after.present:
        _return(draft, subject, replace(alarm, row=row or alarm.row))
    elif alarm is not None and active:
        _retext(draft, subject, alarm, row, detail)


def _raise(
    draft: Draft, subject: str, condition: str, alarm: Alarm | None, row: str, detail: str
) -> None:
    process = following(alarm.process if alarm else Process.NORM, Happening.RAISED)
    occurrence = draft.number()
    fresh = Alarm(
        condition,
        CHARACTERS[condition].priority,
        process,
        row=row,
        detail=detail,
        occurrence=occurrence,
        raised=draft.stamp,
        told_row=row,
    )
    draft.record(
        "raised",
        subject,
        condition=condition,
        row=row,
        occurrence=draft.ref(occurrence),
        detail=detail,
    )
    draft.put_alarm(subject, callout.begin(draft, subject, fresh))


def _return(draft: Draft, subject: str, alarm: Alarm) -> None:
    process = following(alarm.process, Happening.RETURNED)
    draft.record(
        "returned",
        subject,
        condition=alarm.condition,
        row=alarm.row,
        occurrence=draft.ref(alarm.occurrence),
    )
    alarm = callout.returned(draft, subject, replace(alarm, process=process))
    if process is Process.NORM:
        alarm = callout.ended(draft, subject, alarm)
    draft.put_alarm(subject, alarm)


def _retext(draft: Draft, subject: str, alarm: Alarm, row: str, detail: str) -> None:
    row, detail = row or alarm.row, detail or alarm.detail
    if (row, detail) == (alarm.row, alarm.detail):
        return
    if row != alarm.row:
        draft.record("row changed", subject, condition=alarm.condition, before=alarm.row, row=row)
    alarm = replace(alarm, row=row, detail=detail)
    news = row != alarm.told_row and (row in WORTH_TELLING or alarm.told_row in WORTH_TELLING)
    if not news:
        alarm = replace(alarm, update=None)
    elif alarm.update is None and alarm.told:
        alarm = replace(alarm, update=draft.now.up + UPDATE_PAUSE)
    draft.put_alarm(subject, alarm)
