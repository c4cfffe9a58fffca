"""The rules of the Homie convention, version 5, for what a unit retains; written from its text.

`faults(tree)` names every rule that is broken (convention.md of homieiot/convention: Topic IDs,
Empty string values, Payloads, Device attributes, Node and Property attributes, Formats, Alerts).
"""

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

ID = re.compile(r"[a-z0-9-]+")
DATATYPES = "integer float boolean string enum color datetime duration json".split()
DEVICE = {"homie", "version", "nodes", "name", "type", "children", "root", "parent", "extensions"}
NODE = {"name", "type", "properties"}
PROPERTY = {"name", "datatype", "format", "settable", "retained", "unit"}
STATES = {"init", "ready", "disconnected", "sleeping", "lost"}


def faults(tree: Mapping[str, str], valueless: frozenset[str] = frozenset()) -> list[str]:
    """Every broken rule; `valueless` are topics of retained properties whose value comes later."""
    found = [
        f"{topic}: {each}" for topic, payload in tree.items() for each in _topic(topic, payload)
    ]
    described = {
        topic.split("/")[2]: payload
        for topic, payload in tree.items()
        if topic.endswith("/$description")
    }
    documents: dict[str, Any] = {}
    for device, text in described.items():
        documents[device] = json.loads(text)
        found += [f"{device}: {each}" for each in _document(documents[device])]
    found += _family(documents)
    found += _values(tree, documents, valueless)
    return found


def _topic(topic: str, payload: str) -> Iterator[str]:
    levels = topic.split("/")
    if levels[:2] != ["homie", "5"]:
        yield "outside the base topic"
    for level in levels[2:]:
        if not ID.fullmatch(level.removeprefix("$")):
            yield f"the level {level!r} has other characters than a-z 0-9 -"
    attributes = [each for each in levels[2:] if each.startswith("$")]
    if attributes and attributes[0] not in ("$state", "$description", "$alert"):
        yield "no retained attribute of the convention"
    if attributes and len(levels) != (5 if attributes[0] == "$alert" else 4):
        yield "an attribute at the wrong level"
    if not payload:
        yield "a zero-length payload deletes"
    if payload.startswith("\ufeff"):
        yield "a byte order mark"
    if levels[-1] == "$state" and payload not in STATES:
        yield f"{payload!r} is no state"


def _document(said: Any) -> Iterator[str]:
    if set(said) - DEVICE:
        yield f"unknown fields {set(said) - DEVICE}"
    if not re.fullmatch(r"5\.[0-9]+", said.get("homie", "")):
        yield "homie must be 5.x"
    if type(said.get("version")) is not int:
        yield "version must be an integer"
    if not isinstance(said.get("name"), str):
        yield "a device has a name"
    for node, each in said.get("nodes", {}).items():
        if not ID.fullmatch(node) or set(each) - NODE:
            yield f"node {node}: {set(each) - NODE}"
        for name, spec in each.get("properties", {}).items():
            yield from (f"{node}/{name}: {fault}" for fault in _property(name, spec))


def _property(name: str, spec: Any) -> Iterator[str]:
    if not ID.fullmatch(name) or set(spec) - PROPERTY:
        yield f"bad id or unknown fields {set(spec) - PROPERTY}"
    if spec.get("datatype") not in DATATYPES:
        yield "datatype is required"
    if any(value is None for value in spec.values()):
        yield "no field may be null"
    for flag in ("settable", "retained"):
        if type(spec.get(flag, True)) is not bool:
            yield f"{flag} must be a boolean"
    if spec.get("datatype") in ("enum", "color"):
        values = spec.get("format", "").split(",")
        if "" in values or len(set(values)) != len(values):
            yield "an enum needs a format of different, not empty values"


def _family(documents: Mapping[str, Any]) -> Iterator[str]:
    for device, said in documents.items():
        for child in said.get("children", []):
            parent = documents.get(child, {}).get("parent", documents.get(child, {}).get("root"))
            if parent != device:
                yield f"{device}: its child {child} does not say so"
        root = said.get("root")
        if root is not None and device not in documents.get(said.get("parent", root), {}).get(
            "children", []
        ):
            yield f"{device}: its parent does not name it"
        if root is not None and "root" in documents.get(root, {"root": ""}):
            yield f"{device}: {root} is no root"


def _values(
    tree: Mapping[str, str], documents: Mapping[str, Any], valueless: frozenset[str]
) -> Iterator[str]:
    expected = {
        f"homie/5/{device}/{node}/{name}": spec
        for device, said in documents.items()
        for node, each in said.get("nodes", {}).items()
        for name, spec in each["properties"].items()
    }
    for topic, spec in expected.items():
        value, retained = tree.get(topic), spec.get("retained", True)
        if value is not None and not retained:
            yield f"{topic}: not retained, and yet in the tree"
        if value is None and retained and topic not in valueless:
            yield f"{topic}: described, without a value"
        if value is not None and not valid(value, spec["datatype"], spec.get("format", "")):
            yield f"{topic}: {value!r} is no {spec['datatype']} {spec.get('format', '')}"
    for topic in tree:
        if "$" not in topic and topic not in expected:
            yield f"{topic}: not described"


def valid(payload: str, datatype: str, form: str) -> bool:
    """Whether a payload is one of its datatype."""
    if datatype == "enum":
        return payload in form.split(",")
    if datatype == "json":
        return isinstance(json.loads(payload), (list, dict))
    if datatype == "boolean":
        return payload in ("true", "false")
    if datatype == "integer":
        return re.fullmatch(r"-?[0-9]+", payload) is not None
    # An empty text is one byte 0, and that byte stands for nothing else.
    return datatype == "string" and (payload == "\0" or (payload != "" and "\0" not in payload))
