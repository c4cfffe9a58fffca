"""What is known, in one or two sentences a row: the names of conditions and the rows' words.

In: a panel, its subject, an alarm. Out: text. A row of the tables says here what may be said on
its evidence, and no more.
"""

from relayd.core.alarm import ACTIVE
from relayd.core.conditions import (
    ALARM_POWER,
    CHANNEL_FAILING,
    FAULT,
    HIGH_LEVEL,
    INPUT_LOST,
    JOURNAL_LATE,
    MQTT_DOWN,
    PLAN_REFUSED,
    PUMP_POWER,
    SENDER_DOWN,
)
from relayd.core.plan import Circuits, Panel
from relayd.core.state import Alarm, NoticeKind, Subject

NAMES = {
    HIGH_LEVEL: "High level",
    ALARM_POWER: "Alarm circuit lost",
    PUMP_POWER: "Pump power lost",
    INPUT_LOST: "Input cannot be read",
    JOURNAL_LATE: "Journal late",
    SENDER_DOWN: "Sender down",
    MQTT_DOWN: "MQTT broker not reached",
    PLAN_REFUSED: "Plan refused",
    FAULT: "Fault in relayd",
    CHANNEL_FAILING: "Channel failing",
}

GONE = "gone"
"""The row of an alarm whose panel, input or channel is no longer in the plan."""

LEVEL_ROWS = {
    "L1": "The water stands at or above the alarm float.",
    "L2": "The level is below the alarm float, as far as its contact tells.",
    "L3": "The contact went back: the level fell OR somebody pressed Silence or Reset at the panel."
    " This is no return to normal until somebody has looked.",
    "L4": "The contact moved with the loss of the alarm circuit: the level is not known, it may be high.",
    "L5": "The level was high before the alarm circuit died. It cannot be seen now: take it as high.",
    "L6": "The contact is in alarm although the alarm circuit reads as dead. High level is believed."
    " The sensing of the alarm circuit is doubtful (the fuse of its tap), or the contact is welded or shorted.",
    "L7": "The contact moved after the alarm circuit died: the level is not known, it may be high.",
    "L8": "The alarm circuit is dead: the level is not known.",
    "L9": "High level OR loss of the alarm circuit: this unit cannot tell which.",
    "L10": "The level contact is in alarm: the water stands at or above the alarm float.",
    "L11": "The alarm circuit has just come back; the contact is in alarm: high level is believed.",
    "L12": "The level contact cannot be read. It was last seen in alarm: take the level as high.",
    "L14": "The level is below the alarm float, as far as this contact tells.",
    "L15": "The contact went back: the level fell, OR the alarm circuit died or was switched off."
    " This unit cannot tell: no return to normal until somebody has looked.",
}
"""What is said of an alarm of high level; L13 and L16 need inputs that are not offered yet."""

LEVEL_NOW = {
    **LEVEL_ROWS,
    "": "The level is not known yet.",
    "L11": "The alarm circuit has just come back; the level is not believed yet.",
    "L12": "The level contact cannot be read: the level is not known.",
}
"""What is said of a panel's level while no alarm of it stands."""

_BACK = "It is on again; the alarm ends when that has held."
_UNREAD = "It cannot be read now: it stays as it was until it can."
_DEAD = "Lamp, horn and alarm contact at the panel are dead."
POWER_ROWS = {
    "P4": f"{_DEAD} The pump still has power.",
    "P5": "The panel's feed is off: alarm circuit and pump power are both lost."
    f" {_DEAD} The pump will not start; the level will rise.",
    "P6": f"{_DEAD} Whether the pump has power is not known; without it the level will rise.",
    "P2": "The pump will not start by itself; the level will rise. The alarm circuit is on.",
    "P8": "The pump will not start by itself; the level will rise."
    " Whether the panel's own alarm still works is not known.",
}

_LOST_IN = {ALARM_POWER: ("P4", "P5", "P6"), PUMP_POWER: ("P2", "P5", "P8")}
_ON_IN = {ALARM_POWER: ("P1", "P2", "P9"), PUMP_POWER: ("P1", "P4", "P7")}

SHARED = " Alarm and pump are declared to hang on one circuit: take the panel's alarm as dead."


def level(subject: Subject) -> str:
    """One sentence on a panel's level, for a screen."""
    alarm = subject.alarms.get(HIGH_LEVEL)
    stands = alarm is not None and alarm.process in ACTIVE
    return (LEVEL_ROWS if stands else LEVEL_NOW).get(subject.belief.row, LEVEL_NOW[""])


def standing(panel: Panel | None, owner: Subject, alarm: Alarm) -> str:
    """What is known about `alarm` as it now stands: there, or gone and not acknowledged."""
    kind = NoticeKind.RAISED if alarm.process in ACTIVE else NoticeKind.STAND_DOWN
    return sentence(panel, owner, alarm, kind)


def sentence(panel: Panel | None, owner: Subject, alarm: Alarm, kind: NoticeKind) -> str:
    """What is known about `alarm`, in the words of its row."""
    if kind is NoticeKind.STAND_DOWN:
        return _over(owner, alarm)
    if alarm.condition == HIGH_LEVEL:
        return LEVEL_ROWS.get(alarm.row, LEVEL_ROWS["L1"])
    if alarm.condition in (ALARM_POWER, PUMP_POWER):
        return _power(panel, owner, alarm)
    if alarm.condition == INPUT_LOST:
        return f"An alarm there would not be noticed ({alarm.detail})."
    return alarm.detail or NAMES[alarm.condition]


def _power(panel: Panel | None, owner: Subject, alarm: Alarm) -> str:
    if alarm.row not in _LOST_IN[alarm.condition]:
        return _BACK if alarm.row in _ON_IN[alarm.condition] else _UNREAD
    text = POWER_ROWS[alarm.row]
    if alarm.row == "P8" and panel and panel.circuits is Circuits.SHARED:
        text += SHARED
    if alarm.condition == ALARM_POWER and owner.belief.row in ("L4", "L5", "L7", "L8"):
        text += " " + LEVEL_ROWS[owner.belief.row]
    return text


def _over(owner: Subject, alarm: Alarm) -> str:
    if alarm.row == GONE:
        return "It is no longer in the plan and no longer watched: this does not mean that all is well."
    if alarm.condition == HIGH_LEVEL:
        if owner.belief.looked is not None:
            return "Somebody looked and says that the level is below the alarm float."
        return LEVEL_ROWS.get(owner.belief.row, LEVEL_ROWS["L2"])
    if alarm.condition == ALARM_POWER:
        return f"The alarm circuit is on again. {level(owner)}"
    if alarm.condition == PUMP_POWER:
        return "The pump's power is on again: the pump may start by itself at any time."
    return f"{NAMES[alarm.condition]}: over."
