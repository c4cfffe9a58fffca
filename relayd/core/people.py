"""Who is told, over what, in which order and when: the people's part of the plan, frozen.

In: built by the loader. Out: read through plan.py. Times are nanoseconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass

SECOND = 1_000_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who is told. `channels` are names; their addresses live in the rig."""

    id: str
    name: str
    channels: tuple[str, ...]
    phone: str = ""
    responds: bool = False
    qualified: bool = False
    language: str = "en"
    waking: tuple[int, int] = (7 * HOUR, 22 * HOUR)
    """Local time of day (ns) from and until which a medium alarm may reach this person."""
    hours: str = ""
    """The id of this person's working hours; '': the unit's."""
    may: tuple[str, ...] = ("seen", "taken")
    """How this person may acknowledge (words of `Act`)."""


@dataclass(frozen=True, slots=True)
class Hours:
    """Working hours: local times of day (ns) by weekday (0 = Monday), and days without work.

    `holidays` are local days counted from 1970-01-01.
    """

    id: str
    days: Mapping[int, tuple[int, int]]
    holidays: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Turn:
    """One turn of an on-call schedule: from this UTC instant (ns) on, this person."""

    begins: int
    person: str


@dataclass(frozen=True, slots=True)
class OnCall:
    """An on-call schedule, resolved by the loader into turns in their order, for three years."""

    id: str
    turns: tuple[Turn, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One entry of a call list: `after` nanoseconds from the start, these persons are told.

    A name is a person's, or an on-call schedule's: then whoever is on call at that moment.
    """

    after: int
    persons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CallList:
    """In which order people are told; then everybody again every `repeat`, after `slow_after` every `slow`."""

    id: str
    steps: tuple[Step, ...]
    repeat: int = 15 * MINUTE
    slow_after: int = 2 * HOUR
    slow: int = 30 * MINUTE


@dataclass(frozen=True, slots=True)
class Limit:
    """At most `count` messages in `span` nanoseconds over one channel."""

    count: int
    span: int
