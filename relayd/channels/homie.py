"""What a broker shows of this unit: the retained tree of the Homie convention, version 5.

In: state, plan, time. Out: topic -> payload. Knows nothing of brokers and connections; the client
(mqtt.py) adds what belongs to a connection: `$state` of each device and the ticket for commands.

The unit is the root device, each panel a child. Descriptions hang on the plan alone, so that an
alarm never changes one. The form is in devices.py.
"""

import json
from collections.abc import Mapping

from relayd.channels import homie_work
from relayd.channels.devices import ROOT, Device, Node, Property, description_topic, topics
from relayd.channels.homie_times import iso, moment
from relayd.core.conditions import CHANNEL_FAILING, character, of_panel, of_unit
from relayd.core.diagnosis import facts as diagnosis
from relayd.core.events import Now
from relayd.core.life.shown import shown
from relayd.core.plan import Input, Panel, Plan, Priority
from relayd.core.saying import sentences
from relayd.core.showing import quietness
from relayd.core.state import (
    Alarm,
    Fact,
    InputState,
    Live,
    Process,
    State,
    Subject,
    outside_id,
)

UNIT = "unit"
STATES = ",".join((*Process, "SHLVD", "DSUPR", "OOSRV"))
"""The process states of ISA-18.2, and its three marks: an alarm's state is shown with them."""
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
    nodes = {f"alarm-{each}": _alarm(None, own, each, state, plan, now) for each in of_unit(plan)}
    alerts = _alerts(None, own, plan, state, now)
    for channel in plan.channels:
        subject = state.subjects.get(f"channel:{channel}") or Subject(f"channel:{channel}")
        node = _alarm(None, subject, CHANNEL_FAILING, state, plan, now)
        nodes[f"channel-{channel}"] = Node(f"Channel {channel}", node.properties)
        for text in _alerts(None, subject, plan, state, now).values():
            alerts[f"channel-{channel}"] = f"{channel}: {text}"
    if plan.inputs:
        live = state.live.get(UNIT) or Live()
        states = {each.id: live.inputs.get(each.id) or InputState() for each in plan.inputs}
        nodes |= _contacts(plan.inputs, states)
    if plan.remote_commands:
        nodes["commands"] = _commands()
    children = [device_of(f"panel:{each}", plan.unit) for each in plan.panels]
    return Device(plan.unit, plan.unit_name, nodes, alerts, {"children": children})


def _panel(panel: Panel, state: State, plan: Plan, now: Now) -> Device:
    subject = state.subjects.get(f"panel:{panel.id}") or Subject(f"panel:{panel.id}")
    live = state.live.get(subject.id) or Live()
    states = {each.id: live.inputs.get(each.id) or InputState() for each in panel.inputs}
    nodes = {
        **_contacts(panel.inputs, states),
        "level": _level(subject),
    }
    for each in of_panel(panel):
        nodes[f"alarm-{each}"] = _alarm(panel, subject, each, state, plan, now)
    nodes |= homie_work.nodes(panel, subject, state, plan, now)
    alerts = _alerts(panel, subject, plan, state, now)
    links = {"root": plan.unit, "parent": plan.unit}
    return Device(device_of(subject.id, plan.unit), panel.name, nodes, alerts, links)


def _contacts(specs: tuple[Input, ...], states: Mapping[str, InputState]) -> dict[str, Node]:
    """Where each contact stands, and what that means."""
    positions = {_short(each): _position(each, states[each.id]) for each in specs}
    facts = {_short(each): _fact(each, states[each.id]) for each in specs}
    return {"inputs": Node("Inputs", positions), "facts": Node("Facts", facts)}


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
    alarm = subject.alarms.get(condition) or Alarm(condition, character(condition).priority)
    stands = alarm.process is not Process.NORM
    says = sentences.standing(panel, subject, alarm) if stands else ""
    number = outside_id(plan.unit, state, alarm.occurrence) if stands else ""
    taken = alarm.taken if stands else None
    return Node(
        sentences.name(condition, panel),
        {
            "state": Property("State (ISA-18.2)", shown(alarm, subject), "enum", STATES),
            "quiet": Property("Why nobody is told", quietness.marks(plan, subject, alarm, now)),
            "priority": Property("Priority", alarm.priority.value, "enum", ",".join(Priority)),
            "row": Property("Row of the diagnosis", alarm.row if stands else ""),
            "says": Property("What is known", says),
            "occurrence": Property("Occurrence, for acknowledging", number),
            "since": Property(
                "Raised at", moment(alarm.raised if stands else None, state, plan, now)
            ),
            "told": Property("Persons told", json.dumps(alarm.told if stands else ()), "json"),
            "taken-by": Property("Taken by", taken.person if taken else ""),
            "taken-until": Property(
                "Taken until", iso(taken.until_wall, plan) if taken and now.trusted else ""
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
    name = sentences.name(alarm.condition, panel)
    since = moment(alarm.raised, state, plan, now)
    who = f"taken by {alarm.taken.person}" if alarm.taken else "not taken by anybody"
    says = sentences.standing(panel, subject, alarm)
    begun = f" since {since}" if since else ""
    return f"{name}{begun} ({shown(alarm, subject)}, {alarm.priority.value}, {who}). {says}"


def _commands() -> Node:
    return Node(
        "Commands",
        {
            "acknowledge": Property(
                "Acknowledge an occurrence", None, "json", settable=True, retained=False
            ),
            "horn-wire": Property(
                "A panel's horn wire is off, or back", None, "json", settable=True, retained=False
            ),
            "answer": Property("Answer to the last command", None, "json", retained=False),
            # The client publishes the ticket: it belongs to a connection.
            "ticket": Property("Ticket for the next command", None),
        },
    )
