"""Deliberate breaches in the order of messages, and in their flags: each is found, and said."""

import pytest

from relayd.convention import RULES, Message, check_stream
from tests.convention.samples import HALL, PIT, hall, newer, pit, start
from tests.convention.test_tree import BREACHES

ROOM = f"{HALL}/room"
INIT, READY = Message(f"{HALL}/$state", b"init"), Message(f"{HALL}/$state", b"ready")
CLEARED = b""
FINE: dict[str, list[Message]] = {
    "nothing more": [],
    "new values": [Message(f"{ROOM}/mode", b"on"), Message(f"{ROOM}/name", b"Ann")],
    "an event": [Message(f"{ROOM}/bell", b"true", retain=False, qos=0)],
    "an alert comes and goes": [
        Message(f"{HALL}/$alert/dry", b"It is dry"),
        Message(f"{HALL}/$alert/dry", CLEARED),
    ],
    "a log": [Message(f"{HALL}/$log/warn", b"careful", retain=False)],
    "the same description again": [newer(HALL, hall())],
    "another description in init": [INIT, newer(HALL, hall(), version=4, name="Hall 2"), READY],
    "a version that falls": [INIT, newer(HALL, hall(), version=1, name="Hall 2"), READY],
    "another description after the will": [
        Message(f"{HALL}/$state", b"lost"),
        newer(HALL, hall(), version=4, name="Hall 2"),
        READY,
    ],
    "a command and its target": [
        Message(f"{ROOM}/count/set", b"08", retain=False),
        Message(f"{ROOM}/count/$target", b"08"),
        Message(f"{ROOM}/count", b"8"),
    ],
    "a property is given up": [
        Message(f"{PIT}/$state", b"init"),
        newer(PIT, pit(), version=2, nodes={}),
        Message(f"{PIT}/water/level", CLEARED),
        Message(f"{PIT}/$state", b"ready"),
    ],
    "a device is removed": [
        INIT,
        newer(HALL, hall(), version=4, children=[]),
        READY,
        Message(f"{PIT}/$state", CLEARED),
        Message(f"{PIT}/$description", CLEARED),
        Message(f"{PIT}/water/level", CLEARED),
    ],
}
BREACHES_IN_ORDER: dict[str, tuple[list[Message], str, str]] = {
    "a description while ready": (
        [newer(HALL, hall(), version=4)],
        "description-state",
        "the device is ready",
    ),
    "a description while asleep": (
        [Message(f"{HALL}/$state", b"sleeping"), newer(HALL, hall(), version=4)],
        "description-state",
        "the device is sleeping",
    ),
    "a changed description of the same version": (
        [INIT, newer(HALL, hall(), name="Hall 2"), READY],
        "description-version",
        "still version 3",
    ),
    "ready without the new value": (
        [
            Message(f"{PIT}/$state", b"init"),
            newer(
                PIT, pit(), version=2, nodes={"a": {"properties": {"b": {"datatype": "string"}}}}
            ),
            Message(f"{PIT}/$state", b"ready"),
        ],
        "ready-early",
        "a/b has a value",
    ),
    "ready without a description": (
        [Message("homie/5/barn/$state", b"ready")],
        "ready-early",
        "before there is a description",
    ),
    "a value cleared while ready": (
        [Message(f"{ROOM}/name", CLEARED)],
        "value-cleared",
        "while it is described",
    ),
    "a description cleared before the state": (
        [Message(f"{PIT}/$description", CLEARED)],
        "removal-order",
        "before $state",
    ),
    "a child that comes after its parent names it": (
        [INIT, newer(HALL, hall(), version=4, children=["pit", "barn"]), READY],
        "child-late",
        "'barn'",
    ),
    "a value without the flag": (
        [Message(f"{ROOM}/mode", b"on", False)],
        "not-retained",
        "without",
    ),
    "a state without the flag": (
        [Message(READY.topic, b"ready", False)],
        "not-retained",
        "without",
    ),
    "an alert without the flag": (
        [Message(f"{HALL}/$alert/dry", b"x", False)],
        "not-retained",
        "without",
    ),
    "an event with the flag": ([Message(f"{ROOM}/bell", b"true")], "event-retained", "with the"),
    "an event with QoS 1": (
        [Message(f"{ROOM}/bell", b"true", False, 1)],
        "event-qos",
        "with QoS 1",
    ),
    "a command with the flag": ([Message(f"{ROOM}/mode/set", b"on")], "set-retained", "with the"),
    "a command of an event with QoS 2": (
        [Message(f"{ROOM}/ring/set", b"true", False, 2)],
        "set-qos",
        "with QoS 2",
    ),
    "a command of what cannot be set": (
        [Message(f"{ROOM}/name/set", b"x", False)],
        "set-undescribed",
        "no property",
    ),
    "a command that is no value": ([Message(f"{ROOM}/mode/set", b"up", False)], "enum", "none of"),
    "a log with the flag": ([Message(f"{HALL}/$log/info", b"x")], "log-retained", "with the"),
    "a target that is not what was set": (
        [Message(f"{ROOM}/count/set", b"08", False), Message(f"{ROOM}/count/$target", b"8")],
        "target-echo",
        "'08' was set",
    ),
    "a first target after a value": (
        [Message(f"{ROOM}/mode/$target", b"on")],
        "target-missing",
        "before without",
    ),
    "a value that is none": ([Message(f"{ROOM}/open", b"yes")], "boolean", "neither"),
    "a state that is none": ([Message(f"{HALL}/$state", b"alert")], "state", "no state"),
}


@pytest.mark.parametrize("more", FINE.values(), ids=FINE)
def test_what_keeps_the_order_has_no_finding(more: list[Message]) -> None:
    assert check_stream([*start(), *more]) == []


@pytest.mark.parametrize(
    ("more", "rule", "says"), BREACHES_IN_ORDER.values(), ids=BREACHES_IN_ORDER
)
def test_a_breach_in_the_order_is_found_and_said(more: list[Message], rule: str, says: str) -> None:
    found = check_stream([*start(), *more])
    assert [each.rule for each in found] == [rule]
    assert says in found[0].wrong


def test_flags_that_are_not_the_publishers_are_not_judged() -> None:
    plain = [Message(each.topic, each.payload, False) for each in start()]
    assert check_stream(plain, flags=False) == []


def test_every_rule_has_a_breach_in_these_tables() -> None:
    shown = {rule for _, rule, _ in (*BREACHES.values(), *BREACHES_IN_ORDER.values())}
    # A text of 256 MiB is not made here; the will has a table of its own.
    assert RULES.keys() - shown == {"string", "will"}
