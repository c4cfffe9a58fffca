"""Loose ends: something temporary done at a panel that somebody must undo, and its reminders.

In: alarms, horn and marks of a subject, time, what people say. Out: reminders, by day, until it is
done. One small mechanism serves every kind.

What a contact, a mark or the horn's standing shows begins and ends by itself (loose_ends.py tells
which); what only a person can know stays until a person says so. Reminders never go to the night's
call list while the plan names another: after three that nobody answered one step further of the
low one, never faster.
"""

from dataclasses import replace

from relayd.core.calling import callout, duty, hours, lists
from relayd.core.draft import UNIT, Draft
from relayd.core.plan import DAY, HOUR, Panel, Priority
from relayd.core.refusal import Refused
from relayd.core.saying import texts
from relayd.core.state import LooseEnd, Mark, NoticeKind
from relayd.core.upkeep.horn_standing import HORN_UNPROVED, HORN_WIRE, heard_by
from relayd.core.upkeep.loose_ends import (
    ALARM_BREAKER,
    SILENCE,
    by_itself,
    door_ripe,
    how,
    ripe,
    standing,
)

MORNING = 9 * HOUR
EVENING = 20 * HOUR
"""A reminder that was put off to a time of day between these comes then, else the next morning."""
FIRST = 6 * HOUR
"""The first reminder is at the next 09:00 that is at least so far away."""
DAILY = 20 * HOUR
"""The next ones at 09:00 of the days after it, be the day 23, 24 or 25 h long."""
UNANSWERED = 3
"""After so many, one step further."""
LONGEST = 7 * DAY
"""It may be put off for so long."""

__all__ = [
    "ALARM_BREAKER",
    "HORN_WIRE",
    "answered",
    "begin",
    "done",
    "due",
    "keepers",
    "put_off",
    "settled",
    "watch",
]


def begin(draft: Draft, subject: str, key: str, by: str = "", why: str = "") -> None:
    """Note a loose end; one that is noted already stays as it was."""
    owner = draft.subject(subject)
    if key in owner.loose:
        return
    first = hours.next_at(draft.plan, MORNING, FIRST, draft.now)
    end = LooseEnd(key, draft.stamp, by, why, due=first)
    draft.put(replace(owner, loose={**owner.loose, key: end}))
    draft.record("loose end", subject, key=key, by=by, why=why)


def done(draft: Draft, subject: str, key: str, by: str = "", why: str = "") -> None:
    """It is done away with."""
    owner = draft.subject(subject)
    if key not in owner.loose:
        return
    left = {name: each for name, each in owner.loose.items() if name != key}
    draft.put(replace(owner, loose=left))
    draft.record("loose end done", subject, key=key, by=by, why=why)


def watch(draft: Draft, subject: str, panel: Panel | None) -> None:
    """Note what the subject's alarms and marks leave undone, and remind of what is due."""
    shown = standing(draft, subject, panel)
    for key in list(draft.subject(subject).loose):
        if by_itself(panel, key) and key not in shown:
            done(draft, subject, key, why="seen to be gone")
    for key, each in ripe(draft, subject, panel, shown).items():
        begin(draft, subject, key, each.by, each.why)
    for key, end in draft.subject(subject).loose.items():
        if end.due is not None and end.due <= draft.now.up:
            _remind(draft, subject, key)


def due(draft: Draft, subject: str) -> int | None:
    """When the next reminder is due, or something becomes a loose end by time alone (boot ns)."""
    owner = draft.subject(subject)
    times = [door_ripe(owner), *(each.due for each in owner.loose.values())]
    return min((each for each in times if each is not None and each > draft.now.up), default=None)


def put_off(
    draft: Draft, subject: str, key: str, person: str, until: int, why: str
) -> Refused | None:
    """A person puts the reminders of a loose end off until boot time `until`, with a reason."""
    owner, now = draft.subject(subject), draft.now
    end = owner.loose.get(key)
    if end is None:
        return _unknown(draft, subject, key)
    if not why.strip():
        return Refused("no-reason", "say why: --why 'part on order until Friday'")
    if until <= now.up:
        return Refused("bad-time", "that time is over: give one that is still to come")
    if until > now.up + LONGEST:
        return Refused("too-long", "that is too far away: at most 7 days")
    mark = Mark(person, draft.stamp, until, now.wall + until - now.up, why)
    later = hours.by_day(draft.plan, until, MORNING, EVENING, now)
    end = replace(end, put_off=mark, reminded=0, due=later)
    draft.put(replace(owner, loose={**owner.loose, key: end}))
    draft.record("put off", subject, key=key, by=person, why=why, until_wall=mark.until_wall)
    return None


def settled(draft: Draft, subject: str, key: str, person: str) -> Refused | None:
    """A person says that it is done away with; refused where a contact shows that it is not."""
    owner = draft.subject(subject)
    panel = lists.panel_of(draft.plan, subject)
    unproved = key == HORN_UNPROVED and panel is not None
    if key not in owner.loose and not unproved:
        return _unknown(draft, subject, key)
    shown = standing(draft, subject, panel).get(key)
    if shown is not None and key != SILENCE:
        return Refused("still-there", f"{shown.why}: {how(key)}")
    if key.startswith("horn-") and not unproved:
        return Refused("say-which", f"only a word about the wire settles it: {how(key)}")
    if unproved:
        heard_by(draft, subject, person)
    if key == SILENCE:
        draft.put(replace(owner, horn=replace(owner.horn, silence_left=False)))
    done(draft, subject, key, person, f"{person} says so")
    return None


def answered(draft: Draft, subject: str) -> None:
    """Somebody came for them: no reminder has gone unanswered."""
    owner = draft.subject(subject)
    ends = {key: replace(each, reminded=0) for key, each in owner.loose.items()}
    draft.put(replace(owner, loose=ends))


def keepers(draft: Draft, subject: str, further: int = 0) -> tuple[str, ...]:
    """Who is reminded: the first person of the low call list, and the next steps' as it goes on."""
    steps = lists.list_of(draft.plan, subject, Priority.LOW).steps
    away = draft.subject(UNIT).away
    first = duty.persons(draft.plan, away, steps[0].persons, draft.now)[:1]
    names = [name for each in steps[1 : 1 + further] for name in each.persons]
    return tuple(dict.fromkeys((*first, *duty.persons(draft.plan, away, names, draft.now))))


def _remind(draft: Draft, subject: str, key: str) -> None:
    owner = draft.subject(subject)
    end = owner.loose[key]
    later = (end.put_off.by,) if end.put_off and end.put_off.by in draft.plan.people else ()
    persons = dict.fromkeys((*keepers(draft, subject, end.reminded // UNANSWERED), *later))
    again = hours.next_at(draft.plan, MORNING, DAILY, draft.now)
    end = replace(end, put_off=None)
    after = replace(end, due=again, reminded=end.reminded + 1)
    draft.put(replace(owner, loose={**owner.loose, key: after}))
    draft.record("reminded", subject, key=key, persons=list(persons), times=after.reminded)
    for person in persons:
        # How many went unanswered before this one.
        text = texts.reminder(draft.plan, draft.subjects, subject, end, person, draft.now)
        callout.owe(draft, subject, person, NoticeKind.REMINDER, Priority.LOW, text)


def _unknown(draft: Draft, subject: str, key: str) -> Refused:
    known = ", ".join(draft.subject(subject).loose) or "none"
    return Refused("not-open", f"no loose end here is called '{key}'; open now: {known}")
