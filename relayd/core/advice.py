"""What to do first, by kind of system, and the cautions that stand before it.

In: a panel, a condition, the reader. Out: lines of text. Common practice, no source, except: after
an outage to a soil field let the pump run 5 min at most, then wait 6 h (read: county health
departments' advice to owners). Where local codes or the installer say otherwise, they win.

Nothing here opens an enclosure, a lid or a panel for a reader who is not marked as qualified,
and every advice that ends in Off says what follows from it.
"""

from relayd.core.conditions import ALARM_POWER, HIGH_LEVEL, INPUT_LOST, PUMP_POWER
from relayd.core.plan import Kind, Panel, Person, Reach

CAUTIONS = (
    "Water on the floor near outlets or the panel: do not step in; have the power cut from outside.",
    "Do not open or stand on the tank's lid; keep children away: the gas kills, also those who go in to help.",
    "Sewage on the floor: nobody barefoot.",
    "The pump can start by itself at any time: keep hands and tools out.",
    "A breaker that tripped is reset once; if it trips again, leave it off and say so.",
)
OPENING = (
    "Only if you are qualified: before anything is opened, switch off ALL breakers that feed this panel,"
    " the unit's own wiring included, and measure that it is dead."
)
NEVER_HAND = (
    "Never in Hand: after an overload was just reset, a line that may be frozen, a flooded room."
)

_HAND_STAY = (
    "Stay there, watch, minutes not hours, then back to Auto. If the level does not fall within 2 min,"
    " or it hums or trips: Off, use no water, call; in Off the pump never starts by itself again."
)
HAND: dict[Kind, str] = {
    Kind.SEWAGE_EJECTOR: f"The switch may be turned to Hand, 5 min at most. {_HAND_STAY}",
    Kind.LIFT_STATION: f"The switch of ONE pump may be turned to Hand, 5 min at most. {_HAND_STAY}",
    Kind.EFFLUENT_DEMAND: "Hand only if it is about to overflow: 5 min at most, then none for 6 h; the soil"
    f" cannot take more. {_HAND_STAY}",
    Kind.EFFLUENT_TIMED: "Leave the switch in Auto: the timer catches up in a day or two. Call if the lamp is"
    " still lit after that, or at once if drains are slow.",
    Kind.TREATMENT: "Do not turn to Hand. Read which lamp is lit and call the service provider.",
    Kind.GRINDER: "Touch nothing. Wait 15 min, then call whoever owns the pump, often the sewer district.",
    Kind.SUMP: "The switch may be turned to Hand for 1 min. If the water does not fall: the discharge may be"
    " frozen or blocked; Off, and call.",
}
_MAY_HAND = frozenset({Kind.SEWAGE_EJECTOR, Kind.LIFT_STATION, Kind.EFFLUENT_DEMAND, Kind.SUMP})
_IN_REACH = frozenset({Reach.OUTSIDE, Reach.DEAD_FRONT})


def lines(panel: Panel, condition: str, reader: Person) -> list[str]:
    """Cautions, then the numbered first steps for this reader."""
    steps = _STEPS[condition](panel, reader)
    numbered = [f"{number}. {step}" for number, step in enumerate(steps, 1)]
    cautions = CAUTIONS if condition != INPUT_LOST else ()
    extra = (OPENING,) if reader.qualified and condition != INPUT_LOST else ()
    return [*(f"! {each}" for each in (*cautions, *extra)), *numbered]


def shortest(panel: Panel | None, condition: str) -> str:
    """The first step in a few words."""
    if panel is None or condition == INPUT_LOST:
        return ""
    return " Use no water." if condition in (HIGH_LEVEL, ALARM_POWER, PUMP_POWER) else ""


def _high_level(panel: Panel, reader: Person) -> list[str]:
    steps = ["Use no water.", "Look at the panel's lamps from outside and say what is lit."]
    if panel.kind not in _MAY_HAND:
        return [*steps, HAND[panel.kind]]
    if panel.hoa in _IN_REACH or (panel.hoa is Reach.LIVE_PARTS and reader.qualified):
        return [*steps, f"{HAND[panel.kind]} {NEVER_HAND}"]
    return [
        *steps,
        "Open nothing: call somebody qualified (where this panel's switch is, is not known or not safe).",
    ]


def _alarm_power(panel: Panel, reader: Person) -> list[str]:
    return [
        "The panel's own horn and lamp are dead until this is mended: look in on it.",
        "Use as little water as you can: if the pump hangs on the same circuit, the level rises.",
        "Look whether other lights of the house are out. If only this circuit is: the alarm's breaker may"
        " have tripped, or somebody switched it off.",
    ]


def _pump_power(panel: Panel, reader: Person) -> list[str]:
    return [
        "Use no water: the pump will not start, and the level rises.",
        "Look whether other lights of the house are out. If only this circuit is: the pump's breaker may have tripped.",
        "Never feed a panel by a cord.",
    ]


def _input_lost(panel: Panel, reader: Person) -> list[str]:
    return [
        "Look at the panel's lamps until this is mended.",
        "Have the unit and its wires looked at.",
    ]


_STEPS = {
    HIGH_LEVEL: _high_level,
    ALARM_POWER: _alarm_power,
    PUMP_POWER: _pump_power,
    INPUT_LOST: _input_lost,
}
