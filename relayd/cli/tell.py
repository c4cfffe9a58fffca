"""Reads what the daemon tells without trusting its shape: a missing key is a blank, not an error."""

from collections.abc import Mapping

Told = Mapping[str, object]


def text(told: Told, key: str) -> str:
    """The value as text; '' where it is missing or null."""
    value = told.get(key)
    return "" if value is None else str(value)


def part(told: Told, key: str) -> Told:
    """The object under that key; an empty one where there is none."""
    value = told.get(key)
    return value if isinstance(value, Mapping) else {}


def parts(told: Told, key: str) -> list[Told]:
    """The objects in the list under that key."""
    value = told.get(key)
    return [each for each in value if isinstance(each, Mapping)] if isinstance(value, list) else []


def names(told: Told, key: str) -> str:
    """The list under that key, as 'Anna, Bert'; '' where there is none."""
    value = told.get(key)
    return ", ".join(str(each) for each in value) if isinstance(value, list | tuple) else ""


def number(told: Told, key: str) -> int | None:
    """The whole number under that key, or None."""
    value = told.get(key)
    return value if isinstance(value, int) and not isinstance(value, bool) else None
