"""Who a name on a call list is right now: a person, whoever is on call, or who stands in.

In: plan, who is away, an instant. Out: ids of persons. Knows nothing of alarms.

Where nobody can know who is on duty (before a schedule's first turn, or without a clock) it is
everybody on that schedule.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from relayd.core.draft import UNIT, Draft
from relayd.core.events import Now
from relayd.core.plan import DAY, Plan
from relayd.core.refusal import Refused
from relayd.core.state import Away

LONGEST_AWAY = 90 * DAY


def on_duty(plan: Plan, away: Mapping[str, Away], name: str, now: Now) -> str:
    """The person who is told for `name`, the first where there are several; '' where that is nobody."""
    return next(iter(persons(plan, away, (name,), now)), "")


def persons(
    plan: Plan, away: Mapping[str, Away], names: Iterable[str], now: Now
) -> tuple[str, ...]:
    """The persons who are told for these names, each once, in their order."""
    found = (_present(plan, away, each, now) for name in names for each in whoever(plan, name, now))
    return tuple(dict.fromkeys(each for each in found if each))


def whoever(plan: Plan, name: str, now: Now) -> tuple[str, ...]:
    """Whom `name` means, away or not: that person, or whoever's turn it is."""
    schedule = plan.on_call.get(name)
    if schedule is None:
        return (name,) if name in plan.people else ()
    begun = [each.person for each in schedule.turns if each.begins <= now.wall]
    return (begun[-1],) if begun and now.trusted else everybody(plan, (name,))


def everybody(plan: Plan, names: Iterable[str]) -> tuple[str, ...]:
    """Every person behind these names, whosever turn it is and away or not, each once."""
    found: list[str] = []
    for name in names:
        schedule = plan.on_call.get(name)
        found += [each.person for each in schedule.turns] if schedule else [name]
    return tuple(dict.fromkeys(each for each in found if each in plan.people))


def is_away(away: Mapping[str, Away], person: str, now: Now) -> bool:
    """Whether that person is away at that moment."""
    return person in away and away[person].until > now.up


def go_away(draft: Draft, person: str, until: int, stand_in: str, by: str) -> Refused | None:
    """A person is away until boot time `until`; `stand_in` ('' = nobody) is told instead."""
    refused = _unfit(draft, person, until, stand_in)
    if refused is not None:
        return refused
    wall = draft.now.wall + until - draft.now.up
    gone = Away(person, draft.stamp, until, wall, stand_in, by)
    unit = draft.subject(UNIT)
    draft.put(replace(unit, away={**unit.away, person: gone}))
    draft.record("away", UNIT, person=person, stand_in=stand_in or "nobody", by=by, until_wall=wall)
    return None


def come_back(draft: Draft, person: str, by: str) -> Refused | None:
    """A person is no longer away."""
    if person not in draft.subject(UNIT).away:
        return Refused("not-away", f"'{person}' is not away: nothing to do")
    _back(draft, person, by=by)
    return None


def expire(draft: Draft, subject: str) -> None:
    """Who was away until now is back; kept by the unit."""
    for person, gone in draft.subject(subject).away.items():
        if gone.until <= draft.now.up:
            _back(draft, person, by="", why="the time that was given is over")


def due(draft: Draft, subject: str) -> int | None:
    """When the next person comes back by time (boot ns)."""
    return min((each.until for each in draft.subject(subject).away.values()), default=None)


def _present(plan: Plan, away: Mapping[str, Away], person: str, now: Now) -> str:
    """That person, or who stands in at the end of the chain; '' where the chain ends in nobody."""
    met: set[str] = set()
    while is_away(away, person, now):
        met.add(person)
        person = away[person].stand_in
        if person in met or person not in plan.people:
            return ""
    return person


def _unfit(draft: Draft, person: str, until: int, stand_in: str) -> Refused | None:
    known = ", ".join(sorted(draft.plan.people))
    for name in (person, stand_in) if stand_in else (person,):
        if name not in draft.plan.people:
            say = f"nobody is called '{name}'; the plan knows: {known}"
            return Refused("unknown-person", say)
    if stand_in == person:
        return Refused("bad-stand-in", f"'{person}' cannot stand in for himself: name another")
    if is_away(draft.subject(UNIT).away, stand_in, draft.now):
        return Refused("bad-stand-in", f"'{stand_in}' is away as well: name another")
    if until <= draft.now.up:
        return Refused("bad-time", "that time is over: give one that is still to come")
    if until > draft.now.up + LONGEST_AWAY:
        return Refused("bad-time", "that is too far away: at most 90 days")
    return None


def _back(draft: Draft, person: str, **body: object) -> None:
    unit = draft.subject(UNIT)
    away = {name: gone for name, gone in unit.away.items() if name != person}
    draft.put(replace(unit, away=away))
    draft.record("back", UNIT, person=person, **body)
