"""What a broker shows of this unit: the retained tree of the Homie convention, version 5.

In: state, plan, time. Out: topic -> payload. Knows nothing of brokers and connections; the client
(mqtt.py) adds what belongs to a connection: `$state` of each device and the ticket for commands.

The unit is the root device, each panel a child. Descriptions hang on the plan alone, so that an
alarm never changes one. The form is in devices.py.
"""

import json
from collections.abc import Mapping

from relayd.channels.devices import ROOT, Device, Node, Property, description_topic, topics
from relayd.core import panel as diagnosis
from relayd.core import sentences, when
from relayd.core.conditions import (
    ALARM_POWER,
    CHANNEL_FAILING,
    CHARACTERS,
    HIGH_LEVEL,
    PANEL_CONDITIONS,
    PUMP_POWER,
)
from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, SECOND, Input, Means, Panel, Plan, Priority
from relayd.core.state import (
    Alarm,
    Fact,
    InputState,
    Live,
    Process,
    Stamp,
    State,
    Subject,
    outside_id,
)

UNIT = "unit"
UNIT_CONDITIONS = tuple(
    each for each in CHARACTERS if each not in PANEL_CONDITIONS and each != CHANNEL_FAILING
)
_NEEDS = {
    HIGH_LEVEL: Means.HIGH_LEVEL,
    ALARM_POWER: Means.ALARM_POWER,
    PUMP_POWER: Means.PUMP_POWER,
}
_INPUT_VALUES = ("closed", "open", "lost", "unsettled")


def tree(state: State, plan: Plan, now: Now) -> dict[str, str]:
    """Every retained topic of this unit and its panels, but for `$state` and the ticket."""
    whole = branch(UNIT, state, plan, now)
    for each in plan.panels:
        whole |= branch(f"panel:{each}", state, plan, now)
    return whole


def branch(
    subject: str, state: State, plan: Plan, now: Now, description: str = ""
) -> dict[str, str]:
    """All topics of the device that shows `subject`; a channel is shown by the unit.

    `description` is that device's, where this plan's is known.
    """
    panel = (
        plan.panels.get(subject.removeprefix("panel:")) if subject.startswith("panel:") else None
    )
    if panel is not None:
        return dict(topics(_panel(panel, state, plan, now), description))
    if subject.startswith("panel:"):
        return {}
    return dict(topics(_unit(state, plan, now), description))


def graft(
    whole: Mapping[str, str], subject: str, state: State, plan: Plan, now: Now
) -> dict[str, str]:
    """`whole`, a tree of this plan, with the branch of `subject` made anew.

    What is no longer in that branch goes. Its description stays: it hangs on the plan alone.
    """
    device = device_of(subject, plan.unit)
    base = f"{ROOT}/{device}/"
    kept = {topic: value for topic, value in whole.items() if not topic.startswith(base)}
    known = whole.get(description_topic(device), "")
    return kept | branch(subject, state, plan, now, known)


def device_of(subject: str, unit: str) -> str:
    """The id of the device that shows `subject`."""
    return f"{unit}-{subject.removeprefix('panel:')}" if subject.startswith("panel:") else unit


def command_topic(unit: str, name: str) -> str:
    """The topic of a property of the unit's node `commands`."""
    return f"{ROOT}/{unit}/commands/{name}"


def _unit(state: State, plan: Plan, now: Now) -> Device:
    own = state.subjects.get(UNIT) or Subject(UNIT)
    nodes = {f"alarm-{each}": _alarm(None, own, each, state, plan, now) for each in UNIT_CONDITIONS}
    alerts = _alerts(None, own, plan, state, now)
    for channel in plan.channels:
        subject = state.subjects.get(f"channel:{channel}") or Subject(f"channel:{channel}")
        node = _alarm(None, subject, CHANNEL_FAILING, state, plan, now)
        nodes[f"channel-{channel}"] = Node(f"Channel {channel}", node.properties)
        for text in _alerts(None, subject, plan, state, now).values():
            alerts[f"channel-{channel}"] = f"{channel}: {text}"
    if plan.remote_commands:
        nodes["commands"] = _commands()
    children = [device_of(f"panel:{each}", plan.unit) for each in plan.panels]
    return Device(plan.unit, plan.unit_name, nodes, alerts, {"children": children})


def _panel(panel: Panel, state: State, plan: Plan, now: Now) -> Device:
    subject = state.subjects.get(f"panel:{panel.id}") or Subject(f"panel:{panel.id}")
    live = state.live.get(subject.id) or Live()
    states = {each.id: live.inputs.get(each.id) or InputState() for each in panel.inputs}
    nodes = {
        "inputs": Node(
            "Inputs", {_short(each): _position(each, states[each.id]) for each in panel.inputs}
        ),
        "facts": Node(
            "Facts", {_short(each): _fact(each, states[each.id]) for each in panel.inputs}
        ),
        "level": _level(subject),
    }
    for each in PANEL_CONDITIONS:
        if each not in _NEEDS or panel.input(_NEEDS[each]):
            nodes[f"alarm-{each}"] = _alarm(panel, subject, each, state, plan, now)
    alerts = _alerts(panel, subject, plan, state, now)
    links = {"root": plan.unit, "parent": plan.unit}
    return Device(device_of(subject.id, plan.unit), panel.name, nodes, alerts, links)


def _short(spec: Input) -> str:
    return spec.id.partition(".")[2]


def _position(spec: Input, state: InputState) -> Property:
    bounce = state.filter
    value = (
        "unsettled" if bounce is None or bounce.closed is None else _INPUT_VALUES[not bounce.closed]
    )
    shown = "lost" if state.lost else value
    return Property(f"Contact {spec.means.value}", shown, "enum", ",".join(_INPUT_VALUES))


def _fact(spec: Input, state: InputState) -> Property:
    value = diagnosis.fact(state, spec).fact.value
    return Property(f"Fact {spec.means.value}", value, "enum", ",".join(Fact))


def _level(subject: Subject) -> Node:
    return Node(
        "Level",
        {
            "row": Property("Row of the diagnosis", subject.belief.row),
            "says": Property("What is known", sentences.level(subject)),
        },
    )


def _alarm(
    panel: Panel | None, subject: Subject, condition: str, state: State, plan: Plan, now: Now
) -> Node:
    alarm = subject.alarms.get(condition) or Alarm(condition, CHARACTERS[condition].priority)
    stands = alarm.process is not Process.NORM
    says = sentences.standing(panel, subject, alarm) if stands else ""
    number = outside_id(plan.unit, state, alarm.occurrence) if stands else ""
    taken = alarm.taken if stands else None
    return Node(
        sentences.NAMES[condition],
        {
            "state": Property("State (ISA-18.2)", alarm.process.value, "enum", ",".join(Process)),
            "priority": Property("Priority", alarm.priority.value, "enum", ",".join(Priority)),
            "row": Property("Row of the diagnosis", alarm.row if stands else ""),
            "says": Property("What is known", says),
            "occurrence": Property("Occurrence, for acknowledging", number),
            "since": Property(
                "Raised at", _moment(alarm.raised if stands else None, state, plan, now)
            ),
            "told": Property("Persons told", json.dumps(alarm.told if stands else ()), "json"),
            "taken-by": Property("Taken by", taken.person if taken else ""),
            "taken-until": Property(
                "Taken until", _iso(taken.until_wall, plan) if taken and now.trusted else ""
            ),
        },
    )


def _alerts(
    panel: Panel | None, subject: Subject, plan: Plan, state: State, now: Now
) -> dict[str, str]:
    """One text for each alarm that is not NORM, whatever its condition."""
    return {
        each.condition: _alert(panel, subject, each, plan, state, now)
        for each in subject.alarms.values()
        if each.process is not Process.NORM
    }


def _alert(
    panel: Panel | None, subject: Subject, alarm: Alarm, plan: Plan, state: State, now: Now
) -> str:
    name = sentences.NAMES.get(alarm.condition, alarm.condition)
    since = _moment(alarm.raised, state, plan, now)
    who = f"taken by {alarm.taken.person}" if alarm.taken else "not taken by anybody"
    says = sentences.standing(panel, subject, alarm)
    begun = f" since {since}" if since else ""
    return f"{name}{begun} ({alarm.process.value}, {alarm.priority.value}, {who}). {says}"


def _commands() -> Node:
    return Node(
        "Commands",
        {
            "acknowledge": Property(
                "Acknowledge an occurrence", None, "json", settable=True, retained=False
            ),
            "answer": Property("Answer to the last command", None, "json", retained=False),
            # The client publishes the ticket: it belongs to a connection.
            "ticket": Property("Ticket for the next command", None),
        },
    )


def _moment(stamp: Stamp | None, state: State, plan: Plan, now: Now) -> str:
    """Local ISO 8601 time of a stamp, or '' where it cannot be known.

    A stamp of before the clock was set is worked out from boot time, to the minute.
    """
    if stamp is None or not now.trusted:
        return ""
    if stamp.trusted:
        return _iso(stamp.wall, plan)
    if state.boot != now.boot:
        return ""
    wall = now.wall - (now.up - stamp.up)
    return _iso((wall + MINUTE // 2) // MINUTE * MINUTE, plan)


def _iso(wall: int, plan: Plan) -> str:
    """ISO 8601 with the offset that the site's clocks show then."""
    offset = when.offset_at(plan, wall).seconds
    days, rest = divmod(wall + offset * SECOND, when.DAY)
    year, month, day = when.civil(days)
    time = f"{rest // HOUR:02d}:{rest % HOUR // MINUTE:02d}:{rest % MINUTE // SECOND:02d}"
    sign, minutes = "-" if offset < 0 else "+", abs(offset) // 60
    return f"{year:04d}-{month:02d}-{day:02d}T{time}{sign}{minutes // 60:02d}:{minutes % 60:02d}"
