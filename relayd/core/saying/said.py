"""What is said of conditions, rows and loose ends: tables of English texts.

A row says what may be said on its evidence, and no more. The words of the horn's, the power's and
the pump's rows stand beside those tables.
"""

from relayd.core import conditions as c, unit_words
from relayd.core.diagnosis.power import SAYS
from relayd.core.saying.language import marked

NAMES = {
    c.HIGH_LEVEL: "High level",
    c.HIGH_HIGH_LEVEL: "Overflow is near",
    c.COMMON_ALARM: "Panel alarm",
    c.LOW_LEVEL: "Low level",
    c.REDUNDANT_OFF: "Pump locked out by its low cut-off",
    c.ALARM_POWER: "Alarm circuit lost",
    c.CONTROL_POWER: "Control circuit lost",
    c.PUMP_POWER: "Pump power lost",
    c.UNSTABLE_SUPPLY: "Unstable supply",
    c.ALARM_LEFT_OFF: "Alarm circuit left off",
    c.NO_CURRENT: "Pump takes no current",
    c.NOT_FALLING: "Pump runs, level does not fall",
    c.KEEPS_REACHING: "Level keeps reaching the alarm",
    c.PUMP_NOT_SEEN: "Pump not seen to run",
    c.UNCALLED: "Pump runs without being called",
    c.RUN_LONG: "Pump runs too long",
    c.STARTS: "Pump starts too often",
    c.NO_CYCLE: "Pump has not started",
    c.CONTRADICTION: "Pump's contacts contradict each other",
    c.LAG_CALLED: "Second pump had to help",
    c.ALTERNATION: "Pumps no longer take turns",
    c.OVERLOAD: "Overload tripped",
    c.OVER_TEMPERATURE: "Pump too hot",
    c.SEAL_LEAK: "Seal leak",
    c.PHASE_FAULT: "Phase fault",
    c.PUMP_FAULT: "Pump fault",
    c.IN_HAND: "Switch in Hand",
    c.IN_OFF: "Switch in Off",
    c.NOT_IN_AUTO: "Switch not in Auto",
    c.PANEL_DOOR: "Panel door open",
    c.TANK_LID: "Tank lid open",
    c.AIR_SUPPLY: "Air supply lost",
    c.HORN_SILENT: "Horn silent at alarm",
    c.SILENCE_LEFT_ON: "Silence switch left on",
    c.OTHER: "Contact of the site's own",
    c.BLIND: "This unit is blind",
    c.UNSETTLED: "Contact unsettled",
    c.WIRING_FAULT: "Wiring fault",
    c.INPUT_LOST: "Input cannot be read",
    c.SITE_OUTAGE: "Site power outage",
    c.UNIT_POWER: "Unit's own supply lost",
    c.JOURNAL_LATE: "Journal late",
    c.JOURNAL_DAMAGED: "Journal damaged",
    c.SENDER_DOWN: "Sender down",
    c.MQTT_DOWN: "MQTT broker not reached",
    c.MAILBOX_DOWN: "Mailbox not reached",
    c.ANSWERS_LOCKED: "Answers locked",
    c.PLAN_REFUSED: "Plan refused",
    c.FAULT: "Fault in relayd",
    c.UNWATCHED: "Gap in the watch",
    c.CHANNEL_FAILING: "Channel failing",
    c.UNIT_SILENT: "Unit silent",
    c.DEAD_MAN: "Outside watch not reached",
    c.COPIED: "Memory card of another unit",
    c.UNIT_BATTERY: "Unit's battery low",
    c.UNDER_VOLTAGE: "Unit's voltage too low",
    c.UNIT_HOT: "Unit too hot",
    c.UNIT_DISK: "Unit's storage failing or full",
    c.MEMORY_LOW: "Unit's memory runs out",
    c.CLOCK_UNSET: "Unit's clock not set",
    c.LOOP_SLOW: "Unit too slow",
    c.SENSE_LOST: "Unit cannot sense itself",
}

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
    "L17": "The contact chattered in this alarm and says normal now: that is believed when it has"
    " said so for ten minutes without a break.",
    "L18": "The contact chattered in this alarm and says normal now, but no pump was seen to run:"
    " this is no return to normal until a pump has run or somebody has looked.",
}
"""What is said of an alarm of high level; L13 is a common alarm's, L16 a return's."""

LEVEL_NOW = {
    **LEVEL_ROWS,
    "": "The level is not known yet.",
    "L11": "The alarm circuit has just come back; the level is not believed yet.",
    "L12": "The level contact cannot be read: the level is not known.",
}
"""What is said of a panel's level while no alarm of it stands."""

BACK = marked("It is on again; the alarm ends when that has held.")
UNREAD = marked("It cannot be read now: it stays as it was until it can.")
SHARED = marked(
    "Alarm and pump are declared to hang on one circuit: take the panel's alarm as dead."
)


COMMON_ROWS = {
    "L1": "The panel calls: one of {carried}. This unit cannot tell which.",
    "L3": "The contact went back: what the panel called for is over OR somebody pressed Silence or"
    " Reset there. This is no return to normal until somebody has looked.",
    "L4": "The contact moved with the loss of the alarm circuit: whether the panel calls is not known.",
    "L5": "The panel called before the alarm circuit died. It cannot be seen now: take it as calling.",
    "L6": "The contact is in alarm although the alarm circuit reads as dead: that the panel calls is"
    " believed. The sensing of the alarm circuit is doubtful, or the contact is welded or shorted.",
    "L9": "The panel calls OR its alarm circuit is lost: this unit cannot tell which.",
    "L12": "The contact cannot be read. It was last seen in alarm: take the panel as calling.",
    "L15": "The contact went back: what the panel called for is over, OR the alarm circuit died or"
    " was switched off. This unit cannot tell: no return to normal until somebody has looked.",
    "L17": LEVEL_ROWS["L17"],
}
"""What is said of a common alarm; it may be any of what it carries."""
SAME_ROW = {"L10": "L1", "L11": "L1", "L13": "L1", "L7": "L4", "L8": "L4"}

WHAT: dict[str, str] = {
    c.HIGH_LEVEL: LEVEL_ROWS["L1"],
    c.HIGH_HIGH_LEVEL: "The water stands at or above the upper float: the tank is about to overflow.",
    c.COMMON_ALARM: COMMON_ROWS["L1"],
    c.LOW_LEVEL: "The water is lower than it should be: the pump may run dry.",
    c.REDUNDANT_OFF: "The low cut-off has locked the pump out: the pump will not start, and high"
    " level will follow.",
    c.ALARM_POWER: SAYS["P6"],
    c.CONTROL_POWER: "The pump will not start by itself; the level will rise.",
    c.PUMP_POWER: SAYS["P2"],
    c.UNSTABLE_SUPPLY: "A supply of this panel comes and goes: brown-out, a loose wire or a failing"
    " breaker.",
    c.ALARM_LEFT_OFF: "The alarm circuit was lost during an alarm and has not come back: the alarm"
    " was switched off and not on again. Lamp, horn and alarm contact are dead.",
    c.NO_CURRENT: "The pump is called but takes no current: overload, thermal cut-out, capacitor or"
    " wires. It does not pump.",
    c.NOT_FALLING: "The pump runs, but the water is not below the alarm float: blocked, air-bound, a shut valve, a"
    " broken or frozen line, worn, or more comes in than it can pump.",
    c.KEEPS_REACHING: "The level reaches the alarm float again and again and clears by itself: the"
    " pump gets weak, or ground water comes in.",
    c.PUMP_NOT_SEEN: "The level went back to normal, and no pump was seen to run: whether one works"
    " is not known.",
    c.UNCALLED: "The pump takes current although nothing calls it: its contactor is welded, or its"
    " switch is in Hand.",
    c.RUN_LONG: "The pump runs longer than it should: stop float stuck, a leak in, worn, or a check"
    " valve that leaks.",
    c.STARTS: "The pump starts too often: check valve leaks back, float too short, a running toilet,"
    " ground water.",
    c.NO_CYCLE: "The pump has not started for too long: its float may be stuck, and the alarm float"
    " as well. That no water was used explains it too.",
    c.CONTRADICTION: "The pump's contacts contradict its power: one of them is wrong.",
    c.LAG_CALLED: "The second pump had to help: the first gets weak, or much water comes in.",
    c.ALTERNATION: "One pump started again and again in a row: the other may be out.",
    c.OVERLOAD: "The overload has tripped: the pump is out until it is reset at the panel.",
    c.OVER_TEMPERATURE: "The pump got too hot: it stops, and starts again by itself when it has cooled.",
    c.SEAL_LEAK: "Water gets past the pump's seal. It goes on working for a time.",
    c.PHASE_FAULT: "The supply's phases are wrong (one lost, reversed, unequal or low): the pump does"
    " not run. The cause is outside the panel.",
    c.PUMP_FAULT: "The panel reports a fault of the pump: one of overload, over-temperature or seal"
    " leak.",
    c.IN_HAND: "The switch stands in Hand: the pump runs without its floats.",
    c.IN_OFF: "The switch stands in Off: the pump never starts by itself.",
    c.NOT_IN_AUTO: "The switch stands in Hand or in Off: in Hand the pump can run dry, in Off it never"
    " starts by itself.",
    c.PANEL_DOOR: "The panel's door stands open.",
    c.TANK_LID: "The tank's lid is open: somebody can fall in.",
    c.AIR_SUPPLY: "The blower's air is missing: the treatment stops working within a day or so.",
    c.HORN_SILENT: "The alarm began, and the horn was not heard: its wire is off, or the horn is dead.",
    c.SILENCE_LEFT_ON: "The horn did not come back after its silence: the switch was left in Silence,"
    " or the time is set wrong.",
    c.OTHER: "A contact of the site's own is in alarm.",
    c.BLIND: "The supply of the unit's inputs or its cable is lost: no alarm on it would be noticed.",
    c.UNSETTLED: "A contact chatters and tells nothing for certain: take it as in alarm, and a level"
    " as high, until somebody has looked.",
    c.WIRING_FAULT: "The two sides of a contact say the same: a cut or shorted wire, or wrong wiring."
    " What it tells is not known.",
    c.INPUT_LOST: "An input cannot be read: an alarm there would not be noticed.",
    c.SITE_OUTAGE: "The site has no power: its pumps do not run, and the water rises.",
    c.UNIT_POWER: "The unit has lost its own supply and lives on its battery.",
    c.JOURNAL_LATE: "The unit's journal is written too late.",
    c.JOURNAL_DAMAGED: "What the unit keeps on its memory card was damaged. It goes on watching, with"
    " what it has in memory or could still read.",
    c.SENDER_DOWN: "The part that sends messages is not working.",
    c.MQTT_DOWN: "The MQTT broker cannot be reached.",
    c.MAILBOX_DOWN: "The mailbox cannot be looked into: nobody reads replies by mail.",
    c.ANSWERS_LOCKED: "Too many wrong codes came: answers by that way are not taken for an hour.",
    c.PLAN_REFUSED: "The plan file was refused; the last good plan is in use.",
    c.FAULT: "A part of the program failed and was caught.",
    c.UNWATCHED: "The unit did not watch for a time, and does again: what began and ended meanwhile"
    " was not seen.",
    c.CHANNEL_FAILING: "Messages over this channel do not go out.",
    c.UNIT_SILENT: "This other unit says nothing any more: it may be dead, hung, cut off or without"
    " power. No alarm at its panels would be told.",
    c.DEAD_MAN: "The service outside that watches this unit cannot be told that it lives: it may say"
    " soon that the unit is dead, and would not notice if it were.",
    c.COPIED: "The memory of this unit was made on another computer: a copied or moved card. The unit"
    " watches and sends messages, and stays off MQTT, so that no two units bear one name.",
    c.UNIT_BATTERY: "The unit's battery is low. When it is empty no alarm can be noticed.",
    c.UNDER_VOLTAGE: "The unit's supply gives too low a voltage: it may stop or damage its memory"
    " card at any time.",
    c.UNIT_HOT: "The unit's processor is too hot: it gets slow, and may stop.",
    c.UNIT_DISK: "The unit's storage is full or can no longer be written: what happens is not kept,"
    " and a restart may repeat messages.",
    c.MEMORY_LOW: "The unit's memory runs out: the system may end parts of it.",
    c.CLOCK_UNSET: "Nothing has set the unit's clock: times of day in messages are missing, and"
    " nothing waits for working hours.",
    c.LOOP_SLOW: "The unit takes too long for what it does: messages may come late.",
    c.SENSE_LOST: "The unit can no longer read something of its own board.",
}
"""What is said of each condition where no row says more; the table is total."""

OVER: dict[str, str] = {
    c.ALARM_POWER: "The alarm circuit is on again.",
    c.PUMP_POWER: "The pump's power is on again: the pump may start by itself at any time.",
    c.CONTROL_POWER: "The control circuit is on again: the pump may start by itself at any time.",
    c.SITE_OUTAGE: "The power is back: pumps may start by themselves at any time, and a high level is"
    " expected while they catch up.",
    c.ALARM_LEFT_OFF: "The alarm circuit is on again.",
    c.TANK_LID: "The lid's contact says that it is shut; somebody should look that it is.",
    c.IN_OFF: "The switch no longer stands in Off: the pump may start by itself at any time.",
    c.OVER_TEMPERATURE: "The pump has cooled: it may start by itself at any time.",
    c.PUMP_NOT_SEEN: "A pump was seen to run.",
    c.UNWATCHED: "It has watched without a gap since.",
    c.JOURNAL_DAMAGED: "Somebody has answered for it, and no further damage has been found since.",
    c.UNIT_SILENT: "The other unit is back: it is heard again.",
    c.OVERLOAD: "The overload is no longer tripped: the pump may start by itself at any time.",
    c.COMMON_ALARM: "The panel no longer calls, as far as its contact tells.",
    c.HIGH_HIGH_LEVEL: "The level is below the upper float, as far as its contact tells; it may still"
    " be high.",
}
"""What is said when a condition is over, where that is more than its name."""

DETAILS = (
    "{who} has looked: it is high.",
    "{input}: both sides open",
    "{input}: both sides closed",
    "one of {conditions}",
    "pump {pump}",
    "at most {time}",
    "not known",
    "at {times}",
    "the alarm circuit is dead",
    *unit_words.DETAILS,
)
"""Details and reasons as the diagnosis words them, so that they can be said in any language."""
UNKNOWN_TIME = marked("an unknown time")

LOOSE = {
    "horn-wire": "the horn's wire is disconnected: the next alarm will be silent at the panel",
    "horn-unknown": "whether the horn's wire was taken off is not known: go and look",
    "silence-switch": "the silence switch was left on",
    "in-hand": "the switch of {which} stands in Hand",
    "in-off": "the switch of {which} stands in Off: it never starts by itself",
    "not-in-auto": "the switch of {which} does not stand in Auto",
    "panel-door": "the panel's door stands open",
    "tank-lid": "the tank's lid is open",
    "alarm-breaker": "the alarm circuit is off: its breaker is to be switched on again",
    "control-breaker": "the control circuit is off: its breaker is to be switched on again",
    "horn-unproved": "the horn's wire is said to be back, but the horn was not heard since: press"
    " Test at the panel and listen",
    "pump-breaker": "the power of {which} is off: its breaker is to be switched on again",
    "out-of-service": "the whole panel is out of service: no alarm of it is told",
    "": "{what} is to be undone",
}
"""What is said of a loose end, by its key without number."""
