"""What to do first, by condition and kind of system, and by who reads: numbered steps.

In: the matter of one message. Out: lines of text. Common practice, no source, except where one is
named in hand.py. Where local codes or the installer say otherwise, they win.

Nothing here opens an enclosure, a lid or a panel for a reader who is not marked as qualified; no
step lifts a float; what ends in Off says what follows from it.
"""

from collections.abc import Callable

from relayd.core import conditions as c
from relayd.core.plan import Kind, Priority, Reach
from relayd.core.saying import cautions, first_steps, hand
from relayd.core.saying.hand import Matter
from relayd.core.saying.language import Speech, marked

_CALLS = (hand.CALL, hand.CALL_WORKER, first_steps.CALL_IN_HOURS)
_INSPECTED = frozenset({c.CONTRADICTION, c.HORN_SILENT, c.WIRING_FAULT, c.PANEL_DOOR, c.SEAL_LEAK})


def lines(matter: Matter, priority: Priority) -> list[str]:
    """Cautions, then the numbered first steps for this reader."""
    numbered = [f"{number}. {step}" for number, step in enumerate(steps(matter), 1)]
    return [*(f"! {each}" for each in cautions.lines(matter, priority)), *_never(matter), *numbered]


def _never(matter: Matter) -> list[str]:
    """When Hand is never turned to, before the step that says Hand."""
    tells = c.base_of(matter.condition) in (c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL)
    return [f"! {matter.say(hand.NEVER)}"] if tells and hand.advised(matter) else []


def steps(matter: Matter) -> list[str]:
    """The first steps, in their order."""
    base = c.base_of(matter.condition)
    make = _MADE.get(base)
    found = make(matter) if make else [matter.say(each) for each in first_steps.SAID[base]]
    if not matter.reader.qualified:
        return found
    # Who may work on it is not told to call somebody who may.
    found = [each for each in found if each not in {matter.say(call) for call in _CALLS}]
    return [*found, *([matter.say(first_steps.INSPECT)] if base in _INSPECTED else [])]


def of_unit(condition: str, say: Speech) -> list[str]:
    """The numbered steps of a condition of the unit, the site or a channel."""
    base = c.base_of(condition)
    found = cautions.told(cautions.CAUTIONS[base], say) if base in _AT_SITE else []
    numbered = [f"{number}. {say(step)}" for number, step in enumerate(first_steps.SAID[base], 1)]
    return [*(f"! {each}" for each in found), *numbered]


_AT_SITE = frozenset({c.SITE_OUTAGE, c.BLIND, c.UNSETTLED, c.INPUT_LOST, c.UNIT_POWER})


def shortest(condition: str, say: Speech) -> str:
    """The first step in a few words; '' where there is none that fits everybody."""
    base = c.base_of(condition)
    return say(first_steps.SHORTEST[base]) if base in first_steps.SHORTEST else ""


def _water(matter: Matter) -> str:
    """How much water may be used: none, or little where a timer or another pump does the work."""
    timed = matter.panel.kind is Kind.EFFLUENT_TIMED
    return matter.say(first_steps.LITTLE if timed else first_steps.NO_WATER)


def _high_level(matter: Matter) -> list[str]:
    say = matter.say
    if _deaf(matter):
        return [_water(matter), say(first_steps.DARK), *hand.steps(matter)]
    return [_water(matter), say(first_steps.LAMPS), *_supplies(matter), *_silenced(matter)]


def _deaf(matter: Matter) -> bool:
    """Whether lamp and horn are dead, so that neither tells anything."""
    return matter.row in _DEAF or c.ALARM_POWER in matter.standing


_DEAF = frozenset({"L4", "L5", "L7", "L8"})


def _supplies(matter: Matter) -> list[str]:
    """What to do with the switch; before it what may be looked at where the pump has no power."""
    lost = [each for each in sorted(matter.standing) if c.base_of(each) == c.PUMP_POWER]
    looked = [_lights(matter, "pump", c.pump_of(each)) for each in lost[:1]]
    return [*looked, *hand.steps(matter)]


def _high_high(matter: Matter) -> list[str]:
    say = matter.say
    return [
        say("Use no water, and see to it that nobody else does: it is about to overflow."),
        say("Keep people out of rooms whose drains back up."),
        *_supplies(matter),
        say("Call now, whatever the hour."),
        *_silenced(matter),
    ]


def _common(matter: Matter) -> list[str]:
    return [*(matter.say(each) for each in first_steps.SAID[c.COMMON_ALARM]), *_quiet(matter)]


def _silenced(matter: Matter) -> list[str]:
    """How the horn is quieted: by Silence alone while water stands, for its wire stops the pump."""
    # Where the wire is off nobody hears the horn, and there is nothing to silence.
    return [] if matter.wire_off else _silence(matter)


def _quiet(matter: Matter) -> list[str]:
    """The same, and its wire, which is for the qualified alone, and complete."""
    told = _silenced(matter)
    if not told or not matter.reader.qualified:
        return told
    say = matter.say
    first = say(first_steps.ALL_OFF, labels=cautions.labels(matter))
    wire = say(first_steps.HORN_WIRE, first=first, panel=matter.panel.id, person=matter.reader.id)
    return [*told, wire]


def _silence(matter: Matter) -> list[str]:
    if hand.reaches(matter.panel.silence, matter.reader):
        return [matter.say(first_steps.SILENCE)]
    if matter.panel.silence is Reach.UNKNOWN:
        return [matter.say(first_steps.SILENCE_OUTSIDE)]
    return [matter.say(first_steps.NO_SILENCE)]


def _supply(circuit: str) -> Callable[[Matter], list[str]]:
    """The steps of a lost control circuit or pump power."""

    def made(matter: Matter) -> list[str]:
        say, pump = matter.say, c.pump_of(matter.condition)
        first = (
            first_steps.OTHER_PUMP
            if pump and hand.able(matter) is not None
            else first_steps.NO_WATER
        )
        return [say(first), _lights(matter, circuit, pump), say(first_steps.CORD)]

    return made


def _lights(matter: Matter, circuit: str, pump: int) -> str:
    """Whether more is out than that circuit, with its breaker's name."""
    name = f"{circuit}-{pump}" if pump else circuit
    name = "pump-1" if name == "pump" and "pump-1" in matter.panel.labels else name
    return matter.say(first_steps.LIGHTS, breaker=cautions.breaker(matter, name))


LITTLE_IF_SHARED = marked(
    "Use as little water as you can: if the pump hangs on the same circuit, the level rises."
)


def _alarm_power(matter: Matter) -> list[str]:
    say = matter.say
    high = c.HIGH_LEVEL in matter.standing
    return [
        say(first_steps.NO_WATER if high else LITTLE_IF_SHARED),
        say("Look in on the panel until this is mended: it cannot call by itself."),
        say(first_steps.LIGHTS, breaker=cautions.breaker(matter, "alarm")),
        say(first_steps.CORD),
    ]


def _alarm_left_off(matter: Matter) -> list[str]:
    say, named = matter.say, cautions.breaker(matter, "alarm")
    told = [
        _water(matter),
        say("Ask whoever was at the panel: {breaker} must be on again.", breaker=named),
    ]
    if hand.reaches(matter.panel.alarm_breaker, matter.reader):
        return [
            *told,
            say(first_steps.ON_AGAIN),
        ]
    return [*told, say("Leave the panel shut and call somebody who may switch it on again.")]


def _out(*texts: str) -> Callable[[Matter], list[str]]:
    """The steps of a pump that is out: the other one where there is one, and no Hand."""

    def made(matter: Matter) -> list[str]:
        other = c.pump_of(matter.condition) and hand.able(matter) is not None
        first = matter.say(first_steps.OTHER_PUMP) if other else _water(matter)
        return [first, *(matter.say(each) for each in texts)]

    return made


def _not_falling(matter: Matter) -> list[str]:
    say = matter.say
    looked = hand.wet(matter, c.pump_of(matter.condition))
    return [_water(matter), *looked, say(hand.NO_HAND), say(first_steps.CALL)]


def _uncalled(matter: Matter) -> list[str]:
    say = matter.say
    name = hand.which(matter, c.pump_of(matter.condition))
    step = say(
        "If the switch of {which} stands in Hand: back to Auto. If it stands in Auto and the pump"
        " runs on: turn it to Off, use no water and call. {off}",
        which=name,
        off=hand.off_means(matter),
    )
    return hand.at_switch(matter, step, say("Leave the panel shut and call: the pump may run dry."))


def _switch(matter: Matter) -> list[str]:
    say, base = matter.say, c.base_of(matter.condition)
    first = say(first_steps.STANDS[base], off=hand.off_means(matter)).strip()
    return [first, *hand.to_auto(matter, matter.condition)]


def _horn_silent(matter: Matter) -> list[str]:
    say = matter.say
    return [
        say("The next alarm may not be heard at the panel: look in on its lamp each day."),
        say("Have the horn and its wire looked at by somebody qualified."),
    ]


def _silence_left_on(matter: Matter) -> list[str]:
    say, panel = matter.say, matter.panel
    if hand.reaches(panel.silence, matter.reader):
        return [
            say("If the silence switch stands in Silence: put it back to where the horn sounds.")
        ]
    return [say("Leave the panel shut and have its silence switch looked at.")]


_MADE: dict[str, Callable[[Matter], list[str]]] = {
    c.HIGH_LEVEL: _high_level,
    c.HIGH_HIGH_LEVEL: _high_high,
    c.COMMON_ALARM: _common,
    c.ALARM_POWER: _alarm_power,
    c.CONTROL_POWER: _supply("control"),
    c.PUMP_POWER: _supply("pump"),
    c.ALARM_LEFT_OFF: _alarm_left_off,
    c.NO_CURRENT: _out(first_steps.NO_HAND_OUT, first_steps.LAMPS, first_steps.CALL),
    c.OVERLOAD: _out(first_steps.OVERLOAD_ONCE, first_steps.NO_HAND_OUT, first_steps.CALL),
    c.OVER_TEMPERATURE: _out(first_steps.NO_HAND_OUT, first_steps.CYCLES),
    c.PHASE_FAULT: _out(first_steps.UTILITY, hand.NO_HAND, first_steps.CALL),
    c.PUMP_FAULT: _out(first_steps.LAMPS, first_steps.NO_HAND_OUT, first_steps.CALL),
    c.NOT_FALLING: _not_falling,
    c.UNCALLED: _uncalled,
    c.IN_HAND: _switch,
    c.IN_OFF: _switch,
    c.NOT_IN_AUTO: _switch,
    c.HORN_SILENT: _horn_silent,
    c.SILENCE_LEFT_ON: _silence_left_on,
}
