"""What must hold for the inputs of a panel and of the unit, each rule with its reason in the message.

In: the tables of one panel or of the unit. Out: problems; nothing about a gap.
"""

from collections.abc import Iterator

from relayd.core.plan import (
    ALARM_CONTACTS,
    PUMP_MEANS,
    SECOND,
    SUPPLIES,
    UNIT_MEANS,
    Means,
    Position,
    Priority,
    Unpowered,
)
from relayd.settings.checks import Gap, Lines, twice
from relayd.settings.inputs import (
    HORN,
    MUST_SAY,
    OPEN_ON_LOSS,
    OTHER_THROW,
    TELLS,
    bounce,
    in_alarm,
    name_of,
)
from relayd.settings.schema import InputTable, PanelTable
from relayd.words import Loc, Problem, one_of, quoted, spelt

COINCIDENCE = 5 * SECOND + SECOND // 2
"""ns; an opening within 5 s of a loss of power counts as the loss's, plus half a second for bounce and
poll. Trade judgement, no published source."""
LONGEST_ON_DELAY = 60 * SECOND
"""ns; a small sump holds about a minute above its alarm float (18 in wide, 10 in high, 10 gpm: 66 s)."""
LEVEL_KEYS = ("unpowered", "contact_follows", "release_hold")
LEVEL_NAMES = "high-level, high-high-level and common-alarm"
CARRIED = (
    Means.HIGH_LEVEL,
    Means.HIGH_HIGH_LEVEL,
    Means.LOW_LEVEL,
    Means.REDUNDANT_OFF,
    Means.CONTROL_POWER,
    Means.PUMP_POWER,
    Means.OVERLOAD,
    Means.OVER_TEMPERATURE,
    Means.SEAL_LEAK,
    Means.PHASE_FAULT,
    Means.PUMP_FAULT,
    Means.AIR_SUPPLY,
)
"""What a panel's one contact for everything may mean."""
NEVER_QUIET = frozenset(ALARM_CONTACTS) | {Means.ALARM_POWER}


def of_unit(inputs: list[InputTable], loc: Loc, line: Lines, gap: Gap) -> Iterator[Problem]:
    """The unit's own inputs: of the site, not of a panel."""
    places = _places(inputs, loc)
    yield from _one_each(inputs, places, line, "the unit")
    for place, each in zip(places, inputs, strict=True):
        if each.means is not None and each.means not in UNIT_MEANS:
            say = f"{quoted(each.means)} belongs to a panel: [[panel.input]]; here stands"
            yield Problem((*place, "means"), f"{say} {one_of(_in_order(UNIT_MEANS))}")
        if each.pump is not None:
            yield Problem((*place, "pump"), "belongs to a panel; the unit has no pump; take it out")
        yield from _any(each, place, gap)


def of_panel(panel: PanelTable, loc: Loc, line: Lines, gap: Gap) -> Iterator[Problem]:
    """A panel's inputs."""
    inputs = panel.input or []
    places = _places(inputs, loc)
    means = [each.means for each in inputs]
    if not {Means.HIGH_LEVEL, Means.COMMON_ALARM, None} & set(means):
        say = 'has none with means = "high-level" or "common-alarm"; without one no high level is ever told'
        yield Problem((*loc, "input"), say)
    yield from _one_each(inputs, places, line, "a panel")
    for place, each in zip(places, inputs, strict=True):
        if each.means in UNIT_MEANS:
            say = f"{quoted(each.means)} is of the whole site: it belongs to [[unit.input]]"
            yield Problem((*place, "means"), say)
        yield from _pump(each, place, panel.pumps)
        yield from _any(each, place, gap)


def _places(inputs: list[InputTable], loc: Loc) -> list[Loc]:
    return [(*loc, "input", n) for n in range(len(inputs))]


def _in_order(means: frozenset[Means]) -> list[str]:
    return [each.value for each in Means if each in means]


def _one_each(
    inputs: list[InputTable], places: list[Loc], line: Lines, whose: str
) -> Iterator[Problem]:
    """One input for each means (of each pump); where that holds, names of their own."""
    first: dict[tuple[Means, int | None], Loc] = {}
    double = False
    for place, each in zip(places, inputs, strict=True):
        if each.means is None or each.means is Means.OTHER:
            continue
        key = each.means, each.pump
        if key in first:
            double = True
            pump = "" if each.pump is None else f" of pump {each.pump}"
            what = (
                f'"{each.means}"{pump} is used twice, first on line {line((*first[key], "means"))}'
            )
            rule = f"{whose} has one input for each means{pump and ' and pump'}"
            yield Problem((*place, "means"), f"{what}; {rule}")
        first.setdefault(key, place)
    if double or any(each.means is None for each in inputs):
        return
    names = [name_of(each) for each in inputs]
    own = f"each input of {whose} needs a name of its own"
    yield from twice(names, [(*place, "name") for place in places], own, line)
    for place, each in zip(places, inputs, strict=True):
        second = name_of(each) + OTHER_THROW
        if each.second_line is not None and second in names:
            say = f'its second input is called "{second}", and another input has that name; rename one'
            yield Problem((*place, "name"), say)


def _pump(contact: InputTable, loc: Loc, pumps: int | None) -> Iterator[Problem]:
    if contact.means is None or pumps is None:
        return
    place, many = (*loc, "pump"), f"1 to {pumps}"
    if contact.means not in PUMP_MEANS:
        if contact.pump is not None:
            say = f"says nothing about {contact.means}, which is of no single pump; take it out"
            yield Problem(place, say)
    elif pumps == 1 and contact.pump is not None:
        say = "this panel has one pump; take it out, or write pumps = 2 at the panel"
        yield Problem(place, say)
    elif pumps > 1 and contact.pump is None:
        say = f"is missing: this panel has {pumps} pumps; {many}, or 0 where one contact speaks of all"
        yield Problem(place, say)
    elif pumps > 1 and (contact.pump or 0) > pumps:
        say = f"{contact.pump} is beyond the {pumps} pumps of this panel; {many}, or 0 for all of them"
        yield Problem(place, say)


def _any(contact: InputTable, loc: Loc, gap: Gap) -> Iterator[Problem]:
    if contact.means is None:
        return
    yield from _bounce(contact, loc)
    yield from _position(contact, loc)
    yield from _misplaced(contact, loc)
    yield from _common(contact, loc)
    if not gap((*loc, "preset")):
        yield from _other(contact, loc)
    yield from _quiet(contact, loc)
    if contact.means in ALARM_CONTACTS:
        yield from _level(contact, loc)


def _bounce(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    """A contact that is let go faster than it is believed could chatter for ever without an alarm."""
    if contact.pulsing:
        # It moves with every cycle by its nature; what is slow is its going, and that is meant.
        return
    times = bounce(contact)
    closing = in_alarm(contact) is Position.CLOSED
    key, towards, other, back = ("close_time", times.close, "open_time", times.open)
    if not closing:
        key, towards, other, back = other, back, key, towards
    if towards > back:
        say = (
            f'"{spelt(towards)}" is longer than {other} ("{spelt(back)}"); at most as long: this is the way'
            " to the alarm, and a contact that is let go faster than it is believed can chatter unheard"
        )
        yield Problem((*loc, key), say)


def _position(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    place = (*loc, "in_alarm")
    if contact.in_alarm is Position.CLOSED and contact.means in OPEN_ON_LOSS:
        what = f'"closed" is not possible for {contact.means}'
        why = "wire it so that the supply holds the contact closed: a cut wire then tells of itself"
        yield Problem(place, f'{what}; {why}; leave it out or write "open"')
    if contact.in_alarm is None and contact.means in MUST_SAY:
        say = 'is missing; "open" or "closed": where the contact stands in an alarm, as a contact test shows'
        yield Problem(place, say)


def _misplaced(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    """Keys that say nothing about this means: whoever wrote them expects something of them."""
    level, tells = contact.means in ALARM_CONTACTS, contact.means in TELLS
    other, supply = contact.means is Means.OTHER, contact.means in OPEN_ON_LOSS
    pulses = contact.means in SUPPLIES | HORN
    checks = (
        *((key, level, LEVEL_NAMES) for key in LEVEL_KEYS),
        ("carries", contact.means is Means.COMMON_ALARM, "common-alarm"),
        ("preset", other, "other"),
        ("text", other, "other"),
        ("second_line", not supply, "the contacts of a relay with two throws (Form C)"),
        ("pulsing", pulses, "what senses a supply or a horn"),
        *((key, tells, "inputs whose alarm is told") for key in ("on_delay", "off_delay")),
        *((key, tells, "inputs whose alarm is told") for key in ("priority", "latch")),
    )
    for key, fits, home in checks:
        if not fits and getattr(contact, key) is not None:
            say = f"says nothing about {contact.means}; it belongs to {home}; take it out"
            yield Problem((*loc, key), say)


def _common(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    if contact.means is not Means.COMMON_ALARM:
        return
    place, carried = (*loc, "carries"), contact.carries
    allowed = f"a list out of {', '.join(CARRIED)}"
    if carried is None:
        yield Problem(place, f"is missing; what this one contact may mean: {allowed}")
        return
    for n, each in enumerate(carried):
        if each is not None and each not in CARRIED:
            yield Problem((*place, n), f"{quoted(each)} is no alarm of a panel; {allowed}")
        elif each is not None and each in carried[:n]:
            yield Problem((*place, n), f"{quoted(each)} is named twice; once is enough")
    if len(carried) < 2:
        say = "names fewer than two things; a contact that means one thing has that thing as its means"
        yield Problem(place, say)


def _other(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    if contact.means is not Means.OTHER or contact.preset is not None:
        return
    for key, what in (("name", 'an id such as "heat-trace"'), ("text", "what the alarm says")):
        if getattr(contact, key) is None:
            yield Problem((*loc, key), f'is missing for means = "other"; {what}, or a preset')


def _quiet(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    if contact.priority is Priority.RECORD_ONLY and contact.means in NEVER_QUIET:
        say = f'"record-only" would keep {contact.means} from everybody; one of "high", "medium", "low"'
        yield Problem((*loc, "priority"), say)


def _level(contact: InputTable, loc: Loc) -> Iterator[Problem]:
    if contact.on_delay is not None and contact.on_delay > LONGEST_ON_DELAY:
        why = "at most 60 s: a small basin is full soon after that"
        what = f'"{spelt(contact.on_delay)}" is too long for {contact.means}'
        yield Problem((*loc, "on_delay"), f"{what}; {why}")
    if contact.unpowered is Unpowered.HOLDS:
        return
    for key, delay in (("on_delay", contact.on_delay), ("off_delay", contact.off_delay)):
        if delay is not None and delay < COINCIDENCE:
            why = "a contact moves within 5 s of a loss of its power, and that is no level"
            say = f'"{spelt(delay)}" is too short; at least 5.5 s unless unpowered = "holds": {why}'
            yield Problem((*loc, key), say)
