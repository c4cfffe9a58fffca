"""What the owner wants, checked and frozen.

In: built by the loader (relayd/settings.py), which has already refused what is wrong.
Out: read by every station of the core. Holds no address, no secret and no file; zones are
resolved to plain offsets. All times are nanoseconds, so that sums are exact.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from relayd.core.once import once
from relayd.core.overseen import AllWell
from relayd.core.people import (
    DAY as DAY,
    HOUR as HOUR,
    MINUTE as MINUTE,
    SECOND as SECOND,
    CallList as CallList,
    Hours as Hours,
    Limit as Limit,
    OnCall as OnCall,
    Person as Person,
    Step as Step,
    Turn as Turn,
)


def seconds(value: float) -> int:
    """Turn seconds into whole nanoseconds, to the nearest microsecond."""
    return round(value * 1_000_000) * 1_000


class Means(StrEnum):
    """What an input tells."""

    HIGH_LEVEL = "high-level"
    HIGH_HIGH_LEVEL = "high-high-level"
    COMMON_ALARM = "common-alarm"
    LOW_LEVEL = "low-level"
    REDUNDANT_OFF = "redundant-off"
    ALARM_POWER = "alarm-power"
    CONTROL_POWER = "control-power"
    PUMP_POWER = "pump-power"
    PUMP_CALLED = "pump-called"
    PUMP_RUNNING = "pump-running"
    OVERLOAD = "overload"
    OVER_TEMPERATURE = "over-temperature"
    SEAL_LEAK = "seal-leak"
    PHASE_FAULT = "phase-fault"
    PUMP_FAULT = "pump-fault"
    LAG_CALLED = "lag-called"
    IN_HAND = "in-hand"
    IN_OFF = "in-off"
    NOT_IN_AUTO = "not-in-auto"
    HORN_DRIVEN = "horn-driven"
    HORN_HEARD = "horn-heard"
    HORN_WIRE_PARKED = "horn-wire-parked"
    UNIT_POWER = "unit-power"
    WETTING_SUPPLY = "wetting-supply"
    CABLE_LOOP = "cable-loop"
    ON_GENERATOR = "on-generator"
    PANEL_DOOR = "panel-door"
    TANK_LID = "tank-lid"
    AIR_SUPPLY = "air-supply"
    TEST_PRESSED = "test-pressed"
    UNIT_BUTTON = "unit-button"
    OTHER = "other"


PUMP_MEANS = frozenset(
    {
        Means.PUMP_POWER,
        Means.PUMP_CALLED,
        Means.PUMP_RUNNING,
        Means.OVERLOAD,
        Means.OVER_TEMPERATURE,
        Means.SEAL_LEAK,
        Means.PUMP_FAULT,
        Means.IN_HAND,
        Means.IN_OFF,
        Means.NOT_IN_AUTO,
    }
)
"""Inputs that carry a pump's number where a panel has more than one (0: all of them)."""
ALARM_CONTACTS = (Means.HIGH_LEVEL, Means.HIGH_HIGH_LEVEL, Means.COMMON_ALARM)
"""Contacts whose truth hangs on the alarm circuit: they declare in_alarm, unpowered, contact_follows."""
SUPPLIES = frozenset({Means.ALARM_POWER, Means.CONTROL_POWER, Means.PUMP_POWER, Means.UNIT_POWER})
"""Inputs that sense a supply: its presence holds them closed, and its loss is their alarm."""
REFERENCES = frozenset({Means.WETTING_SUPPLY, Means.CABLE_LOOP})
"""Closed while the wires live: when one opens, what hangs on them tells nothing."""
UNIT_MEANS = frozenset(
    {Means.UNIT_POWER, Means.WETTING_SUPPLY, Means.ON_GENERATOR, Means.UNIT_BUTTON}
)
"""Inputs of the unit and its site, of no panel."""


class Position(StrEnum):
    """Where a contact stands."""

    OPEN = "open"
    CLOSED = "closed"


class Unpowered(StrEnum):
    """Where a contact stands when the alarm circuit is dead; `holds` = it does not care."""

    OPEN = "open"
    CLOSED = "closed"
    HOLDS = "holds"
    UNKNOWN = "unknown"


class Follows(StrEnum):
    """What makes a contact go back: the water, the lamp, the horn, a reset, or nobody knows."""

    LEVEL = "level"
    LAMP = "lamp"
    HORN = "horn"
    LATCHED = "latched"
    UNKNOWN = "unknown"


class Kind(StrEnum):
    """The kind of pumping system: it decides what may be advised first."""

    SEWAGE_EJECTOR = "sewage-ejector"
    LIFT_STATION = "lift-station"
    EFFLUENT_DEMAND = "effluent-demand"
    EFFLUENT_TIMED = "effluent-timed"
    TREATMENT = "treatment"
    GRINDER = "grinder"
    SUMP = "sump"


class FedBy(StrEnum):
    """What feeds the control circuit (contactor coil, pump floats)."""

    ALARM = "alarm"
    PUMP = "pump"
    OWN = "own"
    UNKNOWN = "unknown"


class Circuits(StrEnum):
    """Whether alarm and pump hang on circuits of their own; only a test proves it."""

    SEPARATE = "separate"
    SHARED = "shared"
    UNKNOWN = "unknown"


class Reach(StrEnum):
    """Where a switch is found, which decides to whom a step may be given."""

    OUTSIDE = "outside"
    DEAD_FRONT = "dead-front"
    LIVE_PARTS = "live-parts"
    NOT_FITTED = "not-fitted"
    UNKNOWN = "unknown"


class Priority(StrEnum):
    """How soon somebody must act."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"
    RECORD_ONLY = "record-only"


@dataclass(frozen=True, slots=True)
class Input:
    """One isolated input. `id` is '<panel>.<name>', `panel` is "unit" for the unit's own; times in nanoseconds."""

    id: str
    panel: str
    means: Means
    in_alarm: Position
    unpowered: Unpowered = Unpowered.UNKNOWN
    follows: Follows = Follows.UNKNOWN
    close_time: int = 50_000_000
    open_time: int = 50_000_000
    release_hold: int = 3 * SECOND
    on_delay: int = 10 * SECOND
    off_delay: int = 60 * SECOND
    pump: int = 0
    """Which pump it is about, from 1; 0: all pumps, or none."""
    throw_of: str = ""
    """The id of the input whose other throw this is (Form C): it tells nothing by itself."""
    latch: bool = False
    """Whether its alarm stays after the condition has gone, until it is reset."""
    carries: tuple[Means, ...] = ()
    """What a common alarm may mean."""
    text: str = ""
    """What a contact of means `other` says, in the site's own words."""
    priority: Priority | None = None
    """The site's own priority for this input's alarm."""
    exempt: bool = False
    """Pulses by nature (mains, a flashing output): never called unsettled."""


@dataclass(frozen=True, slots=True)
class Panel:
    """One pump control panel and what is known of it. Times in nanoseconds."""

    id: str
    name: str
    where: str
    kind: Kind
    call_list: str
    inputs: tuple[Input, ...]
    settle: int = 60 * SECOND
    settle_alarm: int = 10 * SECOND
    window: int = 5 * SECOND
    silence_time: int | None = None
    circuits: Circuits = Circuits.UNKNOWN
    hoa: Reach = Reach.UNKNOWN
    silence: Reach = Reach.UNKNOWN
    alarm_breaker: Reach = Reach.UNKNOWN
    pumps: int = 1
    control_fed_by: FedBy = FedBy.UNKNOWN
    alternates: bool = False
    """Two pumps of this panel take turns."""
    reserve: int | None = None
    """The least time from the alarm float to overflow, declared by somebody who knows the basin (ns)."""
    pump_down: int | None = None
    """How long a usual run of the pump lasts, declared (ns); None: as it was seen to be."""
    shares_breaker: bool = False
    """Unit and panel hang on one breaker."""
    run_limit: int | None = None
    """A pump that runs longer is told of (ns); None: never."""
    starts_limit: int = 20
    """More starts of a pump in an hour are told of."""
    labels: Mapping[str, str] = field(default_factory=dict)
    """Breaker labels as written in the panel's door: 'alarm', 'control', 'pump-1' ... -> text."""
    medium_list: str = ""
    """The call list of medium alarms; '': `call_list`."""
    low_list: str = ""
    """The call list of low alarms and reminders; '': `medium_list`."""
    realarm: Mapping[str, int] = field(default_factory=dict)
    """Condition -> re-alarm time of this panel (ns), where it is not the usual one."""
    worked_out: dict[tuple[object, ...], Any] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    """What was worked out from the rest (once.py)."""

    def input(self, means: Means, pump: int = 0) -> Input | None:
        """The panel's input that tells `means` of that pump, or None where it is not wired.

        Where none carries the pump's number it is the one contact for all pumps; without a pump
        asked for, that contact comes first.
        """
        return _input(self, means, pump)


@once
def _input(panel: Panel, means: Means, pump: int) -> Input | None:
    fit = [each for each in panel.inputs if each.means is means and not each.throw_of]
    own = (each for each in fit if each.pump == pump)
    shared = (each for each in fit if not pump or not each.pump)
    return next(own, None) or next(shared, None)


@dataclass(frozen=True, slots=True)
class Offset:
    """From this UTC instant (ns since 1970) on, local time is UTC + `seconds`, called `label`."""

    begins: int
    seconds: int
    label: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything the core knows of this site and its people."""

    unit: str
    unit_name: str
    zone: str
    offsets: tuple[Offset, ...]
    call_list: str
    panels: Mapping[str, Panel]
    people: Mapping[str, Person]
    call_lists: Mapping[str, CallList]
    channels: Mapping[str, str] = field(default_factory=dict)
    """Channel name -> person id."""
    short_forms: frozenset[str] = frozenset()
    """Channels that get the short form: text messages."""
    remote_commands: bool = False
    """Whether acknowledging and declaring a horn wire over MQTT is allowed."""
    inputs: tuple[Input, ...] = ()
    """The unit's own inputs: its supply, the wetting supply, the site's generator."""
    hours: Mapping[str, Hours] = field(default_factory=dict)
    work: str = ""
    """The id of the working hours of whoever has none; '': Monday to Friday, 08:00 to 17:00."""
    on_call: Mapping[str, OnCall] = field(default_factory=dict)
    wakes: frozenset[str] = frozenset()
    """Channels that wake a sleeper."""
    least: Mapping[str, Priority] = field(default_factory=dict)
    """Channel -> the least priority that goes over it (absent: all)."""
    at_most: Mapping[str, Limit] = field(default_factory=dict)
    """Channel -> how much its service takes (absent: no limit is known)."""
    medium_list: str = ""
    """The call list of the unit's and the site's medium alarms; '': `call_list`."""
    low_list: str = ""
    """The call list of their low alarms; '': `medium_list`."""
    medium_waits: bool = False
    """Medium alarms wait for working hours, not only for waking ones."""
    empty: bool = False
    """Nobody lives here: an outage is told at once, and no pump cycle is expected."""
    languages: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Language -> catalogue (English text -> its translation); English needs none."""
    texts: Mapping[str, str] = field(default_factory=dict)
    """The site's own texts: '<condition>:<language>:short|long' -> template with $names."""
    brokers: tuple[str, ...] = ()
    """The names of the brokers beside the first one."""
    mailbox: bool = False
    """Whether answers may come by mail."""
    answers: frozenset[str] = frozenset()
    """Channels on which a reply reaches the mailbox."""

    @property
    def codes(self) -> bool:
        """Whether messages carry a code by which they are answered from afar."""
        return self.mailbox or self.remote_commands

    peers: Mapping[str, str] = field(default_factory=dict)
    """The ids of the units that this one watches -> what people call them."""
    dead_man: bool = False
    """Whether a service outside is told regularly that this unit lives."""
    all_well: AllWell | None = None

    def input(self, input_id: str) -> Input | None:
        """The input of that full id, or None."""
        name = input_id.partition(".")[0]
        if name == "unit":
            inputs = self.inputs
        else:
            panel = self.panels.get(name)
            inputs = panel.inputs if panel else ()
        return next((each for each in inputs if each.id == input_id), None)
