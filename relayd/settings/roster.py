"""What must hold for people, their hours, on-call schedules and call lists.

In: the tables. Out: problems; nothing about a gap.
"""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from relayd.settings.checks import Gap, Lines, known, twice
from relayd.settings.moments import DAYS
from relayd.settings.schema import (
    CallListTable,
    Change,
    HoursTable,
    InsteadTable,
    OnCallTable,
    PersonTable,
    PlanTable,
)
from relayd.words import Loc, Problem, quoted, spelt


def problems(plan: PlanTable, line: Lines, gap: Gap) -> Iterator[Problem]:
    """Every rule about people that this plan breaks."""
    for n, person in enumerate(plan.person or []):
        yield from _channels(person, ("person", n), line, gap)
    for n, calls in enumerate(plan.call_list or []):
        yield from _steps(calls, ("call_list", n), gap)
        yield from _persons(calls, ("call_list", n), plan)
    for n, hours in enumerate(plan.hours or []):
        yield from _hours(hours, ("hours", n))
    for n, schedule in enumerate(plan.on_call or []):
        yield from _schedule(schedule, ("on_call", n), plan, line)
    yield from _hours_known(plan)
    yield from _one_namespace(plan, line)
    yield from _reachable(plan)


def names(calls: CallListTable) -> list[str]:
    """The names on a call list, each once, in the order in which they are told."""
    told = [name for step in calls.step or [] for name in step.tell or []] + (calls.tell or [])
    return list(dict.fromkeys(name for name in told if name is not None))


def members(plan: PlanTable, name: str) -> list[str]:
    """The persons whom that name of a call list may be: itself, or all of an on-call schedule."""
    for each in plan.on_call or []:
        if each.id == name:
            others = [swap.person for swap in each.instead or []]
            return [who for who in [*(each.persons or []), *others] if who is not None]
    return [name]


def called(plan: PlanTable) -> set[str]:
    """The persons whom call lists reach."""
    return {
        person
        for calls in plan.call_list or []
        for name in names(calls)
        for person in members(plan, name)
    }


def _channels(person: PersonTable, loc: Loc, line: Lines, gap: Gap) -> Iterator[Problem]:
    channels = person.channel or []
    places = [(*loc, "channel", n) for n in range(len(channels))]
    own = "each channel of a person needs a name of its own"
    ids = [each.name for each in channels]
    yield from twice(ids, [(*place, "name") for place in places], own, line)
    for place, each in zip(places, channels, strict=True):
        given = each.address is not None or each.address_from is not None
        if not given and not gap((*place, "address_from")):
            say = "is missing; an address, or address_from with the name of the file that holds it"
            yield Problem((*place, "address"), say)
        if each.address is not None and each.address_from is not None:
            yield Problem((*place, "address_from"), "stands beside address; keep one of the two")


def _steps(calls: CallListTable, loc: Loc, gap: Gap) -> Iterator[Problem]:
    if calls.tell is not None and calls.step:
        say = "stands beside [[call_list.step]]; tell alone is told in the usual steps; keep one of the two"
        yield Problem((*loc, "tell"), say)
    if not calls.step and calls.tell is None and not gap((*loc, "tell")):
        say = "is missing; write a [[call_list.step]] that says who is told, or tell with the ids of persons"
        yield Problem((*loc, "step"), say)
    before: int | None = None
    for n, step in enumerate(calls.step or []):
        place = (*loc, "step", n, "after")
        if step.after is None:
            continue
        if n == 0 and step.after != 0:
            say = f'"{spelt(step.after)}" is not "0 s"; the first step is told at once'
            yield Problem(place, say)
        if before is not None and step.after <= before:
            what = f'"{spelt(step.after)}" is not later than the "{spelt(before)}" before it'
            yield Problem(place, f"{what}; put the steps in the order of their times")
        before = step.after


def _persons(calls: CallListTable, loc: Loc, plan: PlanTable) -> Iterator[Problem]:
    ids = [each.id for each in plan.person or []] + [each.id for each in plan.on_call or []]
    told = [((*loc, "step", n, "tell"), step.tell) for n, step in enumerate(calls.step or [])]
    what = "person or on-call schedule" if plan.on_call else "person"
    for place, tell in [*told, ((*loc, "tell"), calls.tell)]:
        if tell is not None and not tell:
            yield Problem(place, 'names nobody; the ids of persons, such as ["anna"]')
        for m, name in enumerate(tell or []):
            yield from known(name, ids, what, (*place, m), "person")
            if name is not None and name in (tell or [])[:m]:
                here = "this step" if "step" in place else "this list"
                say = f"{quoted(name)} is named twice in {here}; once is enough"
                yield Problem((*place, m), say)


def _hours(hours: HoursTable, loc: Loc) -> Iterator[Problem]:
    if hours.days is not None and not hours.days:
        yield Problem((*loc, "days"), 'names no day; such as ["mon", "tue", "wed", "thu", "fri"]')
    if hours.from_ is not None and hours.until is not None and hours.from_ >= hours.until:
        say = "is not later than from; the hours of one day, such as from 08:00 until 17:00"
        yield Problem((*loc, "until"), say)


def _hours_known(plan: PlanTable) -> Iterator[Problem]:
    ids = [each.id for each in plan.hours or []]
    if plan.unit is not None:
        yield from known(plan.unit.hours, ids, "hours", ("unit", "hours"))
    for n, person in enumerate(plan.person or []):
        yield from known(person.hours, ids, "hours", ("person", n, "hours"))


def _schedule(each: OnCallTable, loc: Loc, plan: PlanTable, line: Lines) -> Iterator[Problem]:
    ids = [person.id for person in plan.person or []]
    if each.persons is not None and not each.persons:
        yield Problem((*loc, "persons"), 'names nobody; the ids of persons, such as ["anna"]')
    for m, person in enumerate(each.persons or []):
        yield from known(person, ids, "person", (*loc, "persons", m))
    yield from _first_day(each, loc)
    swaps = each.instead or []
    for n, swap in enumerate(swaps):
        place = (*loc, "instead", n)
        yield from known(swap.person, ids, "person", (*place, "person"))
        if swap.from_ is None or swap.until is None:
            continue
        if _key(swap.from_) >= _key(swap.until):
            yield Problem((*place, "until"), "is not later than from")
        for m, other in enumerate(swaps[:n]):
            if _overlap(swap, other):
                first = line((*loc, "instead", m))
                say = f"overlaps the one on line {first}; one person at a time"
                yield Problem((*place, "from"), say)


def _first_day(each: OnCallTable, loc: Loc) -> Iterator[Problem]:
    if each.day is None or each.begins is None:
        return
    if each.change is Change.DAILY:
        say = 'says nothing where change = "daily"; take it out'
        yield Problem((*loc, "day"), say)
    elif each.begins.weekday() != each.day:
        near = each.begins + timedelta(days=(each.day - each.begins.weekday()) % 7)
        what = f"{each.begins} is a {DAYS[each.begins.weekday()]}, and the schedule changes on"
        yield Problem((*loc, "begins"), f'{what} "{DAYS[each.day]}"; did you mean {near}?')


def _key(value: date) -> datetime:
    """A day counts from its beginning here."""
    return value if isinstance(value, datetime) else datetime.combine(value, time())


def _overlap(one: InsteadTable, other: InsteadTable) -> bool:
    times = (one.from_, one.until, other.from_, other.until)
    first, last, begins, ends = (None if each is None else _key(each) for each in times)
    if first is None or last is None or begins is None or ends is None:
        return False
    return first < ends and begins < last


def _one_namespace(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    """A name on a call list is a person's or a schedule's, never both."""
    people = {each.id: n for n, each in enumerate(plan.person or [])}
    for n, each in enumerate(plan.on_call or []):
        if each.id is not None and each.id in people:
            first = line(("person", people[each.id], "id"))
            say = f'"{each.id}" is a person already, on line {first}; a call list could mean either'
            yield Problem(("on_call", n, "id"), say)


def _reachable(plan: PlanTable) -> Iterator[Problem]:
    wanted = called(plan)
    for n, person in enumerate(plan.person or []):
        if person.id in wanted and not person.channel:
            say = "is missing; this person is on a call list and cannot be reached without a [[person.channel]]"
            yield Problem(("person", n, "channel"), say)
