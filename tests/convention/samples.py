"""A tree that keeps every rule, with each datatype in it, and how to break it. All invented."""

import json
from collections.abc import Callable, Mapping
from typing import Any

from relayd.convention import Message

Tree = dict[str, bytes]
HALL, PIT = "homie/5/hall", "homie/5/pit"
SCHEMA = {"type": "object", "required": ["a"], "properties": {"a": {"type": "integer"}}}
ROOM: dict[str, Any] = {
    "name": {"datatype": "string"},
    "count": {"datatype": "integer", "format": "0:10:2", "unit": "#", "settable": True},
    "warmth": {"datatype": "float", "format": "-20:120", "unit": "°C"},
    "open": {"datatype": "boolean", "format": "closed,open"},
    "mode": {"datatype": "enum", "format": "on,off", "settable": True},
    "paint": {"datatype": "color", "format": "rgb,hsv"},
    "since": {"datatype": "datetime"},
    "for": {"datatype": "duration"},
    "all": {"datatype": "json", "format": json.dumps(SCHEMA)},
    "bell": {"datatype": "boolean", "retained": False},
    "ring": {"datatype": "boolean", "retained": False, "settable": True},
}
VALUES = {
    "name": "\0",
    "count": "4",
    "warmth": "-1.5e1",
    "open": "true",
    "mode": "off",
    "paint": "hsv,360,100,0.5",
    "since": "2026-11-26T08:00:00Z",
    "for": "PT12H5M46S",
    "all": '{"a": 1}',
}


def hall() -> dict[str, Any]:
    """The description of the root device."""
    nodes = {"room": {"name": "Room", "properties": {**ROOM}}}
    return {"homie": "5.0", "version": 3, "name": "Hall", "nodes": nodes, "children": ["pit"]}


def pit() -> dict[str, Any]:
    """The description of its child."""
    nodes = {"water": {"properties": {"level": {"datatype": "integer"}}}}
    return {"homie": "5.0", "version": 1, "root": "hall", "nodes": nodes}


def whole() -> Tree:
    """All that a broker holds of the two."""
    values = {f"{HALL}/room/{key}": value.encode() for key, value in VALUES.items()}
    return {
        f"{HALL}/$state": b"ready",
        f"{HALL}/$description": json.dumps(hall()).encode(),
        f"{HALL}/$alert/wet": b"The floor is wet",
        **values,
        f"{HALL}/room/count/$target": b"6",
        f"{PIT}/$state": b"ready",
        f"{PIT}/$description": json.dumps(pit()).encode(),
        f"{PIT}/water/level": b"-3",
    }


def held(topic: str, payload: bytes | str) -> Callable[[Tree], None]:
    """Put a payload there."""
    return lambda tree: tree.__setitem__(
        topic, payload if isinstance(payload, bytes) else payload.encode()
    )


def gone(topic: str) -> Callable[[Tree], None]:
    """Take a topic away."""
    return lambda tree: tree.__delitem__(topic)


def described(base: str, change: Callable[[dict[str, Any]], object]) -> Callable[[Tree], None]:
    """Change the description of a device."""

    def apply(tree: Tree) -> None:
        said = json.loads(tree[f"{base}/$description"])
        change(said)
        tree[f"{base}/$description"] = json.dumps(said).encode()

    return apply


def put(**fields: Any) -> Callable[[dict[str, Any]], object]:
    """Set fields of the description."""
    return lambda said: said.update(fields)


def drop(field: str) -> Callable[[dict[str, Any]], object]:
    """Take a field out of the description."""
    return lambda said: said.pop(field)


def spec(name: str, **fields: Any) -> Callable[[Tree], None]:
    """Change a property of the hall."""
    return described(HALL, lambda said: said["nodes"]["room"]["properties"][name].update(fields))


def start() -> list[Message]:
    """How the two come up: the child first, each from init to ready."""
    tree = whole()
    found = []
    for base in (PIT, HALL):
        rest = [each for each in tree if each.startswith(f"{base}/") and "/$s" not in each]
        rest.sort(key=lambda each: ("$description" not in each, "$target" not in each, each))
        found.append(Message(f"{base}/$state", b"init"))
        found += [Message(each, tree[each]) for each in rest]
        found.append(Message(f"{base}/$state", b"ready"))
    return found


def newer(base: str, said: Mapping[str, Any], **fields: Any) -> Message:
    """A changed description of a device."""
    return Message(f"{base}/$description", json.dumps({**said, **fields}).encode())
