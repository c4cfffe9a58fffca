"""What the owner wants, checked and frozen.

In: built by the loader (relayd/settings.py), which has already refused what is wrong.
Out: read by every station of the core. Holds no address, no secret and no file; zones are
resolved to plain offsets. All times are nanoseconds, so that sums are exact.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

SECOND = 1_000_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE


def seconds(value: float) -> int:
    """Turn seconds into whole nanoseconds, to the nearest microsecond."""
    return round(value * 1_000_000) * 1_000


class Means(StrEnum):
    """What an input tells."""

    HIGH_LEVEL = "high-level"
    ALARM_POWER = "alarm-power"
    PUMP_POWER = "pump-power"


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


@dataclass(frozen=True, slots=True)
class Input:
    """One isolated input. `id` is '<panel>.<name>'; all times in nanoseconds."""

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

    def input(self, means: Means) -> Input | None:
        """The panel's input that tells `means`, or None where it is not wired."""
        return next((each for each in self.inputs if each.means is means), None)


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who is told. `channels` are names; their addresses live in the rig."""

    id: str
    name: str
    channels: tuple[str, ...]
    phone: str = ""
    responds: bool = False
    qualified: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One entry of a call list: `after` nanoseconds from the start, these persons are told."""

    after: int
    persons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CallList:
    """In which order people are told; then everybody again every `repeat`, after `slow_after` every `slow`."""

    id: str
    steps: tuple[Step, ...]
    repeat: int = 15 * MINUTE
    slow_after: int = 2 * HOUR
    slow: int = 30 * MINUTE


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
    """Whether acknowledging over MQTT is allowed."""

    def input(self, input_id: str) -> Input | None:
        """The input of that full id, or None."""
        panel = self.panels.get(input_id.partition(".")[0])
        if panel is None:
            return None
        return next((each for each in panel.inputs if each.id == input_id), None)
