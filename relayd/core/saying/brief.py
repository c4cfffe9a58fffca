"""An alarm in a few words: its cause, the caution that fits, what remains; for titles and texts of 160.

In: an alarm, its notes and row, a language. Out: a few words, or ''. Common practice, no source.
A few words claim no more than the sentence of their row does.
"""

from collections.abc import Iterator

from relayd.core import conditions as c
from relayd.core.diagnosis import pump_rows
from relayd.core.findings import FOLDED
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Priority
from relayd.core.saying import cautions, sentences
from relayd.core.saying.language import Speech, marked
from relayd.core.saying.letter import Desk
from relayd.core.saying.said import NAMES
from relayd.core.state import Alarm, HornStanding

NOTES = {
    "R1-off": NAMES[c.IN_OFF],
    "R1-hand": NAMES[c.IN_HAND],
    "R1": NAMES[c.NOT_IN_AUTO],
    "R2": marked("no pump power"),
    "R3": NAMES[c.NO_CURRENT],
    "R4": marked("pump runs, not falling"),
    "R7": marked("all pumps run, not falling"),
    "R6": marked("a pump did not come"),
    "R5": marked("pump not called"),
    "R5-idle": NAMES[c.PUMP_NOT_SEEN],
    "R5-timed": marked("timer not due"),
    "G1": marked("not on the generator"),
    "U1": marked("contact chatters"),
    "P25": marked("panels too"),
    "L16": NAMES[c.PUMP_NOT_SEEN],
    "R8": marked("power was out, pump catches up"),
}
"""Notes in a few words, the most telling first."""
LEVEL = {
    "L3": marked("contact went back, no proof"),
    "L15": marked("contact went back, no proof"),
    "L4": marked("alarm circuit dead, level not known"),
    "L7": marked("alarm circuit dead, level not known"),
    "L8": marked("alarm circuit dead, level not known"),
    "L5": marked("alarm circuit dead, take it as high"),
    "L6": marked("alarm circuit reads dead, doubtful"),
    "L9": marked("or only alarm circuit lost"),
    "L12": marked("contact cannot be read"),
    "L18": marked("contact chattered, no proof"),
}
"""Doubtful rows of an alarm contact in a few words."""
POWER = {
    "P5": marked("panel's feed off"),
    "P21": marked("panel's feed off or outage"),
    "P11": marked("no power on site"),
    "P15": marked("no power on site"),
    "P17": marked("outage or only the unit's outlet"),
    "P18": marked("on the generator"),
}
"""Rows of the supplies in a few words."""
LEFT = {
    "horn-wire": marked("horn's wire off"),
    "horn-unknown": marked("horn's wire not known"),
    "horn-unproved": marked("horn not heard yet"),
    "silence-switch": NAMES[c.SILENCE_LEFT_ON],
    "in-hand": NOTES["R1-hand"],
    "in-off": NOTES["R1-off"],
    "not-in-auto": NOTES["R1"],
    "panel-door": NAMES[c.PANEL_DOOR],
    "tank-lid": NAMES[c.TANK_LID],
    "alarm-breaker": marked("alarm circuit off or not known"),
    "control-breaker": marked("control circuit off"),
    "pump-breaker": marked("no pump power"),
    "out-of-service": marked("panel out of service"),
}
"""Loose ends in a few words."""
_CAUTIONS = {
    cautions.DROWNING: "",
    cautions.FLOOR: marked("Keep off the lid."),
    cautions.LIVE: marked("Live parts inside."),
    cautions.BLOWER: marked("The blower may start by itself."),
    cautions.STARTS: marked("The pump may start by itself."),
}
"""A caution of the long form -> its few words; the first that a condition has is the one said."""


def lowered(name: str) -> str:
    """A name within a sentence; an abbreviation at its begin stays."""
    return name if name[1:2].isupper() else f"{name[:1].lower()}{name[1:]}"


def still_open(alarm: Alarm) -> bool:
    """Whether it is open as people see it: what another alarm tells ends with that one's words."""
    return alarm.process in ACTIVE and alarm.suppressed not in FOLDED


def cause(alarm: Alarm, say: Speech) -> str:
    """What explains it: its most telling note, else its row; '' where nothing does."""
    found = sorted(alarm.notes, key=_rank)
    return (note(found[0], say) if found else "") or row(alarm.condition, alarm.row, say)


def _rank(note_: str) -> int:
    order, about = list(NOTES), pump_rows.split(note_)[0]
    return order.index(about) if about in NOTES else len(order)


def note(name: str, say: Speech) -> str:
    """A note in a few words, with its pump's number; '' where it has none."""
    about, pump = pump_rows.split(name)
    if about not in NOTES:
        return ""
    words = lowered(say(NOTES[about]))
    return say("{name} (pump {pump})", name=words, pump=pump) if pump else words


def row(condition: str, name: str, say: Speech) -> str:
    """A row in a few words, as far as that condition's name does not say it; '' where it has none."""
    base = c.base_of(condition)
    if base == c.SITE_OUTAGE and name in ("P11", "P15"):
        return ""
    table = LEVEL if base in c.LEVEL_ALARMS else POWER
    return say(table[name]) if name in table else ""


def caution(alarm: Alarm, say: Speech) -> str:
    """The one caution that fits; '' where there is none, or it is only recorded."""
    if alarm.priority is Priority.RECORD_ONLY:
        return ""
    known = cautions.CAUTIONS[c.base_of(alarm.condition)]
    found = next((words for each, words in _CAUTIONS.items() if each in known), "")
    return say(found) if found else ""


def remains(desk: Desk, alarm: Alarm) -> tuple[str, ...]:
    """What is left at that place when an alarm is over, the fullest way to say it first."""
    names = list(dict.fromkeys(_remains(desk, alarm)))
    say = desk.say
    ways = [say("What remains: {names}.", names=", ".join(names))] if names else []
    for few in range(len(names) - 1, 0, -1):
        told, more = ", ".join(names[:few]), len(names) - few
        ways.append(say("What remains: {names}, and {count} more.", names=told, count=more))
    return (*ways, say("What remains: {count}.", count=len(names))) if names else ()


def _remains(desk: Desk, alarm: Alarm) -> Iterator[str]:
    say, owner = desk.say, desk.owner
    for each in owner.alarms.values():
        if each.condition != alarm.condition and still_open(each):
            yield sentences.name(each.condition, desk.panel, say)
    yield from (note(each, say) for each in alarm.notes if each == "L16")
    for key in owner.loose:
        yield lowered(say(LEFT[c.base_of(key)])) if c.base_of(key) in LEFT else key
    if owner.horn.standing is HornStanding.SILENT:
        yield say("horn silent")
