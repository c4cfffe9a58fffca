"""What can happen, in the past tense. Facts only: no wishes, no decisions.

Every `at` is boot time (CLOCK_BOOTTIME) in nanoseconds. Ids are the plan's.
"""

from dataclasses import dataclass
from enum import StrEnum

from relayd.core.plan import Priority


@dataclass(frozen=True, slots=True)
class Now:
    """One reading of the clocks: boot id, boot time (ns), UTC since 1970 (ns), and whether UTC is to be believed."""

    boot: str
    up: int
    wall: int
    trusted: bool


class Outcome(StrEnum):
    """How a send ended: a service took it, a service refused it, or nobody knows why it failed."""

    TAKEN = "taken"
    REFUSED = "refused"
    FAILED = "failed"


class Act(StrEnum):
    """The two acts of acknowledging: noticed it; has it."""

    SEEN = "seen"
    TAKEN = "taken"


@dataclass(frozen=True, slots=True)
class Started:
    """The daemon began; `planned` is False where the one before did not end by itself.

    `why` says what ended it, as far as that is known: then an unplanned start is always told.
    """

    planned: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class LevelRead:
    """A poll found this input closed or open; the truth where it differs from the edges."""

    input: str
    closed: bool
    at: int


@dataclass(frozen=True, slots=True)
class EdgeSeen:
    """The kernel saw an edge; `lost` counts edges known to be missing just before it."""

    input: str
    closed: bool
    at: int
    lost: int = 0


@dataclass(frozen=True, slots=True)
class InputLost:
    """An input can no longer be read."""

    input: str
    why: str


@dataclass(frozen=True, slots=True)
class InputFound:
    """A lost input can be read again."""

    input: str
    closed: bool
    at: int


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """A person noticed an alarm, or has it. One of `occurrence` and `panel` is given.

    `act` None means: by the person's own standing (`responds` takes, others have seen).
    `until` is UTC in nanoseconds, `within` nanoseconds from now: when it will be dealt with.
    """

    occurrence: str | None = None
    panel: str | None = None
    act: Act | None = None
    until: int | None = None
    within: int | None = None


@dataclass(frozen=True, slots=True)
class Looked:
    """A person at the panel says that the level is below the alarm float (or is not)."""

    panel: str
    normal: bool


@dataclass(frozen=True, slots=True)
class Shelve:
    """Put an alarm aside until `until` (UTC ns) or for `within` (ns); it always ends by itself."""

    panel: str
    condition: str
    until: int | None = None
    within: int | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Unshelve:
    """End a shelving."""

    panel: str
    condition: str


@dataclass(frozen=True, slots=True)
class OutOfService:
    """Take an alarm ('' = all of the panel) out of service, with an end as for `Shelve`."""

    panel: str
    condition: str = ""
    until: int | None = None
    within: int | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class InService:
    """Return it to service."""

    panel: str
    condition: str = ""


@dataclass(frozen=True, slots=True)
class Reset:
    """Let go a latched alarm of this panel ('' = all of them). It never resets the panel itself."""

    panel: str
    condition: str = ""


class Wire(StrEnum):
    """What is declared of a horn's wire."""

    OFF = "off"
    BACK = "back"


@dataclass(frozen=True, slots=True)
class HornWire:
    """Somebody disconnected the horn's wire, or says that it is back (or was never taken off)."""

    panel: str
    wire: Wire
    why: str = ""


@dataclass(frozen=True, slots=True)
class PutOff:
    """Put a loose end's reminders off until `until` (UTC ns) or for `within` (ns), with a reason."""

    panel: str
    key: str
    until: int | None = None
    within: int | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Settled:
    """A person says that a loose end is done away with."""

    panel: str
    key: str


class Stage(StrEnum):
    """What is asked of a visit."""

    BEGIN = "begin"
    EXTEND = "extend"
    END = "end"


@dataclass(frozen=True, slots=True)
class AtPanel:
    """A visit: begun by a person for one panel, prolonged, or ended.

    Ending one with `left` names the loose ends that stay ('horn-wire', ...), with `why`; those
    that are not named must be gone, or the end is refused and says what is not as it was.
    """

    panel: str
    stage: Stage
    within: int | None = None
    left: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True, slots=True)
class GoAway:
    """A person is away until `until` (UTC ns) or for `within` (ns); `stand_in` is told instead."""

    person: str
    until: int | None = None
    within: int | None = None
    stand_in: str = ""


@dataclass(frozen=True, slots=True)
class ComeBack:
    """A person is no longer away."""

    person: str


Command = (
    Acknowledge
    | Looked
    | Shelve
    | Unshelve
    | OutOfService
    | InService
    | Reset
    | HornWire
    | PutOff
    | Settled
    | AtPanel
    | GoAway
    | ComeBack
)


@dataclass(frozen=True, slots=True)
class Commanded:
    """Somebody asked for something; `token` finds the asker again, `way` tells how it came."""

    token: str
    command: Command
    by: str
    way: str


class Unused(StrEnum):
    """Why an answer that came from afar was not used."""

    AUTOMATIC = "automatic"
    UNREADABLE = "unreadable"
    AGAIN = "again"
    NO_CODE = "no-code"
    UNKNOWN = "unknown-code"
    SERVED = "code-served"
    LOCKED = "locked"
    SENDER = "other-sender"
    WORDS = "not-understood"
    REFUSED = "refused"
    LEFT_OUT = "left-out"


@dataclass(frozen=True, slots=True)
class AnswerUnused:
    """An answer from afar could not be used. `person` is told so, where that is somebody's.

    `say` is for the record; `left_out` counts those before it that were not even recorded. `last`:
    of more such answers that person is not told within the hour, and hears that.
    """

    way: str
    why: Unused
    say: str = ""
    person: str = ""
    occurrence: str = ""
    left_out: int = 0
    last: bool = False


@dataclass(frozen=True, slots=True)
class Sent:
    """A send ended; `again` is for how long (ns) the service asked to be left alone, 0 where it did not."""

    send: int
    outcome: Outcome
    detail: str = ""
    again: int = 0


@dataclass(frozen=True, slots=True)
class ChannelDown:
    """A way out failed as a whole: `sender` (the process), `mqtt` (the broker), `mqtt:<name>` (another)."""

    channel: str
    why: str


@dataclass(frozen=True, slots=True)
class ChannelUp:
    """A way out works again."""

    channel: str


@dataclass(frozen=True, slots=True)
class ClockJudged:
    """The time service says whether wall time is to be believed (it is also in every Now)."""

    trusted: bool


@dataclass(frozen=True, slots=True)
class JournalJudged:
    """The journal commits in time, or it does not."""

    late: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class PlanJudged:
    """The plan file was refused and the last good one is in use (or the plan is good again)."""

    refused: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class FaultFound:
    """A thread or a station of relayd itself failed and was caught."""

    where: str
    what: str


@dataclass(frozen=True, slots=True)
class PeerHeard:
    """A peer fell silent (`why` says how), or is heard again ('').

    `priority` is given where it is not the usual one.
    """

    peer: str
    why: str = ""
    priority: Priority | None = None


@dataclass(frozen=True, slots=True)
class UnitSensed:
    """The unit sensed something of itself: a condition is there (`why`), or is not ('')."""

    condition: str
    why: str = ""
    priority: Priority | None = None


@dataclass(frozen=True, slots=True)
class TimePassed:
    """A deadline came."""


Event = (
    Started
    | LevelRead
    | EdgeSeen
    | InputLost
    | InputFound
    | Commanded
    | AnswerUnused
    | Sent
    | ChannelDown
    | ChannelUp
    | ClockJudged
    | JournalJudged
    | PlanJudged
    | FaultFound
    | PeerHeard
    | UnitSensed
    | TimePassed
)
