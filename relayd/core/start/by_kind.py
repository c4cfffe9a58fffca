"""What becomes of each stored deadline where nobody knows how long the unit was off.

In: a subject in this boot's time, as if no time had passed; the clocks. Out: the subject with each
deadline as its kind has it. Knows nothing of contacts.

A step and what was held are due now, nobody is left alone any longer, a re-alarm counts from this
boot; a shelf and a visit end now; a reminder starts its interval again; out of service and away
end at their UTC time where that is believed now and was when it was given. Else away ends now, and
out of service stays for what was left of it and is reminded of now.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.calling import hours
from relayd.core.events import Now
from relayd.core.plan import HOUR, Plan
from relayd.core.state import Alarm, Away, LooseEnd, Mark, Stamp, Subject

REALARM = HOUR
REMINDER_AT, REMINDER_AFTER = 9 * HOUR, 6 * HOUR
OUT = "out-of-service"


def by_kind(plan: Plan, subject: Subject, now: Now) -> Subject:
    """The subject where neither clock tells how long the unit was off."""
    visit = subject.visit
    return replace(
        subject,
        alarms={name: _alarm(each, now) for name, each in subject.alarms.items()},
        loose={key: _loose(plan, each, now) for key, each in subject.loose.items()},
        visit=visit and replace(visit, until=now.up),
        out=subject.out and _out(subject.out, now),
        away=_away(subject.away, now),
        wells=dict.fromkeys(subject.wells, now.up),
    )


def _alarm(alarm: Alarm, now: Now) -> Alarm:
    call = alarm.call
    if call is not None and call.due is not None:
        call = replace(call, due=now.up)
    return replace(
        alarm,
        seen={},
        call=call,
        realarm=None if alarm.realarm is None else now.up + REALARM,
        held=dict.fromkeys(alarm.held, now.up),
        morning=None if alarm.morning is None else now.up,
        rise=None if alarm.rise is None else now.up,
        shelved=alarm.shelved and replace(alarm.shelved, until=now.up),
        out=alarm.out and _out(alarm.out, now),
    )


def _loose(plan: Plan, end: LooseEnd, now: Now) -> LooseEnd:
    put_off = end.put_off and replace(end.put_off, until=now.up)
    again = hours.next_at(plan, REMINDER_AT, REMINDER_AFTER, now)
    due = now.up if end.key.startswith(OUT) else again
    return replace(end, due=due, put_off=put_off)


def _out(mark: Mark, now: Now) -> Mark:
    until = _by_wall(mark.since, mark.until_wall, now)
    return mark if until is None else replace(mark, until=until)


def _away(away: Mapping[str, Away], now: Now) -> dict[str, Away]:
    untils = {
        name: _by_wall(each.since, each.until_wall, now) or now.up for name, each in away.items()
    }
    return {name: replace(each, until=untils[name]) for name, each in away.items()}


def _by_wall(since: Stamp, until_wall: int, now: Now) -> int | None:
    """Boot time of a UTC instant; None where it is not to be believed."""
    if not (since.trusted and now.trusted):
        return None
    return now.up + max(0, until_wall - now.wall)
