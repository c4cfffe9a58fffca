"""How this unit is wired to the world: lines, addresses, brokers. Made by the loader beside the plan.

Addresses and passwords live here and nowhere else; `repr` hides them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

FIRST = "mqtt"
"""The name of the broker that is written in [mqtt]."""


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
    """An MQTT broker. `version` is '5' or '3.1.1'; TLS where `ca`, `certificate` or `tls` says so."""

    host: str
    port: int = 1883
    version: str = "5"
    user: str = ""
    password: Secret | None = None
    tls: bool = False
    ca: Path | None = None
    name: str = FIRST
    certificate: Path | None = None
    """This unit's own certificate; `key` is the file of the key that fits it."""
    key: Path | None = None
    transport: str = "tcp"
    """`tcp` or `websockets`."""
    path: str = "/mqtt"
    """Where the broker takes websockets."""
    commands: bool = False
    """Whether this broker may bring commands."""
    stream: bool = True
    """Whether this broker is sent the events."""

    @property
    def way(self) -> str:
        """What this way out is called: `mqtt` for the first broker, `mqtt:<name>` for another."""
        return FIRST if self.name == FIRST else f"{FIRST}:{self.name}"

    @property
    def secure(self) -> bool:
        """Whether the connection is encrypted and the broker's certificate is checked."""
        return self.tls or self.ca is not None or self.certificate is not None


@dataclass(frozen=True, slots=True)
class Announcement:
    """A topic of the site's own with its payload; told to a broker at each connection."""

    topic: str
    payload: str
    retain: bool = True
    on: str = FIRST
    """The name of a broker, or `all`."""


@dataclass(frozen=True, slots=True)
class Mailbox:
    """Where answers by mail arrive. `secure`: `tls`, `starttls`, or `none` on this computer alone."""

    host: str
    port: int
    user: str
    password: Secret
    secure: str = "tls"
    ca: Path | None = None
    folder: str = "INBOX"
    senders: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Person -> the addresses from which that person's answers come; any where none is named."""


@dataclass(frozen=True, slots=True)
class Peer:
    """Another unit that is watched: silent after `grace` ns without its heartbeat."""

    id: str
    grace: int


@dataclass(frozen=True, slots=True)
class DeadMan:
    """An address that is visited every `every` ns; `grace` is what the service outside is set to."""

    address: Secret
    every: int = 300_000_000_000
    grace: int = 900_000_000_000
    ca: Path | None = None


@dataclass(frozen=True, slots=True)
class Supervision:
    """How this unit shows that it lives, and whom it watches. Times in nanoseconds."""

    heartbeat: int = 60_000_000_000
    peers: tuple[Peer, ...] = ()
    dead_man: DeadMan | None = None


@dataclass(frozen=True, slots=True)
class Rig:
    """Everything about the unit's surroundings that the core must not know."""

    lines: tuple[Line, ...]
    addresses: Mapping[str, Secret]
    """Channel name -> Apprise address."""
    brokers: tuple[Broker, ...] = ()
    poll: int = 1_000_000_000
    """Nanoseconds between two polls of all inputs while nothing moves."""
    announcements: tuple[Announcement, ...] = ()
    mailbox: Mailbox | None = None
    supervision: Supervision = Supervision()
    keep: int = 5 * 365 * 24 * 3600 * 1_000_000_000
    """Nanoseconds for which records are kept, as long as they fit `keep_size`."""
    keep_size: int = 256 << 20
    """Bytes that the journal may have."""
