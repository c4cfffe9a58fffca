"""Alarms that come too often, too short, too long, or too many at once.

In: raisings and returns of alarms, time. Out: what is recorded of them, and whether a repeat is
told. Knows nothing of contacts, people or services.

Numbers are ISA-18.2's: an alarm chatters at three raisings in a minute (value from memory), is
fleeting below 10 s with no repeat within 60 s, is stale after 24 h, and a burst (the standard's
'flood') begins above ten raisings in ten minutes and ends below five. A chattering alarm stays one
occurrence: its call list waits while it is normal and goes on when it is back; its end is told
once, after ten minutes without a raising.
"""

from dataclasses import replace

from relayd.core.draft import UNIT, Draft
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import DAY, MINUTE, SECOND
from relayd.core.state import Alarm, Live

CHATTER, CHATTER_WINDOW, CHATTER_OVER = 3, 60 * SECOND, 10 * MINUTE
FLEETING, NO_REPEAT = 10 * SECOND, 60 * SECOND
STALE = DAY
BURST, BURST_OVER, BURST_WINDOW = 10, 5, 10 * MINUTE
DAY_KEPT = 100
"""Raisings of a day that are counted one by one; more are 'a hundred or more'."""


def counted(draft: Draft, subject: str, alarm: Alarm, before: Alarm | None) -> Alarm:
    """The raised alarm with its raising counted; from the third in a minute on it chatters."""
    now = draft.now.up
    earlier = before.raises if before else ()
    raises = (*(each for each in earlier if now - each <= CHATTER_WINDOW), now)[-CHATTER:]
    since = before.chattering if before else None
    if since is None and len(raises) == CHATTER:
        since = now
        draft.record("chattering", subject, condition=alarm.condition, raisings=CHATTER)
    return replace(alarm, raises=raises, chattering=since)


def noted(draft: Draft) -> None:
    """Count a raising of any alarm for the unit; a burst begins above ten in ten minutes."""
    unit, now = draft.subject(UNIT), draft.now.up
    raises = (*(each for each in unit.raises if now - each < BURST_WINDOW), now)[-BURST - 1 :]
    day = (*(each for each in unit.day if now - each < DAY), now)[-DAY_KEPT:]
    unit = replace(unit, raises=raises, day=day)
    if unit.burst is None and len(raises) > BURST:
        unit = replace(unit, burst=now)
        draft.record("alarm burst began", UNIT, raisings=len(raises))
        live = draft.live.get(UNIT, Live())
        over = raises[-BURST_OVER] + BURST_WINDOW
        draft.put_live(UNIT, replace(live, due=min(over, live.due or over)))
    draft.put(unit)


def settle(draft: Draft) -> None:
    """End an alarm burst once fewer than five raisings lie in the last ten minutes."""
    unit = draft.subject(UNIT)
    over = burst_due(draft)
    if unit.burst is not None and over is not None and over <= draft.now.up:
        draft.record("alarm burst ended", UNIT, began=unit.burst)
        draft.put(replace(unit, burst=None))


def burst_due(draft: Draft) -> int | None:
    """When the alarm burst that goes on will be over, if nothing more is raised."""
    unit = draft.subject(UNIT)
    if unit.burst is None:
        return None
    return unit.raises[-BURST_OVER] + BURST_WINDOW if len(unit.raises) >= BURST_OVER else 0


def due(alarm: Alarm) -> int | None:
    """When this alarm grows stale, proves fleeting, or has chattered for the last time."""
    times = [
        alarm.raises[-1] + CHATTER_OVER if alarm.chattering is not None else None,
        _stale_at(alarm),
        _fleeting_at(alarm),
    ]
    return min((each for each in times if each is not None), default=None)


def tidy(draft: Draft, subject: str, condition: str) -> None:
    """Record what time has shown of this alarm."""
    alarm, now = draft.alarm(subject, condition), draft.now.up
    stale, fleeting = _stale_at(alarm), _fleeting_at(alarm)
    if stale is not None and stale <= now:
        draft.record("stale", subject, condition=condition, hours=STALE // (60 * MINUTE))
        draft.put_alarm(subject, replace(alarm, stale=True))
    elif fleeting is not None and fleeting <= now:
        draft.record("fleeting", subject, condition=condition)
        draft.put_alarm(subject, replace(alarm, raises=()))


def calmed(alarm: Alarm, now: int) -> bool:
    """Whether it chattered, and has not been raised for ten minutes."""
    return alarm.chattering is not None and alarm.raises[-1] + CHATTER_OVER <= now


def waits(alarm: Alarm) -> bool:
    """Whether its call list waits: it chatters and is normal at this moment."""
    return alarm.chattering is not None and alarm.process not in ACTIVE


def _stale_at(alarm: Alarm) -> int | None:
    if alarm.process not in ACTIVE or alarm.stale or alarm.raised is None:
        return None
    return alarm.raised.up + STALE


def _fleeting_at(alarm: Alarm) -> int | None:
    """When a raising that was over within ten seconds has had no repeat for a minute."""
    if alarm.process in ACTIVE or alarm.chattering is not None or not alarm.raises:
        return None
    if alarm.returned is None or alarm.returned.up - alarm.raises[-1] >= FLEETING:
        return None
    return alarm.returned.up + NO_REPEAT
