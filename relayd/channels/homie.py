"""What a broker shows of this unit: the retained tree of the Homie convention, version 5.

In: state, plan, time. Out: topic -> payload. Knows nothing of brokers and connections; the client
(mqtt.py) adds what belongs to a connection: `$state` of each device and the ticket for commands.

The unit is the root device, each panel a child. Descriptions hang on the plan alone, so that an
alarm never changes one. The form is in devices.py; the nodes of alarms, of work at a panel and of
counters are in homie_alarm.py, homie_work.py and homie_counts.py.
"""

import json
from collections.abc import Iterator, Mapping

from relayd.channels import homie_alarm, homie_counts, homie_work
from relayd.channels.branches import Branches
from relayd.channels.devices import (
    ROOT,
    Device,
    Node,
    Property,
    choice,
    description,
    flag,
    text,
    topics,
)
from relayd.channels.homie_alarm import Scene
from relayd.core.conditions import CHANNEL_FAILING, of_panel, of_unit
from relayd.core.diagnosis import facts as diagnosis
from relayd.core.events import Now
from relayd.core.plan import Input, Panel, Plan
from relayd.core.saying import sentences
from relayd.core.state import Fact, InputState, Live, State, Subject

UNIT = "unit"
POSITIONS = ("closed", "open", "lost", "unsettled")


def tree(
    state: State, plan: Plan, now: Now, descriptions: Mapping[str, str] | None = None
) -> Branches[str]:
    """Every retained topic of this unit and its panels, but for `$state` and the ticket.

    `descriptions`: device -> its description; each is the first of its kind where none is given.
    """
    whole: Branches[str] = Branches()
    for subject in (UNIT, *(f"panel:{each}" for each in plan.panels)):
        device = device_of(subject, plan.unit)
        whole = whole.grafted(device, branch(device, state, plan, now, descriptions))
    return whole


def branch(
    device: str, state: State, plan: Plan, now: Now, descriptions: Mapping[str, str] | None = None
) -> dict[str, str]:
    """All topics of that device; none where the plan has none of that id."""
    scene = Scene(state, plan, now)
    if device == plan.unit:
        made = _unit(scene)
    else:
        panel = plan.panels.get(device.removeprefix(f"{plan.unit}-"))
        if panel is None:
            return {}
        made = _panel(scene, panel)
    return dict(topics(made, (descriptions or {}).get(device) or description(made, 1)))


def family(plan: Plan) -> Iterator[Device]:
    """The devices as their descriptions have them, which hang on the plan alone; the root first."""
    scene = Scene(State(""), plan, Now("", 0, 0, False))
    yield _unit(scene)
    for each in plan.panels.values():
        yield _panel(scene, each)


def device_of(subject: str, unit: str) -> str:
    """The id of the device that shows `subject`; a channel is shown by the unit."""
    return f"{unit}-{subject.removeprefix('panel:')}" if subject.startswith("panel:") else unit


def command_topic(unit: str, name: str) -> str:
    """The topic of a property of the unit's node `commands`."""
    return f"{ROOT}/{unit}/commands/{name}"


def _unit(scene: Scene) -> Device:
    state, plan = scene.state, scene.plan
    own = state.subjects.get(UNIT) or Subject(UNIT)
    nodes = {f"alarm-{each}": homie_alarm.node(scene, None, own, each) for each in of_unit(plan)}
    alerts = homie_alarm.alerts(scene, None, own)
    for channel in plan.channels:
        # A topic's level has no dot, and no id has two hyphens in a row.
        name = f"channel-{channel.replace('.', '--')}"
        subject = state.subjects.get(f"channel:{channel}") or Subject(f"channel:{channel}")
        node = homie_alarm.node(scene, None, subject, CHANNEL_FAILING)
        nodes[name] = Node(f"Channel {channel}", node.properties, node.type)
        for said in homie_alarm.alerts(scene, None, subject).values():
            alerts[name] = f"{channel}: {said}"
    if plan.inputs:
        nodes |= _contacts(plan.inputs, state.live.get(UNIT) or Live())
    nodes["counters"] = homie_counts.of_unit(state)
    nodes["health"] = homie_counts.health(scene)
    nodes["persons"] = homie_counts.absent(state)
    if plan.remote_commands:
        nodes["commands"] = _commands()
    children = [device_of(f"panel:{each}", plan.unit) for each in plan.panels]
    return Device(plan.unit, plan.unit_name, nodes, alerts, {"children": children})


def _panel(scene: Scene, panel: Panel) -> Device:
    state, unit = scene.state, scene.plan.unit
    subject = state.subjects.get(f"panel:{panel.id}") or Subject(f"panel:{panel.id}")
    nodes = {
        **_contacts(panel.inputs, state.live.get(subject.id) or Live()),
        "level": _level(subject),
        **homie_counts.pumps(scene, panel, subject),
    }
    for each in of_panel(panel):
        nodes[f"alarm-{each}"] = homie_alarm.node(scene, panel, subject, each)
    nodes |= homie_work.nodes(scene, panel, subject)
    alerts = homie_alarm.alerts(scene, panel, subject)
    links = {"root": unit, "parent": unit}
    return Device(device_of(subject.id, unit), panel.name, nodes, alerts, links)


def _contacts(specs: tuple[Input, ...], live: Live) -> dict[str, Node]:
    """Where each contact stands, and what that means."""
    states = {each.id: live.inputs.get(each.id) or InputState() for each in specs}
    positions = {_short(each): _position(each, states[each.id]) for each in specs}
    facts = {_short(each): _fact(each, states[each.id]) for each in specs}
    return {"inputs": Node("Inputs", positions), "facts": Node("Facts", facts)}


def _short(spec: Input) -> str:
    return spec.id.partition(".")[2]


def _position(spec: Input, state: InputState) -> Property:
    bounce = state.filter
    unsettled = bounce is None or bounce.closed is None
    value = "unsettled" if unsettled or bounce is None else POSITIONS[not bounce.closed]
    return choice(f"Contact {spec.means.value}", "lost" if state.lost else value, POSITIONS)


def _fact(spec: Input, state: InputState) -> Property:
    return choice(f"Fact {spec.means.value}", diagnosis.fact(state, spec).fact.value, Fact)


def _level(subject: Subject) -> Node:
    belief = subject.belief
    return Node(
        "Level",
        {
            "row": text("Row of the diagnosis", belief.row),
            "says": text("What is known", sentences.level(subject)),
            "contact": choice("Its contact, as last known", belief.contact.value, Fact),
            "reached": flag(
                "The alarm level was reached, and nothing since has proved a fall", belief.was_alarm
            ),
            "circuit-lost": flag("The alarm circuit is lost", belief.circuit_lost),
        },
    )


def _commands() -> Node:
    return Node(
        "Commands",
        {
            "acknowledge": _command(
                "Acknowledge an occurrence", ("ticket", "occurrence", "person"), ("act", "within")
            ),
            "horn-wire": _command(
                "A panel's horn wire is off, or back", ("ticket", "panel", "person", "wire")
            ),
            "answer": Property("Answer to the last command", None, "json", retained=False),
            # The client publishes the ticket: it belongs to a connection.
            "ticket": Property("Ticket for the next command", None),
        },
    )


def _command(name: str, needed: tuple[str, ...], others: tuple[str, ...] = ()) -> Property:
    """A JSON object of texts: those keys, and no others."""
    schema = {
        "type": "object",
        "properties": {each: {"type": "string"} for each in (*needed, *others)},
        "required": list(needed),
        "additionalProperties": False,
    }
    return Property(name, None, "json", json.dumps(schema), settable=True, retained=False)
