"""What may be done with a pump's switch, by kind of system, by where it is and by who reads.

In: the matter of one message. Out: numbered steps' texts. Hand bypasses the stop float, and most
soil cannot take what Hand sends: so who may turn what, how long, and what then, is a table here.
Common practice, no source, except: after an outage to a soil field let the pump run 5 min at most,
then wait 6 h (read: county health departments' advice to owners); 15 min of waiting at a grinder
pump (read: towns' advice). Where local codes or the installer say otherwise, they win.

Knows nothing of services. What ends in Off says to use no water, what Off means, and the reserve.
"""

from dataclasses import dataclass

from relayd.core import conditions as c
from relayd.core.plan import Kind, Panel, Person, Reach
from relayd.core.saying.language import ENGLISH, Speech, marked


@dataclass(frozen=True, slots=True)
class Matter:
    """What one message is about and who reads it; `standing` are the conditions open there now."""

    panel: Panel
    reader: Person
    condition: str
    row: str = ""
    standing: frozenset[str] = frozenset()
    reserve: str = ""
    wire_off: bool = False
    """The horn's wire is known to be off already."""
    runs: bool = False
    """A pump of the panel is known to run."""
    say: Speech = ENGLISH


MAY_HAND = frozenset({Kind.SEWAGE_EJECTOR, Kind.LIFT_STATION, Kind.EFFLUENT_DEMAND, Kind.SUMP})
"""The kinds of system whose pump may be run by hand at all."""
PROVED_HIGH = frozenset({"", "L1", "L10", "L11"})
"""Rows of the level table on which the water is known to be high: Hand runs a pump dry elsewhere."""
_NEVER_FOR_PUMP = frozenset(
    {c.OVERLOAD, c.OVER_TEMPERATURE, c.PUMP_FAULT, c.NO_CURRENT, c.SEAL_LEAK, c.PUMP_POWER}
    | {c.CONTRADICTION, c.UNCALLED, c.IN_OFF, c.IN_HAND, c.NOT_IN_AUTO}
)
_NEVER_FOR_PANEL = frozenset(
    {c.LOW_LEVEL, c.REDUNDANT_OFF, c.PHASE_FAULT, c.CONTROL_POWER, c.UNSTABLE_SUPPLY}
    | {c.NOT_FALLING, c.COMMON_ALARM, c.TANK_LID, c.SITE_OUTAGE}
)

NEVER = marked(
    "Never in Hand: at low level or while the low cut-off has locked the pump out, after"
    " over-temperature, after an overload was just reset, with a line that may be frozen, in a"
    " flooded room."
)
NO_HAND = marked("Do not turn the switch to Hand.")
DEAD_FRONT = marked(
    "The switch is behind the outer door: touch nothing but the switch, and leave the inner door"
    " (dead front) shut."
)
HAND: dict[Kind, str] = {
    Kind.SEWAGE_EJECTOR: marked(
        "Turn the switch of {which} to Hand and stay there: until the lamp is out and 1 min more,"
        " 5 min at most; then back to Auto."
    ),
    Kind.LIFT_STATION: marked(
        "Turn the switch of {which} to Hand and stay there: until the lamp is out and 1 min more,"
        " 5 min at most; then back to Auto."
    ),
    Kind.EFFLUENT_DEMAND: marked(
        "Only if it is about to overflow: turn the switch of {which} to Hand and stay there, 5 min"
        " at most, then back to Auto, and none for 6 h: the soil cannot take more. If the lamp goes"
        " out: call in working hours."
    ),
    Kind.SUMP: marked(
        "Turn the switch of {which} to Hand for 1 min and stay there; then back to Auto, whether"
        " the water falls or not."
    ),
}
NOT_BY_HAND: dict[Kind, str] = {
    Kind.EFFLUENT_TIMED: marked(
        "Do not turn the switch to Hand: leave it in Auto. The timer catches up in a day or two."
        " Call if the lamp is still lit after that, or at once if drains are slow."
    ),
    Kind.TREATMENT: marked(
        "Do not turn the switch to Hand. Read which lamp is lit and call the service provider."
    ),
    Kind.GRINDER: marked(
        "Touch nothing: no Hand. Wait 15 min, then call whoever owns the pump, often the sewer"
        " district."
    ),
}
FAILS = marked(
    "From outside, lid shut: if within 2 min you do not hear it run and its run lamp or ammeter (if"
    " fitted) shows nothing, if it hums or trips, or if the ground along the line is wet: turn the"
    " switch of {which} to Off, use no water and call. If it ran and the alarm lamp is still lit:"
    " leave it in Auto and call. {off}"
)
SUMP_FAILS = marked(
    "From outside, lid shut: if within that 1 min you do not hear it run, if it hums or trips, or if"
    " no water comes out of the discharge, it may be frozen or blocked: turn the switch of {which}"
    " to Off, use no water and call. If it ran and the alarm lamp is still lit: leave it in Auto and"
    " call. {off}"
)
OFF = marked("In Off the pump never starts by itself again. {reserve}")
RUNS = marked(
    "The pump runs already, as its contact tells: leave the switch as it is, whatever an earlier"
    " message said."
)
WET = marked("Look from outside whether the ground along the line is wet, and say so.")
WET_OFF = marked("If it is wet: turn the switch of {which} to Off and use no water. {off}")
CALL = marked("Call the service firm.")
CALL_WORKER = marked("Call somebody who may work on it.")
CALL_AFTER: dict[Kind, str] = {
    **dict.fromkeys(
        (Kind.SEWAGE_EJECTOR, Kind.LIFT_STATION),
        marked(
            "Call the service firm if the alarm lamp is still lit after 10 min, or at once if drains"
            " are slow."
        ),
    ),
    Kind.EFFLUENT_DEMAND: marked(
        "Call the service firm if the alarm lamp is still lit after 1 h, or at once if drains are"
        " slow."
    ),
    Kind.SUMP: marked(
        "Call the service firm if the alarm lamp is still lit after 5 min, or at once if water comes"
        " up."
    ),
}
"""How long a running pump is given before somebody is called: common practice, no source."""
ASK_WHO = marked("Ask whoever was there; while somebody works on it, it stays as it is.")
BACK = marked("If nobody does: turn the switch of {which} back to Auto.")
SHUT = marked("Leave the panel shut and call.")
SWITCHED = (c.IN_OFF, c.IN_HAND, c.NOT_IN_AUTO)
"""Conditions of a switch that does not stand in Auto."""


def reaches(reach: Reach, reader: Person) -> bool:
    """Whether that reader may be sent to a switch there."""
    return reach in (Reach.OUTSIDE, Reach.DEAD_FRONT) or (
        reach is Reach.LIVE_PARTS and reader.qualified
    )


def at_switch(matter: Matter, step: str, otherwise: str = "") -> list[str]:
    """`step` for whoever may reach the pump's switch, with a word on where it is; else `otherwise`."""
    if not reaches(matter.panel.hoa, matter.reader):
        return [otherwise] if otherwise else []
    inside = matter.panel.hoa is Reach.DEAD_FRONT
    return [f"{step} {matter.say(DEAD_FRONT)}" if inside else step]


def off_means(matter: Matter) -> str:
    """What follows from Off: the pump never starts by itself, and how long there is."""
    return matter.say(OFF, reserve=matter.reserve).strip()


def which(matter: Matter, pump: int) -> str:
    """The pump whose switch is meant, by its number where there is more than one."""
    return matter.say("pump {pump}", pump=pump) if pump else matter.say("the pump")


def able(matter: Matter) -> int | None:
    """The one pump that may be run by hand (0: the only one); None where none may."""
    panel, open_now = matter.panel, matter.standing | {matter.condition}
    if any(c.base_of(each) in _NEVER_FOR_PANEL for each in open_now):
        return None
    out = {each for each in open_now if c.base_of(each) in _NEVER_FOR_PUMP}
    if panel.pumps == 1:
        return None if out else 0
    if any(not c.pump_of(each) for each in out):
        return None
    bad = {c.pump_of(each) for each in out}
    return next((each for each in range(1, panel.pumps + 1) if each not in bad), None)


def steps(matter: Matter) -> list[str]:
    """What to do with the switch while the water stands at the alarm float."""
    say, kind = matter.say, matter.panel.kind
    if switch := _left(matter):
        return to_auto(matter, switch)
    if kind not in MAY_HAND:
        return [say(NOT_BY_HAND[kind])]
    if matter.runs:
        return _running(matter)
    pump = able(matter)
    if pump is None or matter.row not in PROVED_HIGH:
        return [say(NO_HAND), say(CALL_WORKER)]
    if not reaches(matter.panel.hoa, matter.reader):
        return [_out_of_reach(matter)]
    return _by_hand(matter, pump)


def advised(matter: Matter) -> bool:
    """Whether this reader is told to turn a switch to Hand."""
    by_hand = matter.panel.kind in MAY_HAND and able(matter) is not None and not matter.runs
    near = reaches(matter.panel.hoa, matter.reader)
    return by_hand and near and matter.row in PROVED_HIGH and not _left(matter)


def to_auto(matter: Matter, condition: str) -> list[str]:
    """The steps of a switch that was left in Off or in Hand."""
    say, name = matter.say, which(matter, c.pump_of(condition))
    back = at_switch(matter, say(BACK, which=name), say(SHUT))
    return [say(ASK_WHO), *back]


def _left(matter: Matter) -> str:
    """The switch that stands in Off or in Hand while nothing else forbids its pump; '' where none."""
    if matter.panel.kind is Kind.GRINDER:
        return ""
    never = (_NEVER_FOR_PANEL | _NEVER_FOR_PUMP).difference(SWITCHED)
    if any(c.base_of(each) in never for each in matter.standing):
        return ""
    found = (each for each in sorted(matter.standing) if c.base_of(each) in SWITCHED)
    return next(found, "")


def _running(matter: Matter) -> list[str]:
    """A pump runs, and Hand would do no more: what else holds the water."""
    say = matter.say
    late = any(c.base_of(each) == c.NOT_FALLING for each in matter.standing)
    call = CALL if late else CALL_AFTER[matter.panel.kind]
    return [say(RUNS), *wet(matter), say(call)]


def wet(matter: Matter, pump: int = 0) -> list[str]:
    """Look along the line; where it is wet the pump is switched off by whoever may reach it."""
    say = matter.say
    off = say(WET_OFF, which=which(matter, pump), off=off_means(matter))
    return [" ".join((say(WET), *at_switch(matter, off)))]


def _by_hand(matter: Matter, pump: int) -> list[str]:
    say, kind = matter.say, matter.panel.kind
    name = which(matter, pump)
    told = say(HAND[kind], which=name)
    if pump:
        told += " " + say("Leave the other pump's switch as it is.")
    fails = SUMP_FAILS if kind is Kind.SUMP else FAILS
    return [*at_switch(matter, told), say(fails, which=name, off=off_means(matter))]


def _out_of_reach(matter: Matter) -> str:
    if matter.panel.hoa is Reach.NOT_FITTED:
        return matter.say("This panel has no switch to turn: call.")
    if matter.panel.hoa is Reach.UNKNOWN:
        return matter.say(
            "Leave the panel shut and call: where its switch is, is not known to this unit."
        )
    return matter.say("Leave the panel shut and call: its switch is among live parts.")
