"""What the core asks for, in the imperative. The daemon does it after the commit, in this order."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Record:
    """Write one line of the journal: what happened or was decided, about which subject, and why."""

    kind: str
    subject: str
    body: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Tell:
    """Hand this send to the sender. `ref` is the notice's outside id; a repeat keeps its ids."""

    send: int
    ref: str
    channel: str
    title: str
    body: str
    priority: str
    """The notice's, or OVER."""
    about: str = ""
    """The occurrence for which the body leaves room for a code; its reader is `person`."""
    person: str = ""


OVER = "over"
"""What is said of an alarm that is over: it wakes nobody, and waits for nothing less urgent."""


@dataclass(frozen=True, slots=True)
class Withdraw:
    """Take a send back if it has not left yet."""

    send: int


@dataclass(frozen=True, slots=True)
class Publish:
    """This subject's branch of the MQTT tree changed."""

    subject: str


@dataclass(frozen=True, slots=True)
class Answer:
    """Answer a command: done, or not and why (`code` is one word, `say` tells what to do)."""

    token: str
    ok: bool
    code: str
    say: str
    body: Mapping[str, object] = field(default_factory=dict)


Effect = Record | Tell | Withdraw | Publish | Answer
