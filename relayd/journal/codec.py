"""Frozen dataclasses to compact JSON and back, by their own type hints. Knows no table and no file.

The shape may only grow: a field this version does not know is ignored, a field that is missing
gets its default. So that a changed default can never change an old row, every field is written
but those that hold nothing (None, "", an empty collection) where nothing is also their default.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

from relayd.errors import RelaydError

T = TypeVar("T")
Convert = Callable[[Any], Any]


class JournalDamaged(RelaydError):
    """Something in the journal cannot be read; the text says which subject and which field."""


class Misfit(Exception):
    """A stored value does not fit its type; every level on the way out adds its own name."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why
        self.path: list[str] = []

    def inside(self, name: object) -> "Misfit":
        """The same misfit, seen from one level further out."""
        self.path.append(str(name))
        return self


@dataclass(frozen=True, slots=True)
class Both:
    """How values of one type are written (None: as they are) and read."""

    write: Convert | None
    read: Convert


@dataclass(frozen=True, slots=True)
class Part:
    """One field of a dataclass: `spare` = not written while it holds nothing."""

    name: str
    both: Both
    needed: bool
    spare: bool


def encode(value: Any) -> str:
    """One dataclass value as compact ASCII JSON. Raises TypeError for a field type it does not know."""
    return compact(written(value))


def decode(cls: type[T], text: str, name: str = "") -> T:
    """The value of that class. Raises JournalDamaged with `name`, the field and what is wrong."""
    return fit(cls, parse(text, name or cls.__name__), name)


def fit(cls: type[T], stored: object, name: str = "") -> T:
    """The value of that class out of parsed JSON; raises as `decode` does."""
    try:
        return cast(T, both(cast(Any, cls)).read(stored))
    except Misfit as misfit:
        where = ".".join(reversed(misfit.path)) or "the whole"
        raise JournalDamaged(f"{name or cls.__name__}: {where}: {misfit.why}") from misfit


def parse(text: object, name: str) -> Any:
    """Parsed JSON. Raises JournalDamaged with `name`."""
    try:
        return json.loads(cast(str, text))
    except (ValueError, TypeError, RecursionError) as error:
        raise JournalDamaged(f"{name}: the whole: not JSON ({error})") from error


def written(value: Any) -> Any:
    """One dataclass value as what `json` can write."""
    write = both(cast(Any, type(value))).write
    return write(value) if write else value


def compact(value: object) -> str:
    """Any JSON value on one line of ASCII; what JSON does not know is written as its text."""
    return json.dumps(value, separators=(",", ":"), default=str)


@cache
def both(hint: Any) -> Both:
    """How values of this type are written and read; worked out once for each type."""
    if hint in PLAIN:
        return Both(None, PLAIN[hint])
    origin = get_origin(hint)
    if origin in (Union, UnionType):
        return optional(hint)
    if origin is tuple:
        return tuple_of(hint)
    if origin is not None and issubclass(origin, Mapping):
        return mapping_of(*get_args(hint))
    if isinstance(hint, type) and issubclass(hint, Enum):
        return enum_of(hint)
    if isinstance(hint, type) and is_dataclass(hint):
        return dataclass_of(hint)
    raise TypeError(f"the journal cannot keep a {hint}")


def exactly(wanted: type, words: str) -> Convert:
    """Reads a value of that very type (a bool is no integer)."""

    def read(value: Any) -> Any:
        if type(value) is not wanted:
            raise Misfit(f"{words} was expected, not {value!r:.60}")
        return value

    return read


def number(value: Any) -> float:
    """Reads a float, which JSON may have written as an integer."""
    if type(value) not in (int, float):
        raise Misfit(f"a number was expected, not {value!r:.60}")
    return float(value)


PLAIN: dict[Any, Convert] = {
    str: exactly(str, "a text"),
    int: exactly(int, "an integer"),
    bool: exactly(bool, "true or false"),
    float: number,
}


def optional(hint: Any) -> Both:
    """X | None; a choice between two real types is refused, because reading it would be guessing."""
    rest = [each for each in get_args(hint) if each is not NoneType]
    if len(rest) != 1 or len(get_args(hint)) != 2:
        raise TypeError(f"the journal cannot keep a {hint}: which one would a stored value be?")
    inner = both(rest[0])
    write = inner.write

    def write_it(value: Any) -> Any:
        return None if value is None or write is None else write(value)

    def read_it(value: Any) -> Any:
        return None if value is None else inner.read(value)

    return Both(None if write is None else write_it, read_it)


def tuple_of(hint: Any) -> Both:
    """tuple[X, ...] as a JSON list."""
    args = get_args(hint)
    if len(args) != 2 or args[1] is not Ellipsis:
        raise TypeError(f"the journal cannot keep a {hint}: only tuple[X, ...]")
    inner = both(args[0])
    write = inner.write
    a_list = exactly(list, "a list")

    def read_it(value: Any) -> Any:
        return tuple(read_at(inner.read, place, each) for place, each in enumerate(a_list(value)))

    return Both(list if write is None else lambda value: [write(each) for each in value], read_it)


def mapping_of(key: Any, item: Any) -> Both:
    """Mapping[str, X] or Mapping[int, X] as a JSON object."""
    if key not in (str, int):
        raise TypeError(f"the journal cannot keep a mapping from {key}")
    inner = both(item)
    write = inner.write or same
    an_object = exactly(dict, "an object")
    read_key = same if key is str else whole

    def write_it(value: Any) -> Any:
        return {str(name): write(each) for name, each in value.items()}

    def read_it(value: Any) -> Any:
        return {read_key(k): read_at(inner.read, k, v) for k, v in an_object(value).items()}

    return Both(write_it, read_it)


def enum_of(cls: type[Enum]) -> Both:
    """An enum by its value."""
    members = {each.value: each for each in cls}

    def read_it(value: Any) -> Any:
        if not isinstance(value, str | int) or value not in members:
            raise Misfit(f"{cls.__name__} has no {value!r:.60}")
        return members[value]

    return Both(lambda value: value.value, read_it)


def dataclass_of(cls: type) -> Both:
    """A dataclass as a JSON object, field by field."""
    hints = get_type_hints(cls)
    parts = tuple(part_of(each, hints[each.name]) for each in fields(cls))
    an_object = exactly(dict, "an object")

    def write_it(value: Any) -> Any:
        out = {}
        for part in parts:
            held = getattr(value, part.name)
            if part.spare and holds_nothing(held):
                continue
            out[part.name] = held if part.both.write is None else part.both.write(held)
        return out

    def read_it(value: Any) -> Any:
        stored = an_object(value)
        given = {}
        for part in parts:
            if part.name in stored:
                given[part.name] = read_at(part.both.read, part.name, stored[part.name])
            elif part.needed:
                raise Misfit("is missing").inside(part.name)
        return cls(**given)

    return Both(write_it, read_it)


def part_of(each: Field[Any], hint: Any) -> Part:
    """What the codec knows of one field."""
    default = each.default
    if each.default_factory is not MISSING:
        default = each.default_factory()
    needed = default is MISSING
    return Part(each.name, both(hint), needed, not needed and holds_nothing(default))


def holds_nothing(value: Any) -> bool:
    """Whether that is None, an empty text or an empty collection (False and 0 are something)."""
    return value is None or (isinstance(value, str | tuple | Mapping) and not value)


def read_at(read: Convert, name: object, value: Any) -> Any:
    """Read one part; a misfit inside learns the part's name."""
    try:
        return read(value)
    except Misfit as misfit:
        raise misfit.inside(name) from misfit


def whole(text: str) -> int:
    """A mapping's integer key, which JSON keeps as text."""
    try:
        return int(text)
    except ValueError as error:
        raise Misfit("an integer key was expected").inside(text) from error


def same(value: Any) -> Any:
    """The value as it is."""
    return value
