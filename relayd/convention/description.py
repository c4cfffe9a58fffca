"""The description of one device (sections 'Device Attributes', 'Node Attributes', 'Property
Attributes').

In: the text of a `$description`. Out: what is wrong with it, and the parts that can be used.
Knows nothing of other devices and of values.
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from relayd.convention import formats
from relayd.convention.identifiers import is_id, shown
from relayd.convention.rules import Finding, broken

DATATYPES = (
    "integer",
    "float",
    "boolean",
    "string",
    "enum",
    "color",
    "datetime",
    "duration",
    "json",
)
OBJECT, TEXT, INTEGER, BOOLEAN, TEXTS = "an object", "text", "an integer", "true or false", "texts"
DEVICE_FIELDS = {
    "homie": TEXT,
    "version": INTEGER,
    "nodes": OBJECT,
    "name": TEXT,
    "type": TEXT,
    "children": TEXTS,
    "root": TEXT,
    "parent": TEXT,
    "extensions": TEXTS,
}
NODE_FIELDS = {"name": TEXT, "type": TEXT, "properties": OBJECT}
PROPERTY_FIELDS = {
    "name": TEXT,
    "datatype": TEXT,
    "format": TEXT,
    "settable": BOOLEAN,
    "retained": BOOLEAN,
    "unit": TEXT,
}
LOOK_ALIKES = {
    "º": "°",
    "˚": "°",
    "\u2103": "°C",
    "\u2109": "°F",
    "m3": "m³",
    "l": "L",
    "ltr": "L",
}
"""What is written in place of a recommended unit, and the unit (common practice, no source)."""
_VERSION = re.compile(r"5\.[0-9]+")
_EXTENSION = re.compile(r"[a-z0-9-]+(?:\.[a-z0-9-]+){2,}(?::.*)?", re.I)


@dataclass(frozen=True, slots=True)
class Property:
    """One property as it is described."""

    datatype: str
    format: str | None = None
    settable: bool = False
    retained: bool = True


@dataclass(frozen=True, slots=True)
class Described:
    """What the rest of the checks need of a description; of a bad field its default."""

    root: str | None = None
    parent: str | None = None
    children: tuple[str, ...] = ()
    version: int | None = None
    properties: Mapping[str, Property] = field(default_factory=dict)
    """'node/property' -> the property."""


def read(topic: str, text: str) -> tuple[Described | None, list[Finding]]:
    """The description and what is wrong with it; None: it is no JSON object at all."""
    try:
        said = json.loads(text, object_pairs_hook=_once, parse_constant=_none)
    except (ValueError, RecursionError) as error:
        return None, [broken("description-json", topic, f"not readable: {shown(str(error))}")]
    if not isinstance(said, dict):
        return None, [broken("description-json", topic, "no JSON object")]
    found = [broken(rule, topic, wrong) for rule, wrong in _device(said)]
    return _usable(said), found


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"the key {shown(key)} comes twice")
        found[key] = value
    return found


def _none(text: str) -> Any:
    raise ValueError(f"{text} is no JSON")


def _device(said: Mapping[str, Any]) -> Iterator[formats.Fault]:
    yield from _fields(said, DEVICE_FIELDS, ("homie", "version"), "the device")
    homie = said.get("homie")
    if isinstance(homie, str) and not _VERSION.fullmatch(homie):
        yield "homie-version", f'"homie" is {shown(homie)}'
    for each in _texts(said, "extensions"):
        domain = each.partition(":")[0].lower().split(".")
        if not _EXTENSION.fullmatch(each) or "homie" in domain:
            yield "extension", f"{shown(each)} is no name of an extension"
    for name, node in _objects(said, "nodes"):
        if not is_id(name):
            yield "node-id", f"the node {shown(name)}"
        yield from _node(name, node)


def _node(name: str, said: Any) -> Iterator[formats.Fault]:
    about = f"the node {shown(name)}"
    if not isinstance(said, dict):
        yield "field-type", f"{about} is not {OBJECT}"
        return
    yield from _fields(said, NODE_FIELDS, (), about)
    for key, each in _objects(said, "properties"):
        if not is_id(key):
            yield "property-id", f"the property {shown(f'{name}/{key}')}"
        yield from _property(f"the property {shown(f'{name}/{key}')}", each)


def _property(about: str, said: Any) -> Iterator[formats.Fault]:
    if not isinstance(said, dict):
        yield "field-type", f"{about} is not {OBJECT}"
        return
    yield from _fields(said, PROPERTY_FIELDS, ("datatype",), about)
    datatype, form, unit = (said.get(each) for each in ("datatype", "format", "unit"))
    if isinstance(datatype, str):
        if datatype not in DATATYPES:
            yield "datatype", f"{about}: {shown(datatype)} is no datatype"
        elif "format" not in said or isinstance(form, str):
            yield from (
                (rule, f"{about}: {wrong}") for rule, wrong in formats.faults(datatype, form)
            )
    if isinstance(unit, str) and (right := _right_unit(unit)):
        yield "unit", f"{about}: the unit {shown(unit)} is written {shown(right)} in the text"


def _right_unit(unit: str) -> str | None:
    if unit in LOOK_ALIKES:
        return LOOK_ALIKES[unit]
    first = LOOK_ALIKES.get(unit[:1]) if unit[1:] in ("C", "F") else None
    return first + unit[1:] if first else None


def _fields(
    said: Mapping[str, Any], known: Mapping[str, str], needed: tuple[str, ...], about: str
) -> Iterator[formats.Fault]:
    for each in needed:
        if each not in said:
            yield "field-missing", f"{about} has no field {each!r}"
    for key, value in said.items():
        if key not in known:
            yield "field-unknown", f"{about} has a field {shown(key)}"
        elif not _is(value, known[key]):
            yield "field-type", f"{about}: the field {key!r} is not {known[key]}"


def _is(value: Any, kind: str) -> bool:
    if kind == TEXTS:
        return isinstance(value, list) and all(isinstance(each, str) for each in value)
    types = {OBJECT: dict, TEXT: str, INTEGER: int, BOOLEAN: bool}
    return isinstance(value, types[kind]) and (kind != INTEGER or not isinstance(value, bool))


def _objects(said: Any, key: str) -> list[tuple[str, Any]]:
    found = said.get(key) if isinstance(said, dict) else None
    return [*found.items()] if isinstance(found, dict) else []


def _texts(said: Mapping[str, Any], key: str) -> tuple[str, ...]:
    found = said.get(key)
    return tuple(found) if _is(found, TEXTS) and found else ()


def _usable(said: Mapping[str, Any]) -> Described:
    root, parent, version = (said.get(each) for each in ("root", "parent", "version"))
    properties = {
        f"{node}/{name}": _spec(each)
        for node, about in _objects(said, "nodes")
        for name, each in _objects(about, "properties")
        if isinstance(each, dict)
    }
    return Described(
        root if isinstance(root, str) else None,
        parent if isinstance(parent, str) else None,
        _texts(said, "children"),
        version if _is(version, INTEGER) else None,
        properties,
    )


def _spec(said: Mapping[str, Any]) -> Property:
    datatype, form = said.get("datatype"), said.get("format")
    settable, retained = said.get("settable", False), said.get("retained", True)
    return Property(
        datatype if isinstance(datatype, str) else "",
        form if isinstance(form, str) else None,
        settable is True,
        retained is not False,
    )
