"""A value against a JSON schema: the plain keywords that all of its drafts share.

In: a value and a schema. Out: what does not fit. A keyword that is not known here, or that cannot be
read, is passed over, as the convention's text asks ('JSON considerations'): patterns, references.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from typing import Any

from relayd.convention.identifiers import shown

DEEPEST = 40


def against(value: Any, schema: object, at: str = "the value", deep: int = 0) -> Iterator[str]:
    """Each place where the value does not fit the schema."""
    if schema is False:
        yield f"{at} is not allowed"
    if not isinstance(schema, dict) or deep > DEEPEST:
        return
    for keyword, check in _PLAIN.items():
        if keyword in schema and not _holds(check, value, schema[keyword]):
            yield f"{at} does not fit {keyword} {shown(json.dumps(schema[keyword]))}"
    yield from _parts(value, schema, at, deep + 1)
    yield from _choices(value, schema, at, deep + 1)


def _parts(value: Any, schema: Mapping[str, Any], at: str, deep: int) -> Iterator[str]:
    if isinstance(value, dict):
        known = schema.get("properties")
        known = known if isinstance(known, dict) else {}
        rest = schema.get("additionalProperties", True)
        for key, each in value.items():
            yield from against(each, known.get(key, rest), shown(key), deep)
    items = schema.get("items")
    if isinstance(value, list) and isinstance(items, dict | bool):
        for number, each in enumerate(value):
            yield from against(each, items, f"{at}[{number}]", deep)


def _choices(value: Any, schema: Mapping[str, Any], at: str, deep: int) -> Iterator[str]:
    for keyword, least, most in (("allOf", -1, -1), ("anyOf", 1, -1), ("oneOf", 1, 1)):
        several = schema.get(keyword)
        if not isinstance(several, list):
            continue
        fit = sum(not [*islice(against(value, each, at, deep), 1)] for each in several)
        wanted = len(several) if least < 0 else least
        if fit < wanted or 0 <= most < fit:
            yield f"{at} fits {fit} of {len(several)} in {keyword}"


def _holds(check: Callable[[Any, Any], bool], value: Any, wanted: Any) -> bool:
    try:
        return check(value, wanted)
    except (TypeError, KeyError):
        return True


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is(value: Any, kind: str) -> bool:
    return {
        "array": isinstance(value, list),
        "boolean": isinstance(value, bool),
        "integer": _number(value) and value == int(value),
        "null": value is None,
        "number": _number(value),
        "object": isinstance(value, dict),
        "string": isinstance(value, str),
    }[kind]


def _typed(value: Any, wanted: Any) -> bool:
    return any(_is(value, each) for each in ([wanted] if isinstance(wanted, str) else wanted))


def _same(value: Any, other: Any) -> bool:
    """Equal as JSON has it: true is no 1."""
    return bool(value == other) and isinstance(value, bool) == isinstance(other, bool)


_PLAIN: Mapping[str, Callable[[Any, Any], bool]] = {
    "type": _typed,
    "enum": lambda value, wanted: any(_same(value, each) for each in wanted),
    "const": _same,
    "minimum": lambda value, wanted: not _number(value) or bool(value >= wanted),
    "maximum": lambda value, wanted: not _number(value) or bool(value <= wanted),
    "minLength": lambda value, wanted: not isinstance(value, str) or len(value) >= wanted,
    "maxLength": lambda value, wanted: not isinstance(value, str) or len(value) <= wanted,
    "minItems": lambda value, wanted: not isinstance(value, list) or len(value) >= wanted,
    "maxItems": lambda value, wanted: not isinstance(value, list) or len(value) <= wanted,
    "required": lambda value, wanted: not isinstance(value, dict) or set(wanted) <= value.keys(),
}
