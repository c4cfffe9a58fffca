"""What a topic is (sections 'Topic IDs', 'Topology and Structure', 'Alert topic', 'Logging').

In: a topic. Out: its place, or what is wrong. Knows nothing of payloads and descriptions.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from relayd.convention.formats import Fault
from relayd.convention.identifiers import is_id, shown

LEVELS = ("debug", "info", "warn", "error", "fatal")


class What(StrEnum):
    """What a topic holds."""

    STATE = "$state"
    DESCRIPTION = "$description"
    ALERT = "$alert"
    LOG = "$log"
    VALUE = "a value"
    TARGET = "$target"
    SET = "set"
    BROADCAST = "$broadcast"


@dataclass(frozen=True, slots=True)
class Place:
    """A topic that the text knows; `key`: 'node/property', the alert's id, the log's level."""

    domain: str
    device: str
    what: What
    key: str = ""

    @property
    def base(self) -> str:
        """The device's base topic."""
        return f"{self.domain}/5/{self.device}"


def place(topic: str) -> tuple[Place | None, list[Fault]]:
    """Where a topic belongs, and what is wrong with it; None where it belongs nowhere."""
    domain, *rest = topic.split("/")
    if not domain or rest[:1] != ["5"] or len(rest) < 2:
        return None, [("base", f"{shown(topic)} is not below '<domain>/5/'")]
    device, *levels = rest[1:]
    if device == What.BROADCAST:
        return _broadcast(domain, levels)
    wrong = [*_characters([device, *levels])]
    found, more = _below(domain, device, levels)
    return found, wrong + more


def _characters(levels: list[str]) -> Iterator[Fault]:
    for each in levels:
        if not is_id(each) and not (each.startswith("$") and is_id(each[1:])):
            yield "topic-id", f"the level {shown(each)}"


def _broadcast(domain: str, levels: list[str]) -> tuple[Place | None, list[Fault]]:
    wrong = [*_characters(levels)]
    if not levels:
        wrong.append(("broadcast", "no subtopic"))
    return Place(domain, What.BROADCAST, What.BROADCAST, "/".join(levels)), wrong


def _below(domain: str, device: str, levels: list[str]) -> tuple[Place | None, list[Fault]]:
    match levels:
        case [("$state" | "$description") as attribute]:
            return Place(domain, device, What(attribute)), []
        case ["$alert", *ids]:
            return _alert(domain, device, ids)
        case ["$log", *ids]:
            return _log(domain, device, ids)
        case [attribute, *_] if attribute.startswith("$"):
            return None, [("attribute-unknown", f"the attribute {shown(attribute)}")]
        case [node, name, *more]:
            return _property(domain, device, f"{node}/{name}", more)
    return None, [("topic-unknown", "no topic that the text knows")]


def _alert(domain: str, device: str, ids: list[str]) -> tuple[Place | None, list[Fault]]:
    if len(ids) != 1:
        return None, [("alert", "not one level below $alert")]
    wrong = [] if is_id(ids[0]) else [("alert-id", f"the alert {shown(ids[0])}")]
    return Place(domain, device, What.ALERT, ids[0]), wrong


def _log(domain: str, device: str, ids: list[str]) -> tuple[Place | None, list[Fault]]:
    if len(ids) != 1:
        return None, [("log", "not one level below $log")]
    wrong = [] if ids[0] in LEVELS else [("log-level", f"the level {shown(ids[0])}")]
    return Place(domain, device, What.LOG, ids[0]), wrong


def _property(
    domain: str, device: str, key: str, more: list[str]
) -> tuple[Place | None, list[Fault]]:
    match more:
        case []:
            return Place(domain, device, What.VALUE, key), []
        case ["set"]:
            return Place(domain, device, What.SET, key), []
        case ["$target"]:
            return Place(domain, device, What.TARGET, key), []
        case [attribute, *_] if attribute.startswith("$"):
            return None, [("property-attribute", f"the attribute {shown(attribute)}")]
    return None, [("topic-unknown", "more levels than the text knows")]
