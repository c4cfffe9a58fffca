"""How this unit is wired to the world: lines, addresses, broker. Made by the loader beside the plan.

Addresses and passwords live here and nowhere else; `repr` hides them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a gpiochip. `input` is the plan's full input id; `chip` a label or a /dev path."""

    input: str
    chip: str
    line: int
    closed_when_low: bool = True
    pull: str = "none"
    """`up`, `down` or `none`: the unit's own bias, where the isolated input has none."""


@dataclass(frozen=True, slots=True)
class Secret:
    """A value that must not be seen: `repr` and `str` show stars, `.reveal()` gives it."""

    _value: str = field(repr=False)

    def reveal(self) -> str:
        """The value itself, for the one place that needs it."""
        return self._value

    def __repr__(self) -> str:
        return "Secret(******)"

    __str__ = __repr__


@dataclass(frozen=True, slots=True)
class Broker:
    """An MQTT broker. `version` is '5' or '3.1.1'; TLS where `ca` or `tls` says so."""

    host: str
    port: int = 1883
    version: str = "5"
    user: str = ""
    password: Secret | None = None
    tls: bool = False
    ca: Path | None = None


@dataclass(frozen=True, slots=True)
class Rig:
    """Everything about the unit's surroundings that the core must not know."""

    lines: tuple[Line, ...]
    addresses: Mapping[str, Secret]
    """Channel name -> Apprise address."""
    broker: Broker | None = None
    poll: int = 1_000_000_000
    """Nanoseconds between two polls of all inputs while nothing moves."""
