"""One message, as a subscriber sees it who asks for the retain flag as it was published."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Message:
    """A publication. `qos` None: not known. A payload of no bytes deletes what was retained."""

    topic: str
    payload: bytes
    retain: bool = True
    qos: int | None = None
