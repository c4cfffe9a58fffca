"""The form of the Homie convention, version 5: devices, nodes, properties as topics and payloads.

In: devices as values. Out: topic -> payload, and the order in which to publish a difference.
Knows nothing of pumps, alarms and connections. Rules are the convention's (v5, convention.md):
topic levels are [a-z0-9-], a zero-length payload deletes, so an empty text is one byte 0.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256

ROOT = "homie/5"
EMPTY = "\0"
"""How the convention writes an empty text: a payload of no bytes would delete the topic."""
LONGEST = 1000
"""Characters of one text, so that a library's long complaint cannot fill a broker."""


@dataclass(frozen=True, slots=True)
class Property:
    """One value of a node; `value` None where the tree holds none."""

    name: str
    value: str | None
    datatype: str = "string"
    format: str = ""
    settable: bool = False
    retained: bool = True


@dataclass(frozen=True, slots=True)
class Node:
    """One part of a device."""

    name: str
    properties: Mapping[str, Property]


@dataclass(frozen=True, slots=True)
class Device:
    """One device: what its description says, and the alerts that stand."""

    id: str
    name: str
    nodes: Mapping[str, Node]
    alerts: Mapping[str, str]
    links: Mapping[str, object] = field(default_factory=dict)


def state_topic(device: str) -> str:
    """Where a device says whether it is there."""
    return f"{ROOT}/{device}/$state"


def devices(shown: Mapping[str, str]) -> list[str]:
    """The devices of a tree, the root first."""
    # A child's id begins with its root's.
    return sorted(topic.split("/")[2] for topic in shown if topic.endswith("/$description"))


def changes(told: Mapping[str, str | None], wanted: Mapping[str, str]) -> list[tuple[str, str]]:
    """What to publish, in order, so that a broker that was told `told` shows `wanted`.

    A told payload None means: something is there. An empty payload deletes. A device whose
    description differs goes to `init` first; it is `ready` last, and the root last of all, so a
    pass that was broken off is finished by the next one.
    """
    living = devices(wanted)
    states = {state_topic(each): description_topic(each) for each in living}
    fresh = [at for at, told_of in states.items() if told.get(told_of) != wanted[told_of]]
    gone = [each for each in told if each not in wanted and each not in states]
    gone.sort(key=lambda topic: (not topic.endswith("/$state"), topic))
    steps = [(each, "init") for each in fresh]
    steps += [(each, "") for each in gone]
    steps += [(each, value) for each, value in wanted.items() if told.get(each) != value]
    late = [each for each in states if each in fresh or told.get(each) != "ready"]
    return steps + [(each, "ready") for each in reversed(late)]


def description_topic(device: str) -> str:
    """Where a device says what it is made of."""
    return f"{ROOT}/{device}/$description"


def topics(device: Device, description: str = "") -> Iterator[tuple[str, str]]:
    """Every retained topic of a device, but for its `$state`: description, values, alerts.

    `description` spares making it where it is known: half the cost of a device.
    """
    base = f"{ROOT}/{device.id}"
    yield description_topic(device.id), description or _description(device)
    for node, each in device.nodes.items():
        for name, prop in each.properties.items():
            if prop.value is not None:
                free = prop.datatype == "string"
                yield f"{base}/{node}/{name}", clean(prop.value) if free else prop.value
    for alert, text in device.alerts.items():
        yield f"{base}/$alert/{alert}", clean(text)


def clean(text: str) -> str:
    """Text that any broker takes: valid UTF-8, no control characters, not empty, not too long."""
    valid = text.encode("utf-8", "replace").decode()
    if not valid.isprintable():
        valid = "".join(each if each.isprintable() else " " for each in valid)
    plain = valid.strip()
    return (plain if len(plain) <= LONGEST else plain[: LONGEST - 3] + "...") or EMPTY


def _description(device: Device) -> str:
    """The description document; its version is a number made from what it says."""
    nodes = {name: _described(each) for name, each in device.nodes.items()}
    said = {"homie": "5.0", "name": device.name, **device.links, "nodes": nodes}
    # The convention wants a version that rises. A pure function cannot count; one that differs
    # whenever the document differs is what a reader that compares versions needs.
    digest = sha256(json.dumps(said, sort_keys=True).encode()).digest()
    return json.dumps({**said, "version": int.from_bytes(digest[:4], "big") >> 1})


def _described(node: Node) -> dict[str, object]:
    properties: dict[str, object] = {}
    for name, each in node.properties.items():
        made: dict[str, object] = {"name": each.name, "datatype": each.datatype}
        made |= {"format": each.format} if each.format else {}
        made |= {"settable": True} if each.settable else {}
        made |= {"retained": False} if not each.retained else {}
        properties[name] = made
    return {"name": node.name, "properties": properties}
