"""What a property's format says (section 'Formats').

In: a datatype and its format. Out: what is wrong with it, or its parts. Knows nothing of topics.
"""

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from relayd.convention.identifiers import shown

INTEGER = re.compile(r"-?[0-9]+")
FLOAT = re.compile(r"-?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE]-?[0-9]+)?")
COLORS: Mapping[str, tuple[int, ...]] = {
    "rgb": (255, 255, 255),
    "hsv": (360, 100, 100),
    "xyz": (1, 1),
}
"""A color's type -> the greatest value of each of its numbers; the least is 0."""
NEEDED = ("enum", "color")
LOWEST, HIGHEST = -(2**63), 2**63 - 1
LONGEST = 4000
"""Digits of an integer that are read at all; zeros before a number are allowed."""

Fault = tuple[str, str]
"""A rule, and what is wrong."""


@dataclass(frozen=True, slots=True)
class Span:
    """The parts of a number's format; None: open, or no step."""

    low: Fraction | None = None
    high: Fraction | None = None
    step: Fraction | None = None


def faults(datatype: str, form: str | None) -> Iterator[Fault]:
    """What is wrong with the format of a property of that datatype; None: it has none."""
    if form is None:
        if datatype in NEEDED:
            yield "format-missing", f"a property of datatype {datatype} has no format"
        return
    check = _CHECKS.get(datatype)
    if check is None:
        yield "format-undefined", f"a format {shown(form)} with the datatype {datatype}"
    else:
        yield from check(form)


def span(datatype: str, form: str | None) -> Span | None:
    """The format of a number, or None where it cannot be read."""
    parts = (form or ":").split(":")
    if len(parts) not in (2, 3) or (len(parts) == 3 and not parts[2]):
        return None
    numbers = [number(each, datatype) if each else None for each in parts]
    if any(each and found is None for each, found in zip(parts, numbers, strict=True)):
        return None
    return Span(*numbers)


def number(text: str, datatype: str) -> Fraction | None:
    """The number as the text of an integer or a float writes it, within 64 bits; None: it is none."""
    if datatype == "integer":
        whole = INTEGER.fullmatch(text) is not None and len(text) <= LONGEST
        return Fraction(int(text)) if whole and LOWEST <= int(text) <= HIGHEST else None
    if not FLOAT.fullmatch(text):
        return None
    value = float(text)
    lost = value == 0 and any(each in "123456789" for each in re.split("[eE]", text)[0])
    return None if math.isinf(value) or lost else Fraction(value)


def schema(form: str | None) -> object:
    """The JSON schema of a format; the text's own where it is missing or cannot be read."""
    usual = {"anyOf": [{"type": "array"}, {"type": "object"}]}
    if form is None:
        return usual
    try:
        found: object = json.loads(form)
    except (ValueError, RecursionError):
        return usual
    return found if isinstance(found, dict | bool) else usual


def _number(datatype: str) -> Callable[[str], Iterator[Fault]]:
    def check(form: str) -> Iterator[Fault]:
        found = span(datatype, form)
        if found is None:
            yield "format-number", f"{shown(form)} is no format of datatype {datatype}"
        elif found.step is not None and found.step <= 0:
            yield "format-number", f"the step in {shown(form)} is not above 0"
        elif found.low is not None and found.high is not None and found.low > found.high:
            # Common practice, no source: such a format allows no value at all.
            yield "format-number", f"the minimum in {shown(form)} is above the maximum"

    return check


def _enum(form: str) -> Iterator[Fault]:
    yield from _values(form, "format-enum")


def _color(form: str) -> Iterator[Fault]:
    values = form.split(",")
    if set(values) - COLORS.keys() or len(set(values)) != len(values):
        yield "format-color", f"{shown(form)} is no list of color types"


def _boolean(form: str) -> Iterator[Fault]:
    if len(form.split(",")) != 2:
        yield "format-boolean", f"{shown(form)} does not have two labels"
    else:
        yield from _values(form, "format-boolean")


def _values(form: str, rule: str) -> Iterator[Fault]:
    values = form.split(",")
    if "" in values:
        yield rule, f"a value in {shown(form)} is empty"
    elif len(set(values)) != len(values):
        yield rule, f"a value in {shown(form)} comes twice"


def _json(form: str) -> Iterator[Fault]:
    try:
        found = json.loads(form)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict | bool):
        yield "format-json", f"{shown(form)} is no JSON schema"


_CHECKS: Mapping[str, Callable[[str], Iterator[Fault]]] = {
    "integer": _number("integer"),
    "float": _number("float"),
    "enum": _enum,
    "color": _color,
    "boolean": _boolean,
    "json": _json,
}
