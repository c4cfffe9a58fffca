"""What is remembered of a panel beside its alarms: horn, loose ends, a visit, who is away, pumps.

Frozen values only, stored with the subject they are about. Times without a stamp are boot times in
nanoseconds; shifting.py moves them to another boot.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Stamp:
    """When something happened: boot time, UTC (ns since 1970) and whether UTC was to be believed."""

    up: int
    wall: int
    trusted: bool


@dataclass(frozen=True, slots=True)
class Mark:
    """Put aside by a person, with an end (boot time and UTC): shelved, or out of service."""

    by: str
    since: Stamp
    until: int
    until_wall: int
    why: str = ""


class HornStanding(StrEnum):
    """What is known of a panel's horn."""

    PROVED = "proved"
    DISCONNECTED = "disconnected"
    SILENT = "silent at alarm"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Horn:
    """The horn watch of one panel. Times are boot times in nanoseconds, stamps hold both clocks."""

    standing: HornStanding = HornStanding.NOT_KNOWN
    since: Stamp | None = None
    by: str = ""
    """Who declared it; '' where a contact or an alarm showed it."""
    why: str = ""
    """The verdict in words, as the horn table has it."""
    row: str = ""
    """The row of the horn table that was last reached."""
    reached: str = ""
    """The row that made the standing what it is; '' where a person did."""
    proved: Stamp | None = None
    """When the horn was last shown to sound."""
    watch: int | None = None
    """When the alarm began at which the horn is being watched; None between alarms."""
    trial: int | None = None
    """When the trial began that is not judged yet."""
    is_fresh: bool = False
    """That trial is a fresh alarm's (or a press of Test), not an output driven anew."""
    judge: int | None = None
    """When that trial is judged."""
    driven: int | None = None
    """When the output was last seen to be driven."""
    undriven: int | None = None
    """When that ended; None while it is driven."""
    sound: int | None = None
    """When something was last heard to begin."""
    hushed: int | None = None
    """When that ended; None while it is heard."""
    noise: int | None = None
    """When the sound before that ended: what is heard soon after it proves nothing."""
    pressed: int | None = None
    """The last press of the panel's Test that was tried."""
    parked: bool = False
    """A contact says that the wire is parked."""
    silence_left: bool = False
    """The silence time was over and the panel did not drive the horn again."""
    circuit_off: Stamp | None = None
    """The alarm circuit last went off during an alarm, then."""
    circuit_on: Stamp | None = None
    """It came back then; None while it is off."""
    settled: int | None = None
    """When the level contact is to be believed again after that, and the question is decided."""
    asked: Stamp | None = None
    """The question whether the horn's wire was taken off, asked then and not answered yet."""
    asked_due: int | None = None
    """Until when an answer is waited for."""
    asking: Mapping[str, int] = field(default_factory=dict)
    """Person -> when that person is asked too, should nobody have answered by then."""
    asked_of: int = 0
    """The occurrence at which it was asked: once each."""
    told: tuple[str, ...] = ()
    """Who was asked."""
    breaker_due: int | None = None
    """When whoever took the wire off is asked whether the alarm circuit is on again."""


@dataclass(frozen=True, slots=True)
class LooseEnd:
    """Something temporary done at a panel that somebody must undo.

    `key` names it within its panel: 'horn-wire', 'in-off-2', 'panel-door', 'alarm-breaker' ...
    """

    key: str
    since: Stamp
    by: str = ""
    why: str = ""
    due: int | None = None
    """When it is next reminded of (boot time)."""
    reminded: int = 0
    """Reminders that nobody answered."""
    put_off: Mark | None = None


@dataclass(frozen=True, slots=True)
class Visit:
    """Somebody is at the panel and works on it, until an end (boot time and UTC)."""

    person: str
    began: Stamp
    until: int
    until_wall: int
    warned: bool = False
    """The visitor was told that it soon ends."""
    opened: bool = False
    """The panel was seen open, or something in it was touched: the horn is to be tested."""
    passed: tuple[int, ...] = ()
    """Occurrences that have stood for too long to stay with the visitor alone."""
    leaving: bool = False
    """The visitor wanted to leave and has not said what stays undone: nobody counts on him there."""


@dataclass(frozen=True, slots=True)
class Away:
    """A person is away, until an end (boot time and UTC); `stand_in` is told instead ('': nobody)."""

    person: str
    since: Stamp
    until: int
    until_wall: int
    stand_in: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Tally:
    """What one pump has done since it was first known, and on one local day. Durations in nanoseconds."""

    since: Stamp | None = None
    """When counting began."""
    starts: int = 0
    cycles: int = 0
    """Runs that were seen to end."""
    ran: int = 0
    """How long those runs took together."""
    day: int = 0
    """The local day (counted from 1970-01-01) of the counts below; 0: none yet."""
    day_starts: int = 0
    day_cycles: int = 0
    day_ran: int = 0


@dataclass(frozen=True, slots=True)
class PumpLog:
    """What is remembered of one pump's starts. Times are boot times in nanoseconds."""

    running: int | None = None
    """Since when it runs."""
    starts: tuple[int, ...] = ()
    """The starts of the last hour, the newest last, no more than the limit needs."""
    last: Stamp | None = None
    """Its last start."""
    runs: tuple[int, ...] = ()
    """How long its last whole runs lasted (ns), the newest last; no more than the usual run needs."""
    ended: int | None = None
    """When it was last seen to stop."""
    gaps: tuple[int, ...] = ()
    """The longest gap between two starts in each of the last eight weeks, the newest last (ns)."""
    week: int = 0
    """Which week (counted from 1970 by days // 7, or by boot time) the newest of `gaps` is."""
    row: int = 0
    """Starts in a row of this pump alone on a panel whose pumps alternate."""
    known: Stamp | None = None
    """When its contact was last known, to the hour."""
    since: Stamp | None = None
    """Since when its contact has been known without a long break."""
    tally: Tally = field(default_factory=Tally)
