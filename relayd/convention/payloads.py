"""Whether a payload is a value of its datatype and format (section 'Payloads').

In: the text of a payload, a datatype, a format. Out: what is wrong. Knows nothing of topics.
"""

import json
import math
import re
from calendar import isleap
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from fractions import Fraction

from relayd.convention import formats
from relayd.convention.formats import Fault
from relayd.convention.identifiers import shown
from relayd.convention.schema import against

LONGEST = 268_435_456
EMPTY = "\0"
"""How an empty text is written: one byte 0."""
_WHOLE = r"\d{4}-\d{2}-\d{2}|\d{8}|\d{4}-W\d{2}-\d|\d{4}W\d{3}|\d{4}-?\d{3}"
_CLOCK = r"\d{2}(?::?\d{2}(?::?\d{2}(?:[.,]\d+)?)?)?(?:Z|[+-]\d{2}(?::?\d{2})?)?"
_MOMENT = re.compile(rf"(?P<date>{_WHOLE})(?:T(?P<clock>{_CLOCK}))?", re.A)
_CLOCK_PARTS = re.compile(
    r"(\d{2}):?(\d{2})?:?(\d{2})?([.,]\d+)?(?:Z|[+-](\d{2}):?(\d{2})?)?", re.A
)
_DURATION = re.compile(r"PT(?=\d)(?:\d+H)?(?:\d+M)?(?:\d+(?:[.,]\d+)?S)?", re.A)


def faults(text: str, datatype: str, form: str | None) -> Iterator[Fault]:
    """What is wrong with a value; nothing for a datatype that is not known."""
    if text == EMPTY:
        if datatype in _CHECKS and datatype != "string":
            yield datatype, f"an empty text is no {datatype}"
        return
    check = _CHECKS.get(datatype)
    if check is not None:
        yield from check(text, form)


def _string(text: str, _form: str | None) -> Iterator[Fault]:
    if len(text) > LONGEST:
        yield "string", f"a text of {len(text)} characters"


def _numbers(datatype: str) -> Callable[[str, str | None], Iterator[Fault]]:
    def check(text: str, form: str | None) -> Iterator[Fault]:
        value = formats.number(text, datatype)
        if value is None:
            yield datatype, f"{shown(text)} is no {datatype} of 64 bits"
        else:
            yield from _within(text, value, datatype, form)

    return check


def _within(text: str, value: Fraction, datatype: str, form: str | None) -> Iterator[Fault]:
    span = formats.span(datatype, form)
    if span is None:
        return
    base = span.low if span.low is not None else span.high
    if span.step and base is not None and _off(value, base, span.step, datatype):
        yield "step", f"{shown(text)} is no step of {form}"
    if (span.low is not None and value < span.low) or (span.high is not None and value > span.high):
        yield "range", f"{shown(text)} is outside {form}"


def _off(value: Fraction, base: Fraction, step: Fraction, datatype: str) -> bool:
    """Whether a value is no step; floats as near as 64 bits tell."""
    steps = (value - base) / step
    away = abs(steps - math.floor(steps + Fraction(1, 2)))
    return away > (Fraction(1, 10**6) if datatype == "float" else 0)


def _boolean(text: str, _form: str | None) -> Iterator[Fault]:
    if text not in ("true", "false"):
        yield "boolean", f"{shown(text)} is neither true nor false"


def _enum(text: str, form: str | None) -> Iterator[Fault]:
    if form is not None and text not in form.split(","):
        yield "enum", f"{shown(text)} is none of {shown(form, 200)}"


def _color(text: str, form: str | None) -> Iterator[Fault]:
    kind, *numbers = text.split(",")
    if kind not in formats.COLORS or (form is not None and kind not in form.split(",")):
        yield "color", f"{shown(text)} begins with no type of {form}"
    elif not _in_ranges(numbers, formats.COLORS[kind]):
        yield "color", f"{shown(text)} has not the numbers of {kind}"


def _in_ranges(numbers: list[str], most: tuple[int, ...]) -> bool:
    if len(numbers) != len(most):
        return False
    values = [formats.number(each, "float") for each in numbers]
    return all(
        each is not None and 0 <= each <= high for each, high in zip(values, most, strict=True)
    )


def _datetime(text: str, _form: str | None) -> Iterator[Fault]:
    found = _MOMENT.fullmatch(text)
    if found is None or not _day(found["date"]) or not _clock(found["clock"]):
        yield "datetime", f"{shown(text)} is no date and time of ISO 8601"


def _day(text: str) -> bool:
    digits = text.replace("-", "")
    if len(digits) == 7 and "W" not in digits:
        return 1 <= int(digits[4:]) <= 365 + isleap(int(digits[:4]))
    try:
        date.fromisoformat(digits)
    except ValueError:
        return False
    return True


def _clock(text: str | None) -> bool:
    """24:00 is the end of a day, and :60 a leap second (ISO 8601, from memory)."""
    if text is None:
        return True
    found = _CLOCK_PARTS.fullmatch(text)
    if found is None:
        return False
    hour, minute, second, zone, zone_minute = (int(found[each] or 0) for each in (1, 2, 3, 5, 6))
    if zone > 23 or zone_minute > 59:
        return False
    return (hour < 24 and minute < 60 and second < 61) or (hour, minute, second) == (24, 0, 0)


def _duration(text: str, _form: str | None) -> Iterator[Fault]:
    if not _DURATION.fullmatch(text):
        yield "duration", f"{shown(text)} is no duration"


def _json(text: str, form: str | None) -> Iterator[Fault]:
    try:
        value = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        yield "json", f"{shown(text)} is no JSON"
        return
    if not isinstance(value, dict | list):
        yield "json", f"{shown(text)} is neither an object nor an array"
        return
    for each in against(value, formats.schema(form)):
        yield "json-schema", each


def _no_constant(text: str) -> object:
    raise ValueError(text)


_CHECKS: Mapping[str, Callable[[str, str | None], Iterator[Fault]]] = {
    "string": _string,
    "integer": _numbers("integer"),
    "float": _numbers("float"),
    "boolean": _boolean,
    "enum": _enum,
    "color": _color,
    "datetime": _datetime,
    "duration": _duration,
    "json": _json,
}
