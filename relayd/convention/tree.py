"""What a broker holds for a domain, checked as one whole.

In: the retained topics and their payloads. Out: findings. Knows nothing of the order of things.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from relayd.convention import description, family, payloads
from relayd.convention.description import Described, Property
from relayd.convention.identifiers import shown
from relayd.convention.rules import Finding, broken
from relayd.convention.topics import Place, What, place

STATES = ("init", "ready", "disconnected", "sleeping", "lost")
MARK = b"\xef\xbb\xbf"
LIVE_ONLY = {
    What.SET: "set-retained",
    What.LOG: "log-retained",
    What.BROADCAST: "broadcast-retained",
}


@dataclass(slots=True)
class Device:
    """What was found of one device."""

    base: str
    state: str | None = None
    description: Described | None = None
    has_description: bool = False
    values: dict[str, str] = field(default_factory=dict)
    targets: dict[str, str] = field(default_factory=dict)


def check_tree(
    retained: Mapping[str, bytes], later: Iterable[str] = (), whole: bool = True
) -> list[Finding]:
    """Every breach in a retained tree. `later`: topics whose value is still to come; `whole`
    False: what is missing is not asked for, as in a part of a tree."""
    found: list[Finding] = []
    devices: dict[str, Device] = {}
    for topic, payload in retained.items():
        where, wrong = place(topic)
        found += [broken(rule, topic, each) for rule, each in wrong]
        text, faults = decoded(payload)
        found += [broken(rule, topic, each) for rule, each in faults]
        if where is not None and text is not None:
            found += _one(where, topic, text, devices)
    for each in devices.values():
        found += _device(each, frozenset(later), whole)
    return [*found, *_families(devices)] if whole else found


def check_will(
    topic: str, payload: bytes, retain: bool, retained: Mapping[str, bytes]
) -> list[Finding]:
    """Whether a last will is the one that the text asks for, beside the tree of its connection."""
    where, _ = place(topic)
    if where is None or where.what != What.STATE or payload != b"lost" or not retain:
        return [broken("will", topic, f"the will is {shown(payload.decode(errors='replace'))}")]
    text, _ = decoded(retained.get(f"{where.base}/$description", b""))
    said, _ = description.read(topic, text or "")
    if said is None or said.root is not None:
        return [broken("will", topic, "the device of the will is no root device")]
    return []


def decoded(payload: bytes) -> tuple[str | None, list[tuple[str, str]]]:
    """The text of a payload, and what is wrong with its bytes."""
    if not payload:
        return None, [("empty-payload", "a payload of no bytes deletes the topic")]
    wrong = [("bom", "it begins with a byte order mark")] if payload.startswith(MARK) else []
    try:
        return payload.decode("utf-8"), wrong
    except UnicodeDecodeError:
        return None, [*wrong, ("utf-8", "not UTF-8")]


def value_faults(key: str, text: str, said: Property, base: str, what: What) -> Iterator[Finding]:
    """What is wrong with a value, a target or a command."""
    suffix = {What.VALUE: "", What.TARGET: "/$target", What.SET: "/set"}[what]
    for rule, wrong in payloads.faults(text, said.datatype, said.format):
        yield broken(rule, f"{base}/{key}{suffix}", wrong)


def text_faults(where: Place, topic: str, text: str) -> Iterator[Finding]:
    """What is wrong with the text of anything but a value."""
    if text == payloads.EMPTY and where.what not in (What.VALUE, What.TARGET, What.SET):
        yield broken("zero-byte", topic, "the byte 0 stands for an empty text of a property only")
    elif where.what == What.STATE and text not in STATES:
        yield broken("state", topic, f"{shown(text)} is no state")


def _one(where: Place, topic: str, text: str, devices: dict[str, Device]) -> Iterator[Finding]:
    if where.what in LIVE_ONLY:
        yield broken(LIVE_ONLY[where.what], topic, "it is retained")
        return
    yield from text_faults(where, topic, text)
    device = devices.setdefault(where.base, Device(where.base))
    match where.what:
        case What.STATE:
            device.state = text
        case What.DESCRIPTION:
            device.has_description = True
            device.description, wrong = description.read(topic, text)
            yield from wrong
        case What.VALUE:
            device.values[where.key] = text
        case What.TARGET:
            device.targets[where.key] = text


def _device(device: Device, later: frozenset[str], whole: bool) -> Iterator[Finding]:
    if whole and device.state is None:
        yield broken("state-missing", device.base, "topics of a device without $state")
    if whole and not device.has_description:
        yield broken("description-missing", device.base, "no $description")
    if device.description is None:
        return
    known = device.description.properties
    for what, found in ((What.VALUE, device.values), (What.TARGET, device.targets)):
        for key, text in found.items():
            yield from _held(device, key, text, what)
    for key, said in known.items():
        missing = said.retained and key not in device.values
        if whole and missing and f"{device.base}/{key}" not in later:
            yield broken("value-missing", f"{device.base}/{key}", "described, and without a value")
    for key in device.targets.keys() - device.values.keys():
        yield broken("target-missing", f"{device.base}/{key}", "a $target without a value")


def _held(device: Device, key: str, text: str, what: What) -> Iterator[Finding]:
    assert device.description is not None
    said = device.description.properties.get(key)
    if said is None:
        yield broken("undescribed", f"{device.base}/{key}", "a value of no described property")
    elif not said.retained and what == What.VALUE:
        yield broken("event-retained", f"{device.base}/{key}", "it is retained")
    else:
        yield from value_faults(key, text, said, device.base, what)


def _families(devices: Mapping[str, Device]) -> Iterator[Finding]:
    domains = {each.rpartition("/")[0] for each in devices}
    for domain in sorted(domains):
        members = {
            base.rpartition("/")[2]: each.description
            for base, each in devices.items()
            if base.rpartition("/")[0] == domain and each.description is not None
        }
        for device, (rule, wrong) in family.faults(members):
            yield broken(rule, f"{domain}/{device}", wrong)
