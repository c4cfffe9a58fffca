"""What can be said of a panel's horn: one row for every combination of what is known.

In: the alarm circuit, where in an alarm we are, output driven (V), sound heard (S), wire parked
(K). Out: the row, the standing that follows from it (None: it stays as it was), its sentence.
Knows nothing of time, people or contacts.

A voltage at the panel's terminals says that the panel drives the horn, never that it sounds; a
parked wire is evidence of 'off', its absence of nothing; a sound proves the horn only in a trial:
at a fresh alarm, at a press of Test, or when the output is driven anew. Common practice, no
source.
"""

from dataclasses import dataclass
from enum import StrEnum
from itertools import product

from relayd.core.state import HornStanding


class Circuit(StrEnum):
    """The alarm circuit as far as it is known; `not wired` also where its input tells nothing."""

    ON = "on"
    LOST = "lost"
    NOT_WIRED = "not wired"


class Moment(StrEnum):
    """Where in an alarm we are."""

    FRESH = "fresh alarm"
    GOING_ON = "alarm going on"
    SILENCE_OVER = "alarm going on, silence time over"
    NONE = "no alarm"


class Sense(StrEnum):
    """What an input tells, if it is wired."""

    YES = "yes"
    NO = "no"
    NOT_WIRED = "not wired"


@dataclass(frozen=True, slots=True)
class Row:
    """Which combinations a row takes (each set non-empty), and the standing that follows."""

    name: str
    circuit: frozenset[Circuit]
    moment: frozenset[Moment]
    driven: frozenset[Sense]
    heard: frozenset[Sense]
    parked: frozenset[Sense]
    standing: HornStanding | None

    def takes(self, key: tuple[Circuit, Moment, Sense, Sense, Sense]) -> bool:
        """Whether this row is that combination's."""
        sets = (self.circuit, self.moment, self.driven, self.heard, self.parked)
        return all(value in allowed for value, allowed in zip(key, sets, strict=True))


_PROVED, _OFF = HornStanding.PROVED, HornStanding.DISCONNECTED
_SILENT, _UNKNOWN = HornStanding.SILENT, HornStanding.NOT_KNOWN
_ON, _LOST, _NW = (frozenset({each}) for each in Circuit)
_MAYBE = _ON | _NW
_FRESH, _GOING, _OVER, _NONE = (frozenset({each}) for each in Moment)
_LASTS = _GOING | _OVER
_Y, _N, _W = (frozenset({each}) for each in Sense)
_QUIET = _N | _W
_ANY, _EVER = _Y | _N | _W, _FRESH | _LASTS | _NONE

ROWS: tuple[Row, ...] = (
    Row("H1", _MAYBE, _FRESH, _Y, _Y, _QUIET, _PROVED),
    Row("H2", _MAYBE, _FRESH | _LASTS, _ANY, _QUIET, _Y, _OFF),
    Row("H3", _MAYBE, _FRESH, _Y, _N, _QUIET, _SILENT),
    Row("H4", _ON, _FRESH, _N, _QUIET, _QUIET, _SILENT),
    Row("H5", _ON, _GOING, _N, _QUIET, _QUIET, None),
    Row("H6", _ON, _OVER, _N, _QUIET, _QUIET, None),
    Row("H7", _MAYBE, _LASTS, _Y, _N, _QUIET, _SILENT),
    Row("H8", _LOST, _EVER, _QUIET, _ANY, _ANY, None),
    Row("H9", _MAYBE, _NONE, _ANY, _QUIET, _Y, _OFF),
    Row("H10", _MAYBE, _NONE, _QUIET, _ANY, _QUIET, None),
    Row("H11", _NW, _FRESH, _N, _QUIET, _QUIET, _UNKNOWN),
    Row("H12", _MAYBE, _EVER, _Y, _W, _QUIET, None),
    Row("H13", _MAYBE, _FRESH, _W, _Y, _QUIET, _PROVED),
    Row("H14", _ON, _FRESH, _W, _N, _QUIET, _SILENT),
    Row("H15", _MAYBE, _FRESH | _LASTS, _N, _Y, _QUIET, _UNKNOWN),
    Row("H16", _MAYBE, _FRESH | _LASTS, _W, _W, _QUIET, None),
    Row("H17", _MAYBE, _EVER, _ANY, _Y, _Y, _UNKNOWN),
    Row("H18", _MAYBE, _LASTS | _NONE, _Y, _Y, _QUIET, _PROVED),
    Row("H19", _MAYBE, _LASTS, _W, _N, _QUIET, _UNKNOWN),
    Row("H20", _MAYBE, _LASTS, _W, _Y, _QUIET, None),
    Row("H21", _NW, _FRESH, _W, _N, _QUIET, _UNKNOWN),
    Row("H22", _MAYBE, _NONE, _Y, _N, _QUIET, _SILENT),
    Row("H23", _NW, _LASTS, _N, _QUIET, _QUIET, None),
    Row("H24", _LOST, _EVER, _Y, _ANY, _ANY, None),
)
"""H1 to H11 in the order of the trade's table, then what it leaves open."""

SAYS: dict[str, str] = {
    "H1": "the horn sounded at a fresh alarm",
    "H2": "the horn's wire is parked: the horn is disconnected",
    "H3": "the panel drove the horn and nothing was heard: its wire is off or the horn is dead;"
    " somebody must go and look",
    "H4": "the panel did not drive the horn: its output is dead, the silence switch was left on,"
    " or this panel does not sound for this alarm",
    "H5": "the horn was silenced",
    "H6": "the silence time is over and the horn was not driven again: the switch was left in"
    " Silence, or the silence time in the plan is wrong",
    "H7": "the panel drives the horn again and nothing is heard: its wire was taken off while it"
    " was silenced, or the horn is dead",
    "H8": "the alarm circuit is off: the horn cannot sound, and nothing is said of its wire",
    "H9": "the horn's wire is parked: the horn is disconnected",
    "H10": "between alarms nothing shows whether the horn would sound",
    "H11": "the horn was not driven: unpowered or silent, this unit cannot tell",
    "H12": "the panel drives the horn; whether it sounds is not known",
    "H13": "the horn was heard at a fresh alarm",
    "H14": "nothing was heard at a fresh alarm: the horn's wire is off, the horn is dead, or the"
    " panel did not drive it; somebody must go and look",
    "H15": "something is heard though the panel does not drive the horn: another sound, or the"
    " sensing of the output is doubtful",
    "H16": "no input tells of this horn: only what people declare is known",
    "H17": "something is heard though the horn's wire is parked: another sound, or the contact of"
    " the parked wire is doubtful",
    "H18": "the panel drove the horn again and it was heard",
    "H19": "the horn fell silent: silenced OR its wire pulled, this unit cannot tell",
    "H20": "something is still heard",
    "H21": "nothing was heard: unpowered or silent, this unit cannot tell",
    "H22": "the panel drove the horn without an alarm and nothing was heard: its wire is off or"
    " the horn is dead; somebody must go and look",
    "H23": "the horn is no longer driven: silenced, or the alarm circuit is off, this unit cannot"
    " tell",
    "H24": "the horn is driven though the alarm circuit reads lost: the sensing of the circuit is"
    " doubtful (the fuse of its tap)",
}
"""Row -> what is said of it. Without S never 'sounds'; without V never 'pulled' for certain."""

TABLE: dict[tuple[Circuit, Moment, Sense, Sense, Sense], Row] = {
    key: each
    for key in product(Circuit, Moment, Sense, Sense, Sense)
    for each in ROWS
    if each.takes(key)
}
"""Circuit, moment, driven, heard, parked -> row. A test asserts that exactly one row takes each."""
HELD: dict[HornStanding, frozenset[HornStanding]] = {
    _PROVED: frozenset({_PROVED, _OFF, _SILENT, _UNKNOWN}),
    _UNKNOWN: frozenset({_PROVED, _OFF, _SILENT, _UNKNOWN}),
    _SILENT: frozenset({_PROVED, _OFF}),
    _OFF: frozenset({_PROVED}),
}
"""Standing -> the standings to which a verdict may change it: what is off or silent stays so until
it is proved, declared or taken back."""
