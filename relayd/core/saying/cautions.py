"""The cautions that stand before the first step, and how a breaker is named.

In: the matter of one message. Out: lines of text. Common practice, no source. No text says
'breaker off' alone: it names which, or all that feed the panel, since a panel fed by two circuits
is live with one of them off, and the unit's own wires are a third source.
"""

from relayd.core import conditions as c
from relayd.core.plan import Priority
from relayd.core.saying.hand import Matter
from relayd.core.saying.language import Speech, marked

FLOOR = marked(
    "Water on the floor near outlets or the panel: do not step in; have the power cut from outside."
)
LID = marked(
    "Do not open or stand on the tank's lid; keep children away: the gas kills, also those who go"
    " in to help."
)
BAREFOOT = marked("Sewage on the floor: nobody barefoot.")
STARTS = marked(
    "The pump can start at any time, by itself or by somebody's hand: keep hands and tools out."
)
ONCE = marked("A breaker that tripped is reset once; if it trips again, leave it off and say so.")
DROWNING = marked(
    "An open lid is a drowning hazard, and the gas kills, also those who go in to help: keep"
    " everybody away, children first."
)
LIVE = marked(
    "Inside the panel are live parts, with its pump standing still too: keep hands and tools out,"
    " and children away."
)
OPENING = marked(
    "Only if you are qualified: before anything is opened, switch off ALL breakers that feed this"
    " panel{labels}, the source of the unit's own wires included, lock them, and measure that it is"
    " dead."
)
LOOSE_WIRE = marked(
    "The horn's wire hangs loose inside the panel: it may be bare, and it is live in an alarm. Leave"
    " the panel shut."
)
MAYBE_LOOSE = marked(
    "The horn's wire may have been taken off and hang loose inside the panel: it may be live. Leave"
    " the panel shut."
)
BLOWER = marked("The blower can start by itself at any time: keep hands and tools out.")

_WATER = (FLOOR, BAREFOOT, LID, STARTS, ONCE)
_PUMP = (LID, STARTS, ONCE)
_BESIDE = {BAREFOOT: FLOOR, ONCE: STARTS}
"""Cautions that share a line with another: what to do must not be far down a telephone's screen."""
_PANEL = (LIVE, STARTS)
CAUTIONS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(
        (c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM, c.KEEPS_REACHING, c.NOT_FALLING), _WATER
    ),
    **dict.fromkeys(
        (c.ALARM_POWER, c.CONTROL_POWER, c.PUMP_POWER, c.UNSTABLE_SUPPLY, c.ALARM_LEFT_OFF), _WATER
    ),
    **dict.fromkeys(
        (c.NO_CURRENT, c.REDUNDANT_OFF, c.OVERLOAD, c.PHASE_FAULT, c.PUMP_FAULT, c.NO_CYCLE), _WATER
    ),
    c.PUMP_NOT_SEEN: _WATER,
    **dict.fromkeys((c.IN_OFF, c.NOT_IN_AUTO, c.UNSETTLED, c.BLIND, c.OTHER, c.RUN_LONG), _WATER),
    **dict.fromkeys((c.LOW_LEVEL, c.UNCALLED, c.STARTS, c.CONTRADICTION, c.LAG_CALLED), _PUMP),
    **dict.fromkeys((c.ALTERNATION, c.OVER_TEMPERATURE, c.SEAL_LEAK, c.IN_HAND), _PUMP),
    **dict.fromkeys((c.PANEL_DOOR, c.HORN_SILENT, c.SILENCE_LEFT_ON, c.WIRING_FAULT), _PANEL),
    c.TANK_LID: (DROWNING, STARTS),
    c.AIR_SUPPLY: (BLOWER, LID),
    c.INPUT_LOST: _PANEL,
    c.SITE_OUTAGE: _WATER,
    c.UNIT_POWER: (ONCE,),
    **dict.fromkeys((c.JOURNAL_LATE, c.SENDER_DOWN, c.MQTT_DOWN, c.PLAN_REFUSED, c.FAULT), ()),
    **dict.fromkeys((c.UNWATCHED, c.MAILBOX_DOWN, c.ANSWERS_LOCKED, c.JOURNAL_DAMAGED), ()),
    c.CHANNEL_FAILING: (),
    **dict.fromkeys((c.UNIT_SILENT, c.DEAD_MAN, c.COPIED, *c.SENSED), ()),
}
"""What can hurt somebody who looks into each condition; the table is total."""


def lines(matter: Matter, priority: Priority) -> list[str]:
    """The cautions of this message; none where it is only recorded."""
    if priority is Priority.RECORD_ONLY:
        return []
    found = CAUTIONS[c.base_of(matter.condition)]
    said = told(found, matter.say)
    said += of_wire(matter.wire_off, matter.wire_asked, matter.say)
    if found and matter.reader.qualified:
        said.append(matter.say(OPENING, labels=labels(matter)))
    return said


def of_wire(off: bool, asked: bool, say: Speech) -> list[str]:
    """The caution of a horn's wire that is off, or that may be: nobody has answered yet."""
    return [say(LOOSE_WIRE if off else MAYBE_LOOSE)] if off or asked else []


def told(found: tuple[str, ...], say: Speech) -> list[str]:
    """Those cautions in the reader's language, in as few lines as can be read."""
    lines: dict[str, str] = {}
    for each in found:
        beside = _BESIDE.get(each, "")
        if beside in lines:
            lines[beside] += f" {say(each)}"
        else:
            lines[each] = say(each)
    return list(lines.values())


def labels(matter: Matter) -> str:
    """The labels of all breakers that are known, in brackets; '' where none is."""
    known = ", ".join(f"'{each}'" for each in matter.panel.labels.values())
    return matter.say(" (labelled {labels}, and any other)", labels=known) if known else ""


def breaker(matter: Matter, circuit: str) -> str:
    """That circuit's breaker by its label, or what it feeds where the label is not known."""
    label = matter.panel.labels.get(circuit, "")
    if label:
        return matter.say("the breaker labelled '{label}'", label=label)
    return matter.say(_FEEDS[circuit.partition("-")[0]])


_FEEDS = {
    "alarm": marked("the breaker of the alarm circuit"),
    "control": marked("the breaker of the control circuit"),
    "pump": marked("the pump's breaker"),
}
