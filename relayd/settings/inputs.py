"""What holds for an input that says nothing: its name, its place in an alarm, its times; then the input itself.

In: one table and what is around it. Out: the core's inputs and the rig's lines. The rules
(wiring.py) look at the same defaults, so that what is refused is what would have been used.
Times in nanoseconds.
"""

from collections.abc import Iterator
from typing import NamedTuple

from relayd.core.conditions import BY_MEANS, usual_delays
from relayd.core.plan import (
    ALARM_CONTACTS,
    REFERENCES,
    SECOND,
    SUPPLIES,
    Follows,
    Input,
    Kind,
    Means,
    Position,
    Priority,
    Unpowered,
)
from relayd.rig import Line
from relayd.settings.presets import PRESETS
from relayd.settings.schema import InputTable, UnitTable, sure
from relayd.settings.values import Level
from relayd.words import MS

OTHER_THROW = "-other"
"""What the name of a Form C contact's second input ends in."""
RELAY_ON = 6 * SECOND
"""ns; the shortest on-delay of an alarm contact that moves with its circuit: beyond the 5 s in which
its opening counts as the loss's. Trade judgement, no published source."""
SMALL_BASIN_ON_HOLDS = 5 * SECOND
"""ns; a sump or grinder basin is full soon. Only where no loss of power moves the contact."""
SMALL_BASINS = frozenset({Kind.SUMP, Kind.GRINDER})
HORN = frozenset({Means.HORN_DRIVEN, Means.HORN_HEARD})
"""They pulse once or several times a second."""
OPEN_ON_LOSS = SUPPLIES | REFERENCES
"""Presence holds them closed: never the other way round, so that a cut wire tells of itself."""
MUST_SAY = frozenset(ALARM_CONTACTS) | {
    Means.LOW_LEVEL,
    Means.REDUNDANT_OFF,
    Means.OVERLOAD,
    Means.OVER_TEMPERATURE,
    Means.SEAL_LEAK,
    Means.PHASE_FAULT,
    Means.PUMP_FAULT,
    Means.OTHER,
}
"""Contacts of which a wrong guess would be silent, or a standing alarm."""
TELLS = frozenset(BY_MEANS)
"""Means whose alarm is a condition by itself: delays, priority and latch are theirs."""


class Bounce(NamedTuple):
    """The times of the filter (ns)."""

    close: int
    open: int


BOUNCE = Bounce(50 * MS, 50 * MS)
HORN_BOUNCE = Bounce(50 * MS, 3 * SECOND)
"""A horn that sounds in pulses stays one sound (trade judgement, no published source)."""
PULSING_BOUNCE = Bounce(5 * MS, 200 * MS)
"""A relay or isolator that follows the mains: one pulse is presence, ten missing cycles are loss."""


def name_of(table: InputTable) -> str:
    """The name within its panel: as given, else what it means, with the number of its pump."""
    own = table.preset if table.means is Means.OTHER else None
    name = table.name or own or sure(table.means)
    return f"{name}-{table.pump}" if table.pump and not table.name else str(name)


def in_alarm(table: InputTable) -> Position:
    """Where the contact stands in an alarm: as given, else as the trade wires it."""
    opens = table.means in OPEN_ON_LOSS or table.means is Means.AIR_SUPPLY
    return table.in_alarm or (Position.OPEN if opens else Position.CLOSED)


def bounce(table: InputTable) -> Bounce:
    """The filter's times: as given, else by what the input tells."""
    usual = BOUNCE
    if table.pulsing:
        usual = PULSING_BOUNCE
    elif table.means in HORN:
        usual = HORN_BOUNCE
    return Bounce(table.close_time or usual.close, table.open_time or usual.open)


def inputs(table: InputTable, panel: str, kind: Kind) -> Iterator[Input]:
    """The input of this table, and the one of its other throw where it has one."""
    means, stands = sure(table.means), in_alarm(table)
    first = _input(table, panel, kind, means, stands)
    yield first
    if table.second_line is not None:
        other = Position.CLOSED if stands is Position.OPEN else Position.OPEN
        yield Input(
            id=first.id + OTHER_THROW,
            panel=panel,
            means=means,
            in_alarm=other,
            unpowered=_OPPOSITE.get(first.unpowered, first.unpowered),
            follows=first.follows,
            close_time=first.close_time,
            open_time=first.open_time,
            release_hold=first.release_hold,
            on_delay=first.on_delay,
            off_delay=first.off_delay,
            pump=first.pump,
            throw_of=first.id,
            carries=first.carries,
            exempt=first.exempt,
        )


def lines(table: InputTable, panel: str, unit: UnitTable) -> Iterator[Line]:
    """How the input is wired, and its other throw."""
    full = f"{panel}.{name_of(table)}"
    places = [(full, table.line)]
    if table.second_line is not None:
        places.append((full + OTHER_THROW, table.second_line))
    for name, number in places:
        yield Line(
            input=name,
            chip=sure(table.chip or unit.chip),
            line=sure(number),
            closed_when_low=table.closed_when is Level.LOW,
            pull=sure(table.pull).value,
        )


_OPPOSITE = {Unpowered.OPEN: Unpowered.CLOSED, Unpowered.CLOSED: Unpowered.OPEN}


def _input(table: InputTable, panel: str, kind: Kind, means: Means, stands: Position) -> Input:
    unpowered = table.unpowered or Unpowered.UNKNOWN
    if means is Means.ALARM_POWER:
        unpowered = Unpowered.OPEN
    on, off = _delays(means, kind, unpowered)
    times = bounce(table)
    return Input(
        id=f"{panel}.{name_of(table)}",
        panel=panel,
        means=means,
        in_alarm=stands,
        unpowered=unpowered,
        follows=table.contact_follows or Follows.UNKNOWN,
        close_time=times.close,
        open_time=times.open,
        release_hold=table.release_hold or 3 * SECOND,
        on_delay=table.on_delay or on,
        off_delay=table.off_delay or off,
        pump=table.pump or 0,
        latch=bool(table.latch),
        carries=tuple(sure(each) for each in table.carries or []),
        text=_text(table),
        priority=_priority(table),
        exempt=bool(table.pulsing) or means in HORN or means is Means.UNIT_BUTTON,
    )


def _delays(means: Means, kind: Kind, unpowered: Unpowered) -> tuple[int, int]:
    on, off = usual_delays(means, kind)
    if means not in ALARM_CONTACTS:
        return on, off
    if unpowered is not Unpowered.HOLDS:
        return max(on, RELAY_ON), off
    if means is Means.HIGH_LEVEL and kind in SMALL_BASINS:
        return SMALL_BASIN_ON_HOLDS, off
    return on, off


def _text(table: InputTable) -> str:
    return table.text or (PRESETS[table.preset].text if table.preset else "")


def _priority(table: InputTable) -> Priority | None:
    return table.priority or (PRESETS[table.preset].priority if table.preset else None)
