"""The form of the Homie convention, version 5: devices, nodes, properties as topics and payloads.

In: devices as values. Out: topic -> payload, and the order in which to publish a difference.
Knows nothing of pumps, alarms and connections. Rules are the convention's (v5, convention.md):
topic levels are [a-z0-9-], a zero-length payload deletes, so an empty text is one byte 0.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256

from relayd.channels.branches import ELSEWHERE, ROOT as ROOT, Branches

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
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Node:
    """One part of a device; `type` tells a reader what its properties are."""

    name: str
    properties: Mapping[str, Property]
    type: str = ""


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
    tree = Branches.of(shown)
    return sorted(each for each in tree.names() if description_topic(each) in tree.branch(each))


def changes(
    told: Mapping[str, str | None],
    wanted: Mapping[str, str],
    settled: Mapping[str, str] | None = None,
) -> list[tuple[str, str]]:
    """What to publish, in order, so that a broker that was told `told` shows `wanted`.

    A told payload None means: something is there. An empty payload deletes. A device whose
    description differs goes to `init` first and is `ready` after all its values. Children come
    before the root that names them, and it is ready last; then come the topics outside the tree,
    and last a device that is gone is taken away, its `$state` first. A pass that was broken off is
    finished by the next one.

    `settled` is a tree that this broker is known to show in full: of a device whose branch is the
    same object there, nothing is looked at.
    """
    before, after = Branches.of(told), Branches.of(wanted)
    names = dict.fromkeys((*after.names(), *before.names()))
    if settled is not None:
        rest = Branches.of(settled)
        names = {each: None for each in names if not after.shares(rest, each)}
    living = set(devices(after))
    moved = sorted((each for each in names if each in living), reverse=True)
    inits, values, readies = [], [], []
    for each in moved:
        fresh, differs = _branch(before.branch(each), after.branch(each), each)
        late = fresh or before.branch(each).get(state_topic(each)) != "ready"
        inits += [(state_topic(each), "init")] if fresh else []
        values += differs
        readies += [(state_topic(each), "ready")] if late else []
    _, beside = _branch(before.branch(ELSEWHERE), after.branch(ELSEWHERE), ELSEWHERE)
    lost = [
        step for each in sorted(set(names) - living - {ELSEWHERE}) for step in _gone(before, each)
    ]
    return [*reversed(inits), *values, *readies, *(beside if ELSEWHERE in names else ()), *lost]


def _branch(
    told: Mapping[str, str | None], wanted: Mapping[str, str], device: str
) -> tuple[bool, list[tuple[str, str]]]:
    """Whether the device's description differs, and its steps: what goes, then what is new."""
    said, kept = description_topic(device), state_topic(device)
    steps = [(topic, "") for topic in told if topic not in wanted and topic != kept]
    steps += [(topic, value) for topic, value in wanted.items() if told.get(topic) != value]
    return told.get(said) != wanted.get(said), steps


def _gone(told: Branches[str | None], device: str) -> Iterator[tuple[str, str]]:
    for topic in sorted(told.branch(device), key=lambda each: each != state_topic(device)):
        yield topic, ""


def risen(kept: str, document: str) -> tuple[int, str]:
    """The version of a description, and what to keep of it beside the state.

    `kept` is what was kept of the last one ('' where nothing was): '<hash>:<version>'. The first
    is 1, and each that differs from the one before it is one more. What cannot be read counts as
    nothing kept.
    """
    now = sha256(document.encode()).hexdigest()[:16]
    before, _, number = kept.partition(":")
    last = int(number) if number.isdecimal() else 0
    version = last if last and before == now else last + 1
    return version, f"{now}:{version}"


def description_topic(device: str) -> str:
    """Where a device says what it is made of."""
    return f"{ROOT}/{device}/$description"


def topics(device: Device, description: str) -> Iterator[tuple[str, str]]:
    """Every retained topic of a device, but for its `$state`: description, values, alerts."""
    base = f"{ROOT}/{device.id}"
    yield description_topic(device.id), description
    for node, each in device.nodes.items():
        yield from _values(f"{base}/{node}/", each)
    for alert, text in device.alerts.items():
        yield f"{base}/$alert/{alert}", clean(text)


def _values(base: str, node: Node) -> Iterator[tuple[str, str]]:
    for name, prop in node.properties.items():
        if prop.value is not None:
            yield base + name, clean(prop.value) if prop.datatype == "string" else prop.value


def clean(text: str) -> str:
    """Text that any broker takes: valid UTF-8, no control characters, not empty, not too long."""
    valid = text.encode("utf-8", "replace").decode()
    if not valid.isprintable():
        valid = "".join(each if each.isprintable() else " " for each in valid)
    plain = valid.strip()
    return (plain if len(plain) <= LONGEST else plain[: LONGEST - 3] + "...") or EMPTY


def document(device: Device) -> dict[str, object]:
    """What a device is made of, but for the version of this description."""
    nodes = {name: _described(each) for name, each in device.nodes.items()}
    return {"homie": "5.0", "name": device.name, **device.links, "nodes": nodes}


def description(device: Device, version: int) -> str:
    """The description document of that version."""
    return json.dumps({"version": version, **document(device)})


def _described(node: Node) -> dict[str, object]:
    made: dict[str, object] = {"name": node.name}
    made |= {"type": node.type} if node.type else {}
    return {**made, "properties": {name: _property(each) for name, each in node.properties.items()}}


def _property(each: Property) -> dict[str, object]:
    made: dict[str, object] = {"name": each.name, "datatype": each.datatype}
    made |= {"format": each.format} if each.format else {}
    made |= {"unit": each.unit} if each.unit else {}
    made |= {"settable": True} if each.settable else {}
    return made | ({"retained": False} if not each.retained else {})


# ---- properties by their datatype ----------------------------------------------------------


def text(name: str, value: str) -> Property:
    """A property of free text."""
    return Property(name, value)


def flag(name: str, value: bool, words: str = "") -> Property:
    """A boolean; `words` say what false and true mean ('open,closed')."""
    return Property(name, "true" if value else "false", "boolean", words)


def choice(name: str, value: str, among: Iterable[str]) -> Property:
    """One word of several."""
    return Property(name, value, "enum", ",".join(among))


def count(name: str, value: int, most: int | None = None, unit: str = "#") -> Property:
    """A whole number of something, from 0."""
    form = f"0:{'' if most is None else most}"
    return Property(name, str(value), "integer", form, unit=unit)


def instant(name: str, value: str) -> Property:
    """An instant, ISO 8601; '' where there is none or it is not known.

    A text, since each property must have a value, and the convention's datetime has none for that.
    """
    return Property(f"{name} (ISO 8601)", value)


def names(name: str, value: Iterable[str]) -> Property:
    """A list of words."""
    return Property(name, json.dumps(list(value)), "json", _NAMES)


def listed(name: str, value: Iterable[Mapping[str, object]]) -> Property:
    """A list of objects, each with the same keys."""
    return Property(name, json.dumps(list(value)), "json", _LISTED)


_NAMES = json.dumps({"type": "array", "items": {"type": "string"}})
_LISTED = json.dumps({"type": "array", "items": {"type": "object"}})
