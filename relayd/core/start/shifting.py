"""Remembered times, moved into another boot's time.

In: any remembered value, by how much. Out: the same value with every boot time in it moved. Which
fields are boot times stands in one table; a test holds that every field that may hold a number is
in it or named as none. Knows nothing of clocks: restart.py tells by how much.
"""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

from relayd.core.state import (
    Alarm,
    Away,
    Belief,
    Call,
    Horn,
    LooseEnd,
    Mark,
    Named,
    Notice,
    PumpLog,
    Send,
    Stamp,
    Subject,
    Take,
    Tally,
    Visit,
)

T = TypeVar("T")

TIMES: dict[type, frozenset[str]] = {
    Stamp: frozenset({"up"}),
    Belief: frozenset({"alarm_edge", "normal_edge", "circuit_edge", "circuit_back", "looked"}),
    Call: frozenset({"began", "due"}),
    Take: frozenset({"until"}),
    Mark: frozenset({"until"}),
    Alarm: frozenset({"seen", "realarm", "update", "rise", "raises", "chattering"})
    | {"held", "morning"},
    Horn: frozenset({"watch", "trial", "judge", "driven", "undriven", "sound", "hushed", "noise"})
    | {"pressed", "settled", "asked_due", "asking", "breaker_due"},
    LooseEnd: frozenset({"due"}),
    Visit: frozenset({"until"}),
    Away: frozenset({"until"}),
    PumpLog: frozenset({"running", "starts", "ended"}),
    Subject: frozenset({"raises", "day", "burst", "called", "promised", "wells"}),
    Tally: frozenset(),
    Notice: frozenset(),
    Named: frozenset(),
    Send: frozenset({"due"}),
}
"""Fields that hold boot times: a number, several, or one by a name."""
NO_TIMES: dict[type, frozenset[str]] = {
    Stamp: frozenset({"wall"}),
    Call: frozenset({"step", "round"}),
    Take: frozenset({"until_wall"}),
    Mark: frozenset({"until_wall"}),
    Alarm: frozenset({"occurrence", "mornings"}),
    Horn: frozenset({"asked_of"}),
    LooseEnd: frozenset({"reminded"}),
    Notice: frozenset({"id", "occurrence"}),
    Send: frozenset({"id", "tries"}),
    Visit: frozenset({"until_wall", "passed"}),
    Away: frozenset({"until_wall"}),
    PumpLog: frozenset({"gaps", "runs", "week", "row"}),
    Tally: frozenset({"starts", "cycles", "ran", "day", "day_starts", "day_cycles", "day_ran"}),
}
"""Fields that hold numbers of another kind: counts, durations, UTC."""


def moved(value: T, shift: int) -> T:
    """The value with every boot time in it later by `shift` nanoseconds."""
    if isinstance(value, Mapping):
        return {key: moved(each, shift) for key, each in value.items()}  # type: ignore[return-value]
    if isinstance(value, tuple):
        return tuple(moved(each, shift) for each in value)  # type: ignore[return-value]
    if not is_dataclass(value) or isinstance(value, type):
        return value
    times = TIMES[type(value)]
    changes = {
        each.name: _later(old, shift) if each.name in times else moved(old, shift)
        for each in fields(value)
        if (old := getattr(value, each.name)) is not None
    }
    return replace(value, **changes)


def _later(value: object, shift: int) -> object:
    if isinstance(value, Mapping):
        return {key: each + shift for key, each in value.items()}
    if isinstance(value, tuple):
        return tuple(each + shift for each in value)
    return value + shift  # type: ignore[operator]
