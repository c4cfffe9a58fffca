"""The heartbeat: one JSON object at `relayd/<unit>/heartbeat`, not retained, made by the loop itself.

In: what the unit knows of itself. Out: text, and back. A loop that hangs makes no heartbeat, which
is the point. A number that is missing is null; keys that a reader does not know are ignored.
"""

import json
from dataclasses import asdict, dataclass, fields
from typing import Any

VERSION = 1
LONGEST = 4096
"""Bytes; a heartbeat that names a hundred peers is shorter."""


@dataclass(frozen=True, slots=True)
class Beat:
    """One sign of life."""

    unit: str
    seq: int
    """Counts from 1 at each start of the program."""
    life: str
    """Drawn anew at each start of the program."""
    boot: str
    """The kernel's id of this boot."""
    up: float = 0.0
    """Seconds since the boot."""
    every: float = 60.0
    """Seconds to the next one at most."""
    plan: str = ""
    """The begin of the plan file's SHA-256."""
    trusted: bool = False
    """Whether the unit's wall clock is to be believed."""
    free: int | None = None
    """MiB left where the journal lies."""
    lag: int = 0
    """Milliseconds by which the loop was late at worst since the heartbeat before."""
    alarms: int = 0
    """Alarms that stand."""
    high: int = 0
    """Those of high priority among them."""
    watches: tuple[str, ...] = ()
    """The units that this one watches."""
    tells: tuple[str, ...] = ()
    """Those of them of whose silence its people have been told."""


def topic(unit: str) -> str:
    """Where that unit's heartbeat comes."""
    return f"relayd/{unit}/heartbeat"


def encoded(beat: Beat) -> str:
    """As it is published."""
    return json.dumps({"v": VERSION, **asdict(beat)}, separators=(",", ":"))


def decoded(payload: bytes) -> Beat:
    """The heartbeat of a payload. Raises ValueError for anything that is none."""
    if len(payload) > LONGEST:
        raise ValueError("too long for a heartbeat")
    try:
        said = json.loads(payload)
    except RecursionError as error:
        raise ValueError("too deep for a heartbeat") from error
    if not isinstance(said, dict) or said.get("v") != VERSION:
        raise ValueError("no heartbeat of this form")
    known = {each.name for each in fields(Beat)}
    return _sound(Beat(**{key: _tuple(value) for key, value in said.items() if key in known}))


def _tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


_TEXTS = ("unit", "life", "boot", "plan")
_COUNTS = ("seq", "lag", "alarms", "high")


def _sound(beat: Beat) -> Beat:
    """The same, if every value is of its kind. Raises ValueError."""
    names = (*beat.watches, *beat.tells) if _are_tuples(beat) else (None,)
    good = (
        all(isinstance(getattr(beat, each), str) for each in _TEXTS)
        and all(type(getattr(beat, each)) is int for each in _COUNTS)
        and all(isinstance(each, str) for each in names)
    )
    if not good:
        raise ValueError("a value of it is not of its kind")
    return beat


def _are_tuples(beat: Beat) -> bool:
    return isinstance(beat.watches, tuple) and isinstance(beat.tells, tuple)
