"""A record of messages, checked in its order.

In: messages in the order in which they were published. Out: findings. Knows nothing of time.
What the record leaves at a broker in the end is for `check_tree`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from relayd.convention import description, formats
from relayd.convention.description import Described, Property
from relayd.convention.identifiers import shown
from relayd.convention.messages import Message
from relayd.convention.rules import Finding, broken
from relayd.convention.topics import Place, What, place
from relayd.convention.tree import LIVE_ONLY, decoded, text_faults, value_faults

CHANGING = (None, "init", "disconnected", "lost")
"""The states in which a description may change; None: the device does not exist yet."""


@dataclass(slots=True)
class _Device:
    state: str | None = None
    text: str | None = None
    said: Described | None = None
    values: set[str] = field(default_factory=set)
    targets: set[str] = field(default_factory=set)
    commands: dict[str, str] = field(default_factory=dict)


def check_stream(messages: Iterable[Message], flags: bool = True) -> list[Finding]:
    """Every breach in a record; `flags` False: its retain flags are not those of the publisher."""
    known: dict[str, _Device] = {}
    found: list[Finding] = []
    for each in messages:
        where, wrong = place(each.topic)
        found += [broken(rule, each.topic, text) for rule, text in wrong]
        if where is not None:
            found += _message(each, where, known, flags)
    return found


def _message(
    message: Message, where: Place, known: dict[str, _Device], flags: bool
) -> Iterator[Finding]:
    device = known.setdefault(where.base, _Device())
    said = device.said.properties.get(where.key) if device.said is not None else None
    if flags:
        yield from _flags(message, where, said)
    if not message.payload:
        if where.what not in LIVE_ONLY:
            yield from _cleared(message.topic, where, device, said)
            return
    text, faults = decoded(message.payload)
    yield from (broken(rule, message.topic, wrong) for rule, wrong in faults)
    if text is not None:
        yield from text_faults(where, message.topic, text)
        yield from _said(message, where, text, device, known)


def _flags(message: Message, where: Place, said: Property | None) -> Iterator[Finding]:
    topic = message.topic
    event = said is not None and not said.retained
    if where.what in LIVE_ONLY:
        if message.retain:
            yield broken(LIVE_ONLY[where.what], topic, "it is published with the retain flag")
        if where.what == What.SET and event and message.qos not in (None, 0):
            yield broken("set-qos", topic, f"a command with QoS {message.qos}")
    elif event and where.what == What.VALUE:
        if message.retain:
            yield broken("event-retained", topic, "it is published with the retain flag")
        if message.qos not in (None, 0):
            yield broken("event-qos", topic, f"it is published with QoS {message.qos}")
    elif not message.retain:
        yield broken("not-retained", topic, "it is published without the retain flag")


def _cleared(topic: str, where: Place, device: _Device, said: Property | None) -> Iterator[Finding]:
    match where.what:
        case What.STATE:
            device.state = None
        case What.DESCRIPTION:
            if device.state is not None:
                yield broken("removal-order", topic, "$description is cleared before $state")
            device.text = device.said = None
        case What.VALUE:
            device.values.discard(where.key)
            if said is not None and said.retained and device.state == "ready":
                yield broken("value-cleared", topic, "cleared while it is described")
        case What.TARGET:
            device.targets.discard(where.key)


def _said(
    message: Message, where: Place, text: str, device: _Device, known: dict[str, _Device]
) -> Iterator[Finding]:
    match where.what:
        case What.STATE:
            if text == "ready":
                yield from _ready(message.topic, where.base, device)
            device.state = text
        case What.DESCRIPTION:
            yield from _described(message.topic, where, text, device, known)
        case What.VALUE | What.TARGET | What.SET:
            yield from _property(message, where, text, device)


def _ready(topic: str, base: str, device: _Device) -> Iterator[Finding]:
    if device.said is None:
        yield broken("ready-early", topic, "ready before there is a description")
        return
    for key, said in device.said.properties.items():
        if said.retained and key not in device.values:
            yield broken("ready-early", topic, f"ready before {base}/{key} has a value")


def _described(
    topic: str, where: Place, text: str, device: _Device, known: dict[str, _Device]
) -> Iterator[Finding]:
    if text == device.text:
        return
    said, wrong = description.read(topic, text)
    yield from wrong
    if device.state not in CHANGING:
        yield broken("description-state", topic, f"it changes while the device is {device.state}")
    if said is None:
        return
    if device.said is not None and device.said.version == said.version:
        yield broken("description-version", topic, f"changed, and still version {said.version}")
    device.text, device.said = text, said
    for child in said.children:
        other = known.get(f"{where.domain}/5/{child}")
        if other is None or other.said is None:
            yield broken("child-late", topic, f"the child {shown(child)} was not published yet")


def _property(message: Message, where: Place, text: str, device: _Device) -> Iterator[Finding]:
    if device.said is None:
        _keep(where, text, device)
        return
    said = device.said.properties.get(where.key)
    if said is None or (where.what == What.SET and not said.settable):
        rule = "set-undescribed" if where.what == What.SET else "undescribed"
        yield broken(rule, message.topic, "no property of that kind is described")
        return
    yield from value_faults(where.key, text, said, where.base, where.what)
    if where.what == What.TARGET:
        yield from _target(message.topic, where, text, device, said)
    _keep(where, text, device)


def _target(
    topic: str, where: Place, text: str, device: _Device, said: Property
) -> Iterator[Finding]:
    if where.key in device.values and where.key not in device.targets:
        yield broken("target-missing", topic, "values were published before without a $target")
    asked = device.commands.get(where.key)
    if asked is not None and asked != text and _equal(asked, text, said.datatype):
        yield broken("target-echo", topic, f"{shown(asked)} was set, and {shown(text)} came back")


def _equal(one: str, other: str, datatype: str) -> bool:
    """Whether two payloads mean the same number."""
    if datatype not in ("integer", "float"):
        return one.strip() == other.strip()
    first, second = (formats.number(each, datatype) for each in (one, other))
    return first is not None and first == second


def _keep(where: Place, text: str, device: _Device) -> None:
    match where.what:
        case What.VALUE:
            device.values.add(where.key)
        case What.TARGET:
            device.targets.add(where.key)
        case What.SET:
            device.commands[where.key] = text
