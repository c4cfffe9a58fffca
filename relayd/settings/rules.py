"""What must hold between the values of a plan, each rule with its reason in the message.

In: the tables, with gaps where a value was refused already: a rule says nothing about a gap.
Out: problems. Opens no file.
"""

from collections.abc import Callable, Iterator, Sequence

from relayd.core.plan import SECOND, Means, Position, Unpowered
from relayd.settings.schema import (
    CallListTable,
    InputTable,
    MqttTable,
    PanelTable,
    PersonTable,
    PlanTable,
)
from relayd.words import Loc, Problem, did_you_mean, one_of, quoted, spelt

COINCIDENCE = 5 * SECOND + SECOND // 2
"""ns; an opening within 5 s of a loss of power counts as the loss's, plus half a second for bounce and
poll. Trade judgement, no published source."""
LONGEST_ON_DELAY = 60 * SECOND
"""ns; a small sump holds about a minute above its alarm float (18 in wide, 10 in high, 10 gpm: 66 s)."""
POWER = (Means.ALARM_POWER, Means.PUMP_POWER)
ONLY_LEVEL = ("unpowered", "contact_follows", "release_hold")

Lines = Callable[[Loc], int]
"""The line of a place in the file."""
Gap = Callable[[Loc], bool]
"""Whether what stands at that place was refused already."""


def problems(plan: PlanTable, line: Lines, gap: Gap) -> Iterator[Problem]:
    """Every rule that this plan breaks, gaps left out."""
    return (each for each in _broken(plan, line, gap) if not gap(each.loc))


def _broken(plan: PlanTable, line: Lines, gap: Gap) -> Iterator[Problem]:
    yield from _tables_there(plan)
    yield from _unique_ids(plan, line)
    yield from _call_lists_known(plan)
    yield from _lines_free(plan, line, gap(("unit", "chip")))
    for n, panel in enumerate(plan.panel or []):
        yield from _panel(panel, ("panel", n), line)
    for n, person in enumerate(plan.person or []):
        yield from _channels(person, ("person", n), line, gap)
    for n, calls in enumerate(plan.call_list or []):
        yield from _steps(calls, ("call_list", n))
        yield from _persons(calls, ("call_list", n), plan)
    yield from _reachable(plan)
    if plan.mqtt is not None:
        yield from _broker(plan.mqtt)


def on_call(plan: PlanTable) -> set[str]:
    """The ids that call lists name."""
    steps = [step for calls in plan.call_list or [] for step in calls.step or []]
    return {person for step in steps for person in step.tell or [] if person is not None}


def _tables_there(plan: PlanTable) -> Iterator[Problem]:
    for name, found in (
        ("panel", plan.panel),
        ("person", plan.person),
        ("call_list", plan.call_list),
    ):
        if not found:
            yield Problem((name,), f"is missing; write at least one [[{name}]]")


def _unique_ids(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    for name, what in (("panel", "panel"), ("person", "person"), ("call_list", "call list")):
        ids = [each.id for each in getattr(plan, name) or []]
        locs = [(name, n, "id") for n in range(len(ids))]
        yield from _twice(ids, locs, f"each {what} needs an id of its own", line)


def _twice(
    values: Sequence[object], locs: Sequence[Loc], allowed: str, line: Lines, show: str = ""
) -> Iterator[Problem]:
    first: dict[object, Loc] = {}
    for value, loc in zip(values, locs, strict=True):
        if value is None:
            continue
        if value in first:
            name = show or f'"{value}"'
            yield Problem(
                loc, f"{name} is used twice, first on line {line(first[value])}; {allowed}"
            )
        first.setdefault(value, loc)


def _call_lists_known(plan: PlanTable) -> Iterator[Problem]:
    known = [each.id for each in plan.call_list or []]
    if plan.unit is not None:
        yield from _known(plan.unit.call_list, known, "call list", ("unit", "call_list"))
    for n, panel in enumerate(plan.panel or []):
        yield from _known(panel.call_list, known, "call list", ("panel", n, "call_list"))


def _known(value: str | None, ids: Sequence[str | None], what: str, loc: Loc) -> Iterator[Problem]:
    known = list(dict.fromkeys(each for each in ids if each is not None))
    # Where one id was refused it may be the one that is meant.
    if value is None or None in ids or value in known:
        return
    allowed = one_of(known) if known else f"write a [[{what.replace(' ', '_')}]] of that id"
    yield Problem(loc, f"there is no {what} {quoted(value)}; {allowed}{did_you_mean(value, known)}")


def _lines_free(plan: PlanTable, line: Lines, chip_refused: bool) -> Iterator[Problem]:
    """Each input has a chip, and a line that no other input has."""
    chip = plan.unit.chip if plan.unit is not None else None
    first: dict[tuple[str, int], Loc] = {}
    for loc, each in _inputs(plan):
        own = each.chip or chip
        if own is None and plan.unit is not None and not chip_refused:
            yield Problem(
                (*loc, "chip"),
                "is missing; give the chip's label here, or for all inputs in [unit]",
            )
        if own is None or each.line is None:
            continue
        if (own, each.line) in first:
            before = line(first[own, each.line])
            what = f"{each.line} of chip {quoted(own)} is used twice, first on line {before}"
            yield Problem((*loc, "line"), f"{what}; each input needs a line of its own")
        first.setdefault((own, each.line), (*loc, "line"))


def _inputs(plan: PlanTable) -> Iterator[tuple[Loc, InputTable]]:
    for n, panel in enumerate(plan.panel or []):
        for m, each in enumerate(panel.input or []):
            yield ("panel", n, "input", m), each


def _panel(panel: PanelTable, loc: Loc, line: Lines) -> Iterator[Problem]:
    inputs = panel.input or []
    places = [(*loc, "input", n) for n in range(len(inputs))]
    means = [each.means for each in inputs]
    if Means.HIGH_LEVEL not in means and None not in means:
        say = 'has none with means = "high-level"; without it no high level is ever told'
        yield Problem((*loc, "input"), say)
    one_each = "a panel has one input for each means"
    yield from _twice(means, [(*place, "means") for place in places], one_each, line)
    names = [each.name or each.means for each in inputs]
    if len(set(means)) == len(means):
        own = "each input of a panel needs a name of its own"
        yield from _twice(names, [(*place, "name") for place in places], own, line)
    for place, each in zip(places, inputs, strict=True):
        yield from _bounce(each, place)
        if each.means in POWER:
            yield from _power(each, place)
        elif each.means is Means.HIGH_LEVEL:
            yield from _level(each, place)


def _bounce(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    """A contact that is let go faster than it is believed could chatter for ever without an alarm."""
    closing = contact.in_alarm is Position.CLOSED
    key, other = ("close_time", "open_time") if closing else ("open_time", "close_time")
    towards, back = getattr(contact, key), getattr(contact, other)
    if towards is None or back is None or towards <= back:
        return
    say = (
        f'"{spelt(towards)}" is longer than {other} ("{spelt(back)}"); at most as long: this is the way'
        " to the alarm, and a contact that is let go faster than it is believed can chatter unheard"
    )
    yield Problem((*loc, key), say)


def _power(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    if contact.in_alarm is Position.CLOSED:
        what = f'"closed" is not possible for {contact.means}'
        why = "wire it so that the supply holds the contact closed: a cut wire then tells of itself"
        yield Problem((*loc, "in_alarm"), f'{what}; {why}; leave it out or write "open"')
    for key in ONLY_LEVEL:
        if getattr(contact, key) is not None:
            yield Problem(
                (*loc, key),
                f"says nothing about {contact.means}; it belongs to high-level; take it out",
            )


def _level(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    if contact.in_alarm is None:
        say = 'is missing; "open" or "closed": where the contact stands in an alarm, as a contact test shows'
        yield Problem((*loc, "in_alarm"), say)
    if contact.on_delay is not None and contact.on_delay > LONGEST_ON_DELAY:
        why = "at most 60 s: a small basin is full soon after that"
        yield Problem(
            (*loc, "on_delay"), f'"{spelt(contact.on_delay)}" is too long for high-level; {why}'
        )
    if contact.unpowered is Unpowered.HOLDS:
        return
    for key, delay in (("on_delay", contact.on_delay), ("off_delay", contact.off_delay)):
        if delay is not None and delay < COINCIDENCE:
            why = "a contact moves within 5 s of a loss of its power, and that is no level"
            say = f'"{spelt(delay)}" is too short; at least 5.5 s unless unpowered = "holds": {why}'
            yield Problem((*loc, key), say)


def _channels(person: PersonTable, loc: Loc, line: Lines, gap: Gap) -> Iterator[Problem]:
    channels = person.channel or []
    places = [(*loc, "channel", n) for n in range(len(channels))]
    own = "each channel of a person needs a name of its own"
    names = [each.name for each in channels]
    yield from _twice(names, [(*place, "name") for place in places], own, line)
    for place, each in zip(places, channels, strict=True):
        given = each.address is not None or each.address_from is not None
        if not given and not gap((*place, "address_from")):
            say = "is missing; an address, or address_from with the name of the file that holds it"
            yield Problem((*place, "address"), say)
        if each.address is not None and each.address_from is not None:
            yield Problem((*place, "address_from"), "stands beside address; keep one of the two")


def _steps(calls: CallListTable, loc: Loc) -> Iterator[Problem]:
    if not calls.step:
        yield Problem(
            (*loc, "step"), "is missing; write a [[call_list.step]] that says who is told"
        )
    before: int | None = None
    for n, step in enumerate(calls.step or []):
        place = (*loc, "step", n, "after")
        if step.after is None:
            continue
        if n == 0 and step.after != 0:
            yield Problem(
                place, f'"{spelt(step.after)}" is not "0 s"; the first step is told at once'
            )
        if before is not None and step.after <= before:
            what = f'"{spelt(step.after)}" is not later than the "{spelt(before)}" before it'
            yield Problem(place, f"{what}; put the steps in the order of their times")
        before = step.after


def _persons(calls: CallListTable, loc: Loc, plan: PlanTable) -> Iterator[Problem]:
    known = [each.id for each in plan.person or []]
    for n, step in enumerate(calls.step or []):
        place = (*loc, "step", n, "tell")
        if step.tell is not None and not step.tell:
            yield Problem(place, 'names nobody; the ids of persons, such as ["anna"]')
        for m, person in enumerate(step.tell or []):
            yield from _known(person, known, "person", (*place, m))
            if person is not None and person in (step.tell or [])[:m]:
                yield Problem(
                    (*place, m), f"{quoted(person)} is named twice in this step; once is enough"
                )


def _reachable(plan: PlanTable) -> Iterator[Problem]:
    called = on_call(plan)
    for n, person in enumerate(plan.person or []):
        if person.id in called and not person.channel:
            say = "is missing; this person is on a call list and cannot be reached without a [[person.channel]]"
            yield Problem(("person", n, "channel"), say)


def _broker(mqtt: MqttTable) -> Iterator[Problem]:
    if mqtt.host is None:
        what = "is missing; the broker's host name or address"
        why = ": commands = true needs a broker that brings them" if mqtt.commands else ""
        yield Problem(("mqtt", "host"), what + why)
    if mqtt.password_from is not None and mqtt.user is None:
        yield Problem(("mqtt", "user"), "is missing; password_from is the password of a user")
