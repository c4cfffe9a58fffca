"""What relayd remembers between two steps: frozen values, one row of the journal a subject.

In and out: only stations of the core make new ones. Every `up`-like field is boot time in
nanoseconds of the boot named in `State.boot`; another boot goes through restart.py.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from relayd.core.events import Outcome
from relayd.core.memory import (
    Away as Away,
    Horn as Horn,
    HornStanding as HornStanding,
    LooseEnd as LooseEnd,
    Mark as Mark,
    PumpLog as PumpLog,
    Stamp as Stamp,
    Tally as Tally,
    Visit as Visit,
)
from relayd.core.plan import Priority


class Process(StrEnum):
    """The six process states of ISA-18.2."""

    NORM = "NORM"
    UNACK = "UNACK"
    ACKED = "ACKED"
    RTNUN = "RTNUN"
    LATUN = "LATUN"
    LATAK = "LATAK"


class Fact(StrEnum):
    """A contact's filtered value, seen from the alarm: in alarm, normal, or not known."""

    ALARM = "alarm"
    NORMAL = "normal"
    UNKNOWN = "unknown"


class Signal(StrEnum):
    """What the diagnosis says to the on- and off-delay: present, absent, or leave as it is."""

    PRESENT = "present"
    ABSENT = "absent"
    KEEP = "keep"


@dataclass(frozen=True, slots=True)
class Filter:
    """The bounce filter: `charge` ns between 0 and the bound; `closed` None until it has settled."""

    raw: bool
    at: int
    charge: int = 0
    closed: bool | None = None
    settles: int = 0
    edge: int = 0
    """First edge of the move that is under way (or was last)."""
    began: int = 0
    """First edge of the last move that turned the value."""
    changed: int = 0
    """When the value last turned."""


@dataclass(frozen=True, slots=True)
class InputState:
    """One input: its filter (None before the first level), and why it is lost, if it is."""

    filter: Filter | None = None
    lost: str = ""
    missed: int = 0
    """Edges known to be missing since the start."""
    held: bool = False
    """In alarm, or back for less than the release hold."""
    edges: tuple[int, ...] = ()
    """Times of the last raw changes, the newest last; no more than the unsettled rule needs."""
    turns: tuple[int, ...] = ()
    """Times at which the filtered value changed within the last ten minutes; no more than needed."""
    drops: tuple[int, ...] = ()
    """When this reference was lost after it had been believed, the newest last; no more than needed."""


@dataclass(frozen=True, slots=True)
class Delay:
    """On-delay and off-delay of one condition."""

    present: bool = False
    """The condition as it stands after both delays."""
    pending: int | None = None
    """Present since then, on-delay still running."""
    leaving: int | None = None
    """Absent since then, off-delay still running."""
    score: int = 0
    """Present time minus absent time of the current spell, bounded by 0 and the on-delay."""
    spell: int | None = None
    """When the score was last at zero: the spell's begin."""
    at: int = 0
    signal: Signal = Signal.KEEP


@dataclass(frozen=True, slots=True)
class Belief:
    """What is held to be true about the level, and the row of the diagnosis that says so."""

    row: str = ""
    contact: Fact = Fact.UNKNOWN
    """The level contact as last known, release hold included."""
    was_alarm: bool = False
    """The contact was truly in alarm, and nothing since has proved the water fell."""
    alarm_edge: int | None = None
    """First edge of the contact's last move to its alarm side."""
    normal_edge: int | None = None
    """First edge of the contact's last move back."""
    circuit_edge: int | None = None
    """First edge of the last loss of the alarm circuit."""
    circuit_lost: bool = False
    circuit_back: int | None = None
    """When the alarm circuit was last seen to return (None: never lost, or settled since)."""
    chattered: bool = False
    """The contact was unsettled since this alarm began."""
    looked: int | None = None
    """When a person last said that the level is below the alarm float."""


class CallStop(StrEnum):
    """Why a call list no longer climbs."""

    TAKEN = "taken"
    RETURNED = "returned"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class Call:
    """A call list at work for one occurrence."""

    began: int
    step: int = 0
    """Index of the next step; at or past the end: the repeats."""
    due: int | None = None
    stopped: CallStop | None = None
    round: int = 1
    priority: Priority = Priority.HIGH
    """The priority for which it runs: where the alarm's becomes higher, it begins again."""


@dataclass(frozen=True, slots=True)
class Take:
    """Who has it, since when, and until when (boot time and UTC) it will be dealt with."""

    person: str
    at: Stamp
    until: int
    until_wall: int


@dataclass(frozen=True, slots=True)
class Alarm:
    """One condition of one subject under its life cycle. `occurrence` counts raisings of the unit."""

    condition: str
    priority: Priority
    process: Process = Process.NORM
    row: str = ""
    detail: str = ""
    occurrence: int = 0
    raised: Stamp | None = None
    began: Stamp | None = None
    """Since when its cause was there, before its on-delay; None in what an older version kept."""
    returned: Stamp | None = None
    call: Call | None = None
    told: tuple[str, ...] = ()
    """Persons for whom a notice of this occurrence was made, or who took it, in that order."""
    seen: Mapping[str, int] = field(default_factory=dict)
    """Person -> boot time until which that person is left alone."""
    taken: Take | None = None
    answered: str = ""
    """Who answered it last, seen or taken."""
    realarm: int | None = None
    update: int | None = None
    """When a changed text is told to those already told."""
    told_row: str = ""
    told_notes: tuple[str, ...] = ()
    """The notes as they stood when somebody was last told."""
    rise: int | None = None
    """When a priority that went up again is told, which was told a little while ago."""
    notes: tuple[str, ...] = ()
    """Rows of the pump table (and others) that explain this alarm, the most telling first."""
    shelved: Mark | None = None
    out: Mark | None = None
    """Out of service."""
    suppressed: str = ""
    """Why it is suppressed by design; '' where it is not."""
    latching: bool = False
    """It stays after the condition has gone, until it is reset."""
    raises: tuple[int, ...] = ()
    """Boot times of its last raisings, the newest last; what chattering is judged by."""
    chattering: int | None = None
    """Since when it chatters: repeats are recorded, not told."""
    stale: bool = False
    """It has stood for more than 24 h, and that was recorded."""
    held: Mapping[str, int] = field(default_factory=dict)
    """Person -> boot time at which that person's hours begin and this alarm is told."""
    morning: int | None = None
    """When 'it was there and nobody answered' becomes a low item of the working morning."""
    mornings: int = 0
    """On how many working mornings it was told so."""

    @property
    def since(self) -> Stamp | None:
        """Since when people are told that it is there."""
        return self.began or self.raised


@dataclass(frozen=True, slots=True)
class Subject:
    """What alarms are about: `unit`, `panel:<id>`, or `channel:<id>`; one row of the journal."""

    id: str
    alarms: Mapping[str, Alarm] = field(default_factory=dict)
    belief: Belief = field(default_factory=Belief)
    said: Mapping[str, str] = field(default_factory=dict)
    """Condition -> why it is so; what the unit and the channels know of themselves."""
    beliefs: Mapping[str, Belief] = field(default_factory=dict)
    """Means -> belief of the panel's further alarm contacts (high-high-level, common-alarm)."""
    pumps: Mapping[int, PumpLog] = field(default_factory=dict)
    """Pump's number -> what is remembered of its starts."""
    highs: tuple[Stamp, ...] = ()
    """When high level returned by itself in the last seven days, no more than needed."""
    hot: Mapping[int, tuple[Stamp, ...]] = field(default_factory=dict)
    """Pump's number -> when it was over-temperature in the last day."""
    horn: Horn = field(default_factory=Horn)
    loose: Mapping[str, LooseEnd] = field(default_factory=dict)
    visit: Visit | None = None
    out: Mark | None = None
    """The whole panel is out of service."""
    away: Mapping[str, Away] = field(default_factory=dict)
    """Person -> away; kept by the unit."""
    raises: tuple[int, ...] = ()
    """Boot times of the last raisings of any alarm; kept by the unit, for the burst rule."""
    day: tuple[int, ...] = ()
    """Boot times of the raisings of the last 24 h, the newest last, a hundred at most; kept by the unit."""
    burst: int | None = None
    """Since when an alarm burst goes on; kept by the unit."""
    called: Mapping[str, int] = field(default_factory=dict)
    """Person -> when that person was last called for an alarm of this panel; old ones are dropped."""
    promised: Mapping[str, int] = field(default_factory=dict)
    """Person -> until when that person has something of this panel, over or not."""
    well: Stamp | None = None
    """When the weekly message was last due; kept by the unit."""
    wells: Mapping[str, int] = field(default_factory=dict)
    """Person -> when that person is told it; kept by the unit."""


@dataclass(frozen=True, slots=True)
class Live:
    """What of a subject is found again from the contacts at a start, and so is never stored."""

    inputs: Mapping[str, InputState] = field(default_factory=dict)
    """By full input id ('<panel>.<name>')."""
    delays: Mapping[str, Delay] = field(default_factory=dict)
    """By condition."""
    due: int | None = None
    """When time alone changes something about this subject."""
    pressed: int | None = None
    """First edge of the last press of the unit's button."""
    told_press: int | None = None
    """When people were last told of one."""


class SendState(StrEnum):
    """Where one send stands."""

    OWED = "owed"
    OUT = "out"
    LEAVING = "leaving"
    """No longer wanted, but it may be on its way: its outcome still tells of the channel."""
    TAKEN = "taken"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Send:
    """One notice over one channel. `due` is boot time: when to try, or to give up waiting."""

    id: int
    channel: str
    state: SendState = SendState.OWED
    tries: int = 0
    due: int | None = None
    last: Outcome | None = None
    detail: str = ""


class NoticeKind(StrEnum):
    """Why a notice is made."""

    RAISED = "raised"
    UPDATE = "update"
    TAKEN = "taken"
    STAND_DOWN = "stand-down"
    DIGEST = "digest"
    """Several low or held items of one person's morning in one message."""
    REMINDER = "reminder"
    """Of a loose end, an alarm out of service, or an alarm that nobody answered."""
    QUESTION = "question"
    """Asks a person something that only a person can know."""
    VISIT = "visit"
    """What a visitor is told of the visit itself."""
    ALL_WELL = "all-well"
    """The weekly message, which proves each channel that it comes over."""


@dataclass(frozen=True, slots=True)
class Named:
    """An alarm as a message names it."""

    subject: str
    condition: str


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one person. `occurrence` is 0 where it is about no alarm."""

    id: int
    subject: str
    condition: str
    occurrence: int
    person: str
    kind: NoticeKind
    priority: Priority
    title: str
    short: str
    long: str
    made: Stamp
    sends: tuple[Send, ...] = ()
    about: tuple[Named, ...] = ()
    """The alarms that it names, where it is several messages in one."""
    beside: tuple[str, ...] = ()
    """The other messages that it holds, in their short form."""


@dataclass(frozen=True, slots=True)
class Turns:
    """How much one person was told lately, in boot times; never stored."""

    singles: tuple[int, ...] = ()
    """When messages last went by themselves."""
    bundled: int | None = None
    """When one that names several last went."""


NEVER = Stamp(0, 0, False)


@dataclass(frozen=True, slots=True)
class State:
    """Everything. `counter` gives occurrences, notices and sends their numbers, never twice."""

    epoch: str
    boot: str = ""
    stamp: Stamp = NEVER
    counter: int = 0
    subjects: Mapping[str, Subject] = field(default_factory=dict)
    notices: Mapping[int, Notice] = field(default_factory=dict)
    """Notices with a send that is still owed or out."""
    closed: tuple[Notice, ...] = ()
    """Notices that this very step closed: written once more, then forgotten."""
    live: Mapping[str, Live] = field(default_factory=dict)
    """By subject; not stored."""
    turns: Mapping[str, Turns] = field(default_factory=dict)
    """By person; not stored."""
    handed: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    """Channel with a limit -> when it was last given something (boot ns); not stored."""
    rests: Mapping[str, int] = field(default_factory=dict)
    """Channel -> until when its service asked to be left alone (boot ns); not stored."""


def outside_id(unit: str, state: State, number: int) -> str:
    """The id that the world sees: `<unit>.<epoch>.<n>`."""
    return f"{unit}.{state.epoch}.{number}"
