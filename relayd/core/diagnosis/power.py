"""The power table: what the supplies of a site and of one panel say together.

In: the unit's own supply, the panel's alarm circuit and its pumps' power, each as far as it is
known, and whether a generator carries the site. Out: one row with the signals of four conditions.
Knows nothing of inputs, time, alarms or people. Rows P1 to P21 are the trade's; P22 and P23 are
combinations that it leaves out. A row changes the text of an open alarm and never raises a second
one for the same cause: what another alarm tells is `keep`, so it neither comes nor goes.

A supply that is bad (its input is lost) is not known, never on (P19). A unit whose own supply is
not known concludes as if it were on, but 'the panel's feed' may then be an outage (P21). On a
generator (P18) nothing is folded: whoever is without power is not carried by it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from relayd.core.state import Signal


class Supply(StrEnum):
    """A supply as far as it is known."""

    ON = "on"
    LOST = "lost"
    ONE_LOST = "one of several lost"
    NOT_KNOWN = "not known"
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Power:
    """A row of the power table: its name, the signals for four conditions, and what is added to them.

    `pump_power` is for the pumps whose power is lost, `pump_row` what is said of them.
    """

    row: str
    alarm_power: Signal
    pump_power: Signal
    site_outage: Signal
    unit_power: Signal
    pump_row: str = ""
    notes: tuple[str, ...] = ()


ON, LOST, ONE, NOT, BAD = Supply
UNIT_SUPPLIES = (ON, LOST, NOT, BAD)
"""What the unit's own supply, and an alarm circuit, may be."""
PUMP_SUPPLIES = (ON, LOST, ONE, NOT, BAD)
_Y, _N, _K = Signal.PRESENT, Signal.ABSENT, Signal.KEEP

_PANEL: dict[tuple[Supply, Supply], tuple[str, Signal, Signal]] = {
    (ON, ON): ("P1", _N, _N),
    (ON, LOST): ("P2", _N, _Y),
    (ON, ONE): ("P3", _N, _Y),
    (ON, NOT): ("P9", _N, _K),
    (LOST, ON): ("P4", _Y, _N),
    (LOST, LOST): ("P5", _Y, _K),
    (LOST, ONE): ("P22", _Y, _Y),
    (LOST, NOT): ("P6", _Y, _K),
    (NOT, ON): ("P7", _K, _N),
    (NOT, LOST): ("P8", _K, _Y),
    (NOT, ONE): ("P23", _K, _Y),
    (NOT, NOT): ("P10", _K, _K),
}
"""Alarm circuit, pump power -> row, alarm-power, pump-power; the unit's own supply being on."""

_UNIT_LOST: dict[tuple[Supply, Supply], Power] = {
    (ON, ON): Power("P13", _N, _N, _N, _Y),
    (ON, LOST): Power("P14", _N, _Y, _N, _Y),
    (ON, ONE): Power("P14", _N, _Y, _N, _Y),
    (ON, NOT): Power("P13", _N, _K, _N, _Y),
    (LOST, ON): Power("P12", _Y, _N, _N, _Y),
    (LOST, LOST): Power("P11", _K, _K, _Y, _K),
    (LOST, ONE): Power("P12", _Y, _Y, _N, _Y, "P22"),
    (LOST, NOT): Power("P11", _K, _K, _Y, _K),
    (NOT, ON): Power("P16", _K, _N, _N, _Y),
    (NOT, LOST): Power("P15", _K, _K, _Y, _K),
    (NOT, ONE): Power("P16", _K, _Y, _N, _Y, "P23"),
    (NOT, NOT): Power("P17", _K, _K, _K, _Y),
}
"""Alarm circuit, pump power -> row; the unit's own supply being lost."""

_NOT_CARRIED = frozenset({"P2", "P3", "P4", "P5", "P6", "P8", "P21", "P22", "P23"})


def _row(unit: Supply, alarm: Supply, pump: Supply, generator: bool) -> Power:
    unit, alarm, pump = (NOT if each is BAD else each for each in (unit, alarm, pump))
    if unit is LOST and not generator:
        return _UNIT_LOST[alarm, pump]
    row, alarm_power, pump_power = _PANEL[alarm, pump]
    own = _K if unit is NOT else _N
    found = Power(row, alarm_power, pump_power, own, own)
    if not generator:
        return replace(found, row="P21") if (unit, row) == (NOT, "P5") else found
    notes = ("G1",) if row in _NOT_CARRIED else ()
    return replace(found, site_outage=_Y, unit_power=_Y if unit is LOST else own, notes=notes)


TABLE: Mapping[tuple[Supply, Supply, Supply, bool], Power] = {
    (unit, alarm, pump, generator): _row(unit, alarm, pump, generator)
    for unit in UNIT_SUPPLIES
    for alarm in UNIT_SUPPLIES
    for pump in PUMP_SUPPLIES
    for generator in (False, True)
}
"""Unit's own supply, alarm circuit, pump power, on a generator -> row. Total."""

_DEAD = "Lamp, horn and alarm contact at the panel are dead."
_WILL_RISE = "The pump will not start by itself; the level will rise."

SAYS: dict[str, str] = {
    "P1": "The panel's power is good.",
    "P2": f"{_WILL_RISE} The alarm circuit is on.",
    "P3": "Pump {pump} has lost its power and will not start; another pump of this panel still has power.",
    "P4": f"{_DEAD} The pump's own supply still reads on.",
    "P5": f"The panel's feed is off: alarm circuit and pump power are both lost. {_DEAD}"
    " The pump will not start; the level will rise.",
    "P6": f"{_DEAD} Whether the pump has power is not known; without it the level will rise.",
    "P7": "Pump power is good. Whether the panel's own alarm lives is not known.",
    "P8": f"{_WILL_RISE} Whether the panel's own alarm still works is not known.",
    "P9": "The alarm circuit is good. Whether the pump has power is not known.",
    "P10": "Nothing is known of the panel's power.",
    "P11": "The site has no power: unit and panel are both without. Pumps do not run, and the panel's"
    " lamp, horn and contact are dead; water that still comes in stays.",
    "P12": "This is no outage: the pump still has power, but unit and alarm circuit have none. Their"
    f" circuit is off, or one leg of the service is lost. {_DEAD}",
    "P13": "The unit has lost its own supply and lives on its battery; the panel has power. Look at"
    " the unit's outlet, plug and breaker.",
    "P14": "The unit's supply and pump power are both lost, but the alarm circuit is on: one leg of"
    f" the service is lost, or two breakers are off. {_WILL_RISE}",
    "P15": "The unit and the pump are both without power: probably the site has none. Whether the"
    " panel's own alarm still works is not known.",
    "P16": "The unit has lost its own supply and lives on its battery; the pump has power. Look at"
    " the unit's outlet, plug and breaker.",
    "P17": "The unit has lost its supply and lives on its battery: the site has no power OR only the"
    " unit's outlet is off. Are the lights on?",
    "P18": "The site is on its generator: the utility's power is out. What the generator does not"
    " carry stays off.",
    "P20": "A supply was lost three times within ten minutes. Single short losses are not told while"
    " this lasts; one that stays lost is.",
    "P21": "The panel's feed is off OR the site has no power: alarm circuit and pump power are both"
    f" lost. {_DEAD} The pump will not start; the level will rise.",
    "P22": f"{_DEAD} One pump is without power as well, another still has it.",
    "P23": "Pump {pump} has lost its power; another pump still has it. Whether the panel's own alarm"
    " still works is not known.",
    "P24": f"The control circuit is dead although what feeds it is not known to be lost. {_WILL_RISE}",
    "P25": "It reaches panels too, as named: probably the site's supply fails, not one panel's.",
    "C1": "The control circuit is dead with it: the pump will not start either, and the level will rise.",
    "G1": "It is not carried by the generator.",
    "G2": "The unit itself is not carried by the generator and lives on its battery.",
    "B1": "Unit and panel hang on one breaker: it may be that breaker alone.",
}
"""What each row, and each note to one, may say on its evidence. P19 is the input's own alarm."""
