"""From tables that broke no rule to the frozen plan and the rig beside it.

In: the tables, the secrets that were found, the zone's offsets, the instant of loading. A channel
without an address is left out: only a forgiving load lets one come so far.
"""

from collections.abc import Iterator

from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    CallList,
    Kind,
    Offset,
    Panel,
    Person,
    Plan,
    Priority,
    Step,
)
from relayd.rig import Announcement, Rig
from relayd.settings import brokers, calendars, inputs, mailbox, supervision
from relayd.settings.schema import (
    CallListTable,
    PanelTable,
    PersonTable,
    PlanTable,
    TextTable,
    UnitTable,
    sure,
)
from relayd.settings.secrets import Secrets, channels
from relayd.settings.tongues import texts_of
from relayd.settings.values import NEVER

UNIT = "unit"
"""Where the unit's own inputs belong: no panel may be called so."""
FIRST_AGAIN = 3 * MINUTE
SECOND_PERSON = 8 * MINUTE
NEXT_PERSON = 7 * MINUTE
"""ns; a list of names alone: the first at once and again, the second, then one more each time.
Trade judgement, no published source."""
EFFLUENT = frozenset({Kind.EFFLUENT_DEMAND, Kind.EFFLUENT_TIMED})


def build_plan(tables: PlanTable, secrets: Secrets, offsets: tuple[Offset, ...], wall: int) -> Plan:
    """The plan of these tables as of `wall`."""
    unit = sure(tables.unit)
    panels = [_panel(each, unit) for each in sure(tables.panel)]
    people = [_person(each, secrets) for each in sure(tables.person)]
    calls = [_call_list(each) for each in sure(tables.call_list)]
    ways = list(channels(tables))
    schedules = [calendars.on_call(each, sure(unit.zone), wall) for each in tables.on_call or []]
    return Plan(
        unit=sure(unit.id),
        unit_name=sure(unit.name),
        zone=sure(unit.zone),
        offsets=offsets,
        call_list=sure(unit.call_list),
        medium_list=unit.medium_list or "",
        low_list=unit.low_list or "",
        panels={each.id: each for each in panels},
        people={each.id: each for each in people},
        call_lists={each.id: each for each in calls},
        channels={channel: each.id for each in people for channel in each.channels},
        short_forms=frozenset(each for _, each, way in ways if way.short),
        remote_commands=any(each.table.commands for each in brokers.places(tables)),
        inputs=tuple(
            made for each in unit.input or [] for made in inputs.inputs(each, UNIT, Kind.SUMP)
        ),
        hours={sure(each.id): calendars.hours(each, wall) for each in tables.hours or []},
        work=unit.hours or "",
        on_call={each.id: each for each in schedules},
        wakes=frozenset(each for _, each, way in ways if way.wakes),
        least={each: way.least for _, each, way in ways if way.least not in (None, Priority.LOW)},
        at_most={each: way.at_most for _, each, way in ways if way.at_most is not None},
        medium_waits=bool(unit.medium_waits),
        empty=bool(unit.empty),
        languages={each: texts_of(each) for each in _languages(people)},
        texts={key: text for each in tables.text or [] for key, text in _texts(each)},
        brokers=tuple(each.name for each in list(brokers.places(tables))[1:]),
        mailbox=tables.mailbox is not None and secrets.mailbox is not None,
        answers=frozenset(each for _, each, way in ways if way.answers and secrets.mailbox),
        peers=supervision.peers(tables.supervision),
        dead_man=secrets.dead_man is not None,
        all_well=supervision.all_well(tables.supervision),
    )


def build_rig(
    tables: PlanTable, secrets: Secrets, announcements: tuple[Announcement, ...] = ()
) -> Rig:
    """The rig of these tables, without a broker whose password or certificate is missing."""
    unit = sure(tables.unit)
    wired = [(sure(panel.id), each) for panel in sure(tables.panel) for each in sure(panel.input)]
    wired += [(UNIT, each) for each in unit.input or []]
    return Rig(
        lines=tuple(line for place, each in wired for line in inputs.lines(each, place, unit)),
        addresses=dict(secrets.addresses),
        brokers=brokers.built(tables, secrets.papers, secrets.problems),
        poll=sure(unit.poll),
        announcements=announcements,
        mailbox=mailbox.built(tables, secrets.mailbox),
        supervision=supervision.built(tables.supervision, secrets.dead_man),
        keep=sure(unit.keep_days) * DAY,
        keep_size=sure(unit.keep_size) << 20,
    )


def _panel(table: PanelTable, unit: UnitTable) -> Panel:
    name, kind = sure(table.id), sure(table.kind)
    call_list = table.call_list or sure(unit.call_list)
    return Panel(
        id=name,
        name=sure(table.name),
        where=table.where or "",
        kind=kind,
        call_list=call_list,
        inputs=tuple(
            made for each in sure(table.input) for made in inputs.inputs(each, name, kind)
        ),
        settle=sure(table.settle),
        silence_time=table.silence_time,
        circuits=sure(table.circuits),
        hoa=sure(table.hoa),
        silence=sure(table.silence),
        alarm_breaker=sure(table.alarm_breaker),
        pumps=sure(table.pumps),
        control_fed_by=sure(table.control_fed_by),
        alternates=bool(table.alternates),
        reserve=table.reserve,
        pump_down=table.pump_down,
        shares_breaker=bool(table.shares_breaker),
        run_limit=run_limit(table.run_limit, kind),
        starts_limit=table.starts_limit or (60 if kind is Kind.SUMP else 20),
        labels={key: sure(each) for key, each in (table.labels or {}).items()},
        medium_list=table.medium_list or ("" if table.call_list else unit.medium_list) or "",
        low_list=table.low_list or ("" if table.call_list else unit.low_list) or "",
        realarm={key: sure(each) for key, each in (table.realarm or {}).items()},
    )


def run_limit(given: int | None, kind: Kind) -> int | None:
    """How long a pump may run (ns), None for ever: as given, else by what the panel pumps.

    The defaults are trade judgement, no published source: a sump runs as long as it rains.
    """
    if given is not None:
        return None if given == NEVER else given
    if kind is Kind.SUMP:
        return None
    return HOUR if kind in EFFLUENT else 20 * MINUTE


def _person(table: PersonTable, secrets: Secrets) -> Person:
    name = sure(table.id)
    ways = [f"{name}.{each.name}" for each in table.channel or []]
    return Person(
        id=name,
        name=sure(table.name),
        channels=tuple(each for each in ways if each in secrets.addresses),
        phone=table.phone or "",
        responds=bool(table.responds),
        qualified=bool(table.qualified),
        language=sure(table.language),
        waking=sure(table.waking),
        hours=table.hours or "",
        may=tuple(sure(each).value for each in table.may or []),
    )


def _call_list(table: CallListTable) -> CallList:
    return CallList(
        id=sure(table.id),
        steps=tuple(_steps(table)),
        repeat=sure(table.repeat),
        slow_after=sure(table.slow_after),
        slow=sure(table.slow),
    )


def _steps(table: CallListTable) -> Iterator[Step]:
    """The steps as written, or those of a list of names alone."""
    if table.tell is None:
        for each in sure(table.step):
            yield Step(sure(each.after), tuple(sure(person) for person in sure(each.tell)))
        return
    first, *others = (sure(each) for each in table.tell)
    yield Step(0, (first,))
    yield Step(FIRST_AGAIN, (first,))
    for n, person in enumerate(others):
        yield Step(SECOND_PERSON + n * NEXT_PERSON, (person,))


def _languages(people: list[Person]) -> list[str]:
    """The languages that need a catalogue, each once."""
    return list(dict.fromkeys(each.language for each in people if each.language != "en"))


def _texts(table: TextTable) -> Iterator[tuple[str, str]]:
    for form, text in (("short", table.short), ("long", table.long)):
        if text is not None:
            yield f"{table.condition}:{table.language}:{form}", text
