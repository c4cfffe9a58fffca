"""The first steps that are the same for every panel and reader, and the words of the others.

Texts only, in English. Common practice, no source. Nothing here opens an enclosure, except for
readers who are qualified, and then it says so; no step lifts a float.
"""

from relayd.core import conditions as c
from relayd.core.saying import hand
from relayd.core.saying.language import marked

NO_WATER = marked("Use no water.")
LITTLE = marked("Use as little water as you can.")
LAMPS = marked("Look at the panel's lamps from outside and say what is lit.")
DARK = marked("Lamp and horn of the panel may be dead: a dark lamp proves nothing.")
CALL = hand.CALL
CALL_IN_HOURS = marked("Call the service firm in working hours.")
WATCH = marked("Look in on the panel's lamps until this is mended.")
INSPECT = marked(
    "If you are qualified, look through the dead front, or with ALL breakers that feed this panel"
    " switched off: look, photograph, touch nothing; no compressed air."
)
CORD = marked("Never feed a panel by a cord.")
LIGHTS = marked(
    "Look whether other lights of the house are out. If only this circuit is out: {breaker} may"
    " have tripped, or somebody switched it off. Switch on nothing before you know that nobody is"
    " at work there."
)
OTHER_PUMP = marked("The other pump can do the work: leave its switch in Auto.")

SAID: dict[str, tuple[str, ...]] = {
    c.COMMON_ALARM: (
        NO_WATER,
        LAMPS,
        marked("Call and say which lamp is lit: nothing else is safe for all that it may mean."),
    ),
    c.LOW_LEVEL: (
        marked("Do not turn the switch to Hand: the pump would run dry."),
        LAMPS,
        marked("Call in working hours: the tank may leak or siphon, or the stop float is stuck."),
    ),
    c.REDUNDANT_OFF: (
        marked("Use no water: the pump is locked out, and the level rises."),
        hand.NO_HAND,
        CALL,
    ),
    c.UNSTABLE_SUPPLY: (
        LITTLE,
        marked("Look whether lights dim or flicker; if so, call the electric utility."),
        marked("If only the panel is concerned: call an electrician."),
    ),
    c.KEEPS_REACHING: (
        LITTLE,
        marked("Look for what brings the water: a running toilet, an open tap, rain, snow melt."),
        marked("Call in working hours, also if it clears by itself each time."),
    ),
    c.PUMP_NOT_SEEN: (
        LITTLE,
        LAMPS,
        marked(
            "If somebody ran the pump by hand, or had the tank emptied: say so. Else call in working"
            " hours: the next high level may find no pump."
        ),
    ),
    c.RUN_LONG: (LITTLE, LAMPS, marked("Look for a running toilet or an open tap."), CALL_IN_HOURS),
    c.STARTS: (marked("Look for a running toilet or an open tap."), CALL_IN_HOURS),
    c.NO_CYCLE: (
        marked("If nobody has used water meanwhile, this may be right: say so."),
        marked(
            "If water was used: use as little as you can and call; the pump's float may be stuck,"
            " and the alarm float with it."
        ),
        LAMPS,
    ),
    c.CONTRADICTION: (LAMPS, CALL_IN_HOURS),
    c.LAG_CALLED: (LITTLE, CALL_IN_HOURS),
    c.ALTERNATION: (
        marked("Look from outside how the switches of both pumps stand, and say so."),
        CALL_IN_HOURS,
    ),
    c.SEAL_LEAK: (
        marked("The pump goes on working: plan its repair within weeks, in working hours."),
    ),
    c.PANEL_DOOR: (
        marked("Look from a distance whether somebody is at work there."),
        marked("If nobody is: touch nothing, keep children away and call."),
    ),
    c.TANK_LID: (
        marked("Go there now, or send somebody: keep everybody away and stay until it is shut."),
        marked(
            "If somebody is missing or has fallen in: ring the emergency number; nobody goes in."
        ),
        marked("Call whoever works at the tank; shutting it is their job."),
    ),
    c.AIR_SUPPLY: (
        marked("Listen from outside whether the blower runs."),
        marked("Call the service provider in working hours."),
    ),
    c.OTHER: (marked("Look at it from outside and say what you see."), CALL),
    c.BLIND: (
        WATCH,
        marked("Have the supply of the unit's inputs and its fuse looked at by an electrician."),
    ),
    c.UNSETTLED: (
        marked("Treat it as an alarm until somebody has looked: use no water."),
        LAMPS,
        marked("Have the contact and its wires looked at."),
    ),
    c.WIRING_FAULT: (WATCH, marked("Have the contact and its wires looked at.")),
    c.INPUT_LOST: (WATCH, marked("Have the unit and its wires looked at.")),
    c.SITE_OUTAGE: (
        NO_WATER,
        marked("Call the electric utility's outage line."),
        CORD,
    ),
    c.UNIT_POWER: (
        marked("Look whether the unit's outlet, or the breaker that feeds it, has lost power."),
        marked("When the unit's battery is empty no alarm can be noticed: look in on the panels."),
    ),
    c.JOURNAL_LATE: (
        marked("Have the unit's storage looked at: messages may come late until then."),
    ),
    c.JOURNAL_DAMAGED: (
        marked(
            "If a file was set aside: copy it from the unit to another computer, it may hold more."
        ),
        marked("If it happens again, or the card is old: have the unit's memory card replaced."),
        marked("Somebody has to answer for it: until then it is said again each day."),
    ),
    c.SENDER_DOWN: (
        marked("Messages may not go out: look in on the panels' lamps until this is mended."),
    ),
    c.MQTT_DOWN: (marked("Look whether the network and the broker are up."),),
    c.MAILBOX_DOWN: (
        marked("Until this is mended answer in another way: a reply reaches nobody."),
    ),
    c.ANSWERS_LOCKED: (
        marked("Answer in another way. Somebody may be guessing: have it looked at."),
    ),
    c.PLAN_REFUSED: (marked("Mend the plan file. What is wrong with it is said by: relayd check"),),
    c.FAULT: (marked("Look in on the panels' lamps, and have the unit's log looked at."),),
    c.UNWATCHED: (
        marked("Look in on the panels' lamps, or ask somebody there what happened meanwhile."),
        marked("If it happens again: have the unit's supply and its storage looked at."),
    ),
    c.CHANNEL_FAILING: (marked("Have the address and the account of this channel looked at."),),
    c.UNIT_SILENT: (
        marked("Look in on its panels' lamps, or ask somebody there: no alarm there is told now."),
        marked("Look whether its site has power, and whether its network works."),
        marked("Then have the unit and its supply looked at."),
    ),
    c.DEAD_MAN: (
        marked("Look whether the unit's network reaches the outside."),
        marked("Have the address of the outside service looked at."),
    ),
    c.COPIED: (
        marked("If the card was moved here for good, say so on the unit: relayd adopt"),
        marked("If the other unit still runs: stop one of the two, or give one a new name."),
    ),
    c.UNIT_BATTERY: (
        marked("Look whether the unit's outlet, or the breaker that feeds it, has lost power."),
        marked("When the unit's battery is empty no alarm can be noticed: look in on the panels."),
    ),
    c.UNDER_VOLTAGE: (marked("Have the unit's power supply and its cable changed."),),
    c.UNIT_HOT: (
        marked("Have the unit's enclosure looked at: sun, a covered vent, another heater."),
    ),
    c.UNIT_DISK: (marked("Have the unit's storage looked at: messages may come late until then."),),
    c.MEMORY_LOW: (marked("Have the unit's log looked at, and begin it anew."),),
    c.CLOCK_UNSET: (marked("Look whether the unit's network reaches a time service."),),
    c.LOOP_SLOW: (marked("Have the unit's log and its storage looked at."),),
    c.SENSE_LOST: (marked("Have the unit's log and its storage looked at."),),
}
"""The steps of conditions that are the same for every panel and reader."""
SHORTEST = {
    **dict.fromkeys((c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM, c.NOT_FALLING), NO_WATER),
    **dict.fromkeys((c.ALARM_POWER, c.CONTROL_POWER, c.PUMP_POWER, c.REDUNDANT_OFF), NO_WATER),
    **dict.fromkeys((c.NO_CURRENT, c.OVERLOAD, c.PHASE_FAULT, c.PUMP_FAULT, c.IN_OFF), NO_WATER),
    **dict.fromkeys((c.NOT_IN_AUTO, c.UNSETTLED, c.SITE_OUTAGE, c.ALARM_LEFT_OFF), NO_WATER),
    c.PUMP_NOT_SEEN: LITTLE,
    c.RUN_LONG: marked("Look for a tap or toilet that runs."),
    c.KEEPS_REACHING: LITTLE,
    c.TANK_LID: marked("Keep everybody away."),
    c.PANEL_DOOR: marked("Touch nothing."),
}
"""The first step in a few words, where one fits everybody."""
NO_HAND_OUT = marked("Do not turn this pump's switch to Hand.")
OVERLOAD_ONCE = marked("Its overload is reset once, by somebody qualified; then never in Hand.")
CYCLES = marked("It stops and starts by itself and burns in the end: call in working hours.")
UTILITY = marked("Call the electric utility if lights of the house dim, flicker or are out.")
HORN_WIRE = marked(
    "Only if you are qualified, and only if Silence does not do: {first}, see that the lamp is dark"
    " and measure, take one wire off the horn, cap its end: it is live in the next alarm; switch on"
    " again what you switched off; lamp lit again (look); then declare it: relayd horn-wire {panel}"
    " off --by {person}"
)
STANDS = {
    c.IN_HAND: marked("In Hand the pump runs past its stop float and can run dry: go there now."),
    c.IN_OFF: marked("Use no water. {off}"),
    c.NOT_IN_AUTO: marked(
        "Use no water, and look how the switch stands: in Hand the pump can run dry. {off}"
    ),
}
ALL_OFF = marked("switch off ALL breakers that feed this panel{labels}")
SILENCE = marked("If the horn sounds: press Silence, and call.")
SILENCE_OUTSIDE = marked(
    "If the horn sounds: press Silence if its button is on the outside of the panel, and call."
)
NO_SILENCE = marked("If the horn sounds: leave the panel shut, and call.")
ON_AGAIN = marked(
    "Only when nobody works there: switch it on again; while the level is high the lamp is lit"
    " again (look)."
)
