"""From tables that broke no rule to the frozen plan and the rig beside it.

In: the tables, the secrets that were found, the zone's offsets. A channel without an address is
left out: only a forgiving load lets one come so far.
"""

from pathlib import Path
from typing import TypeVar

from relayd.core.plan import (
    SECOND,
    CallList,
    Circuits,
    Follows,
    Input,
    Kind,
    Means,
    Offset,
    Panel,
    Person,
    Plan,
    Position,
    Reach,
    Step,
    Unpowered,
)
from relayd.rig import Broker, Line, Rig
from relayd.settings.schema import (
    CallListTable,
    InputTable,
    MqttTable,
    PanelTable,
    PersonTable,
    PlanTable,
    UnitTable,
)
from relayd.settings.secrets import Secrets, channels
from relayd.settings.values import Level, Pull, Version

Value = TypeVar("Value")

POWER_DELAYS = (60 * SECOND, 30 * SECOND)
"""ns, on and off; a minute rides through a recloser. Trade judgement, no published source."""
LEVEL_OFF = 60 * SECOND
LEVEL_ON = 10 * SECOND
SMALL_BASIN_ON, SMALL_BASIN_ON_HOLDS = 6 * SECOND, 5 * SECOND
"""ns; a sump or grinder basin is full soon. 5 s only where no loss of power moves the contact."""


def build_plan(tables: PlanTable, secrets: Secrets, offsets: tuple[Offset, ...]) -> Plan:
    """The plan of these tables."""
    unit = sure(tables.unit)
    panels = [_panel(each, unit) for each in sure(tables.panel)]
    people = [_person(each, secrets) for each in sure(tables.person)]
    calls = [_call_list(each) for each in sure(tables.call_list)]
    return Plan(
        unit=sure(unit.id),
        unit_name=sure(unit.name),
        zone=sure(unit.zone),
        offsets=offsets,
        call_list=sure(unit.call_list),
        panels={each.id: each for each in panels},
        people={each.id: each for each in people},
        call_lists={each.id: each for each in calls},
        channels={channel: each.id for each in people for channel in each.channels},
        short_forms=frozenset(each for _, each, way in channels(tables) if way.short),
        remote_commands=tables.mqtt is not None and bool(tables.mqtt.commands),
    )


def build_rig(tables: PlanTable, secrets: Secrets) -> Rig:
    """The rig of these tables; no broker where its password or certificate is missing."""
    unit = sure(tables.unit)
    broken = any(problem.loc[0] == "mqtt" for problem in secrets.problems)
    broker = None if tables.mqtt is None or broken else _broker(tables.mqtt, secrets)
    return Rig(
        lines=tuple(
            _line(each, sure(panel.id), unit)
            for panel in sure(tables.panel)
            for each in sure(panel.input)
        ),
        addresses=dict(secrets.addresses),
        broker=broker,
        poll=sure(unit.poll),
    )


def input_id(panel: str, table: InputTable) -> str:
    """The full id of an input: '<panel>.<name>', the name being what it means where none is given."""
    return f"{panel}.{table.name or sure(table.means)}"


def sure(value: Value | None) -> Value:
    """The value of a key that cannot be a gap any more."""
    if value is None:
        raise AssertionError("a gap was left in tables that broke no rule")
    return value


def _panel(table: PanelTable, unit: UnitTable) -> Panel:
    name, kind = sure(table.id), sure(table.kind)
    return Panel(
        id=name,
        name=sure(table.name),
        where=table.where or "",
        kind=kind,
        call_list=table.call_list or sure(unit.call_list),
        inputs=tuple(_input(each, name, kind) for each in sure(table.input)),
        settle=sure(table.settle),
        silence_time=table.silence_time,
        circuits=table.circuits or Circuits.UNKNOWN,
        hoa=table.hoa or Reach.UNKNOWN,
        silence=table.silence or Reach.UNKNOWN,
    )


def _input(table: InputTable, panel: str, kind: Kind) -> Input:
    means = sure(table.means)
    unpowered = table.unpowered or Unpowered.UNKNOWN
    if means is Means.ALARM_POWER:
        unpowered = Unpowered.OPEN
    on, off = _delays(means, kind, unpowered)
    return Input(
        id=input_id(panel, table),
        panel=panel,
        means=means,
        in_alarm=table.in_alarm or Position.OPEN,
        unpowered=unpowered,
        follows=table.contact_follows or Follows.UNKNOWN,
        close_time=sure(table.close_time),
        open_time=sure(table.open_time),
        release_hold=table.release_hold or 3 * SECOND,
        on_delay=table.on_delay or on,
        off_delay=table.off_delay or off,
    )


def _delays(means: Means, kind: Kind, unpowered: Unpowered) -> tuple[int, int]:
    if means is not Means.HIGH_LEVEL:
        return POWER_DELAYS
    if kind not in {Kind.SUMP, Kind.GRINDER}:
        return LEVEL_ON, LEVEL_OFF
    return (SMALL_BASIN_ON_HOLDS if unpowered is Unpowered.HOLDS else SMALL_BASIN_ON), LEVEL_OFF


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
    )


def _call_list(table: CallListTable) -> CallList:
    steps = (
        Step(sure(each.after), tuple(sure(person) for person in sure(each.tell)))
        for each in sure(table.step)
    )
    return CallList(
        id=sure(table.id),
        steps=tuple(steps),
        repeat=sure(table.repeat),
        slow_after=sure(table.slow_after),
        slow=sure(table.slow),
    )


def _line(table: InputTable, panel: str, unit: UnitTable) -> Line:
    return Line(
        input=input_id(panel, table),
        chip=sure(table.chip or unit.chip),
        line=sure(table.line),
        closed_when_low=table.closed_when is Level.LOW,
        pull=(table.pull or Pull.NONE).value,
    )


def _broker(table: MqttTable, secrets: Secrets) -> Broker:
    tls = bool(table.tls) or table.ca is not None
    return Broker(
        host=sure(table.host),
        port=table.port or (8883 if tls else 1883),
        version=(table.version or Version.FIVE).value,
        user=table.user or "",
        password=secrets.password,
        tls=tls,
        ca=None if table.ca is None else Path(table.ca),
    )
