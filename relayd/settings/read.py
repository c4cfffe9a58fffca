"""From the parsed text to tables, with a problem in plain words for each value that is refused.

In: what the TOML parser gave. Out: the tables with a gap (None) where a value was refused, and
the problems. No message holds a value of a key that may be a secret.
"""

import copy
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource

from relayd.settings.schema import FREE, SINGLE, TABLES, PlanTable, keys, means_of
from relayd.words import Loc, Problem, did_you_mean

ROUNDS = 10
"""Mending a table can show the next mistake inside it; the tables are three deep."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The tables, what is wrong with them, and which places are gaps."""

    plan: PlanTable
    problems: tuple[Problem, ...]
    gaps: frozenset[Loc]

    def is_gap(self, loc: Loc) -> bool:
        """Whether that place, or a table around it, was refused already."""
        return _inside(loc, self.gaps)


class _Parsed(PydanticBaseSettingsSource):
    """The parsed text as the only source of the settings."""

    def __init__(self, kind: type[BaseSettings], data: dict[str, Any]) -> None:
        super().__init__(kind)
        self._data = data

    def get_field_value(self, field: FieldInfo, field_name: str) -> tuple[Any, str, bool]:
        return self._data.get(field_name), field_name, False

    def __call__(self) -> dict[str, Any]:
        return self._data


def read(data: Mapping[str, object]) -> Reading:
    """The tables of a parsed text; never raises for what the text says."""
    left: dict[str, Any] = copy.deepcopy(dict(data))
    problems: list[Problem] = []
    gaps: set[Loc] = set()
    for _ in range(ROUNDS):
        try:
            return Reading(_tables(left), tuple(problems), frozenset(gaps))
        except ValidationError as refused:
            for error in refused.errors(include_input=False, include_url=False):
                loc = error["loc"]
                if not _inside(loc, gaps):
                    problems.append(Problem(loc, _say(error)))
                gaps.add(loc)
                _mend(left, error)
    raise AssertionError("a refused value was not replaced by a gap")


def _tables(data: dict[str, Any]) -> PlanTable:
    class Text(PlanTable):
        @classmethod
        def settings_customise_sources(
            cls, settings_cls: type[BaseSettings], *_: object, **__: object
        ) -> tuple[PydanticBaseSettingsSource, ...]:
            return (_Parsed(settings_cls, data),)

    no_arguments: dict[str, Any] = {}
    return Text(**no_arguments)


def _inside(loc: Loc, places: set[Loc] | frozenset[Loc]) -> bool:
    return any(loc[:length] in places for length in range(1, len(loc) + 1))


def _mend(data: Any, error: ErrorDetails) -> None:
    """Put a gap where the refused value stands (an empty table for an entry that is no table)."""
    *way, last = error["loc"]
    for key in way:
        data = data[key]
    if error["type"] == "extra_forbidden":
        del data[last]
    elif isinstance(last, int) and error["type"].startswith("model"):
        data[last] = {}
    else:
        data[last] = None


def _say(error: ErrorDetails) -> str:
    loc, kind = error["loc"], error["type"]
    if kind == "extra_forbidden":
        return _unknown(loc)
    if kind == "missing":
        return f"is missing; {means_of(_table(loc[:-1]), str(loc[-1]))}"
    if kind == "value_error":
        return str(error.get("ctx", {})["error"])
    return _wrong_shape(loc)


def _wrong_shape(loc: Loc) -> str:
    names = _names(loc)
    if names in TABLES or names in FREE:
        return f"is not written as a table; begin it with {_header(names)}"
    return 'must be a list in brackets, such as ["anna", "ben"]'


def _unknown(loc: Loc) -> str:
    """An unknown key: the nearest one of this table, or the table where it belongs."""
    key, here = str(loc[-1]), _names(loc[:-1])
    known = keys(_table(loc[:-1]))
    homes = [_header(names) for names, table in TABLES.items() if key in keys(table)]
    meant = did_you_mean(key, known, mark="")
    belongs = f"; it belongs to {' or '.join(homes)}" if homes else ""
    what = "there is no such key" if here else "there is no such table"
    return f"{what}; allowed: {', '.join(known)}{belongs or meant}"


def _header(names: tuple[str, ...]) -> str:
    if not names:
        return "the top of the file"
    return f"[{'.'.join(names)}]" if names in SINGLE else f"[[{'.'.join(names)}]]"


def _names(loc: Loc) -> tuple[str, ...]:
    return tuple(each for each in loc if isinstance(each, str))


def _table(loc: Loc) -> type[BaseModel]:
    return TABLES[_names(loc)]
