"""The words of the plan's messages: problems, times, nearest spellings.

Knows neither files nor the plan's shape. Times in nanoseconds.
"""

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from relayd.core.plan import HOUR, MINUTE, SECOND

MS = SECOND // 1000

Loc = tuple[str | int, ...]
"""A place in the plan: keys, and the number of the entry where there are several."""

_UNITS = {"h": HOUR, "min": MINUTE, "s": SECOND, "ms": MS}
_TIME = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,6})?) ?(ms|s|min|h)")
_LOOSE = re.compile(r"([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*([A-Za-z]+)")
_OTHER_UNITS = {
    "ms": ("msec", "msecs", "millisecond", "milliseconds"),
    "s": ("sec", "secs", "second", "seconds"),
    "min": ("m", "mins", "minute", "minutes"),
    "h": ("hr", "hrs", "hour", "hours"),
}
_LONGEST = 40
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong (or doubtful) at one place of the plan, and what to do about it."""

    loc: Loc
    say: str


def key_of(loc: Loc) -> str:
    """The place as the plan's owner writes it: keys with dots, without the numbers of entries."""
    keys = [each for each in loc if isinstance(each, str)]
    return ".".join(key if _BARE_KEY.fullmatch(key) else quoted(key) for key in keys)


def looks_secret(value: str) -> bool:
    """Whether this looks like an address, which may hold a password, at whatever key it stands."""
    return "://" in value


def quoted(value: str) -> str:
    """The value in quotes on one line, cut where it is long, and not shown if it looks like an address."""
    if looks_secret(value):
        return "this (not shown)"
    clean = "".join(char if char.isprintable() else "?" for char in value)
    return f'"{clean}"' if len(clean) <= _LONGEST else f'"{clean[:_LONGEST]}…"'


def one_of(values: Iterable[str]) -> str:
    """'one of "a", "b", "c"', in the order given."""
    return "one of " + ", ".join(f'"{each}"' for each in values)


def nearest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str | None:
    """The known word that is most like `word`, or None where none is much like it."""
    shapes = {_plain(each): each for each in known}
    if looks_secret(word):
        return None
    found = difflib.get_close_matches(_plain(word[:_LONGEST]), shapes, n=1, cutoff=cutoff)
    return shapes[found[0]] if found else None


def did_you_mean(word: str, known: Iterable[str], mark: str = '"') -> str:
    """'; did you mean "x"?', or nothing where no known word is much like it."""
    near = nearest(word, known)
    return f"; did you mean {mark}{near}{mark}?" if near else ""


def duration(value: object) -> int:
    """Nanoseconds of a text such as "50 ms", "10 s", "3 min" or "2 h". Raises ValueError."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        raise ValueError(
            'is a number without a unit; write it as text with its unit, such as "10 s"'
        )
    if not isinstance(value, str):
        raise ValueError('is not a time; write it as text with its unit, such as "10 s"')
    found = _TIME.fullmatch(value.strip())
    if found is None:
        allowed = 'write a number and ms, s, min or h, such as "10 s"'
        raise ValueError(f"{quoted(value)} is not a time; {allowed}{_meant(value)}")
    return int(Fraction(found[1]) * _UNITS[found[2]])


def spelt(span: int) -> str:
    """A time as the plan writes it, in the largest unit that gives a whole number: '90 s', '2 h'."""
    for unit, size in _UNITS.items():
        if span and span % size == 0:
            return f"{span // size} {unit}"
    return "0 s" if not span else f"{span / MS:.6f}".rstrip("0").rstrip(".") + " ms"


def _plain(word: str) -> str:
    return word.lower().replace("_", "-").replace(" ", "-")


def _meant(value: str) -> str:
    found = _LOOSE.fullmatch(value.strip())
    if found is None:
        return ""
    word = found[2].lower()
    for unit, others in _OTHER_UNITS.items():
        if word == unit or word in others:
            return f'; did you mean "{found[1].replace(",", ".")} {unit}"?'
    return ""
