"""A horn's wire over MQTT: read as strictly as an acknowledgement, with the same ticket."""

import json

import pytest

from relayd.channels.command import HORN_WIRE, Asked, Refused, read
from relayd.channels.tickets import Tickets
from relayd.core.effects import Answer
from relayd.core.events import Commanded, HornWire, Wire
from tests.channels import shown

TICKET = "k3w9xv2p"
GOOD = {"ticket": TICKET, "panel": "cabin", "person": "anna", "wire": "off"}


def _text(**changes: object) -> bytes:
    return json.dumps({**GOOD, **changes}).encode()


def test_a_whole_wish_is_read() -> None:
    wanted = Asked(HornWire("cabin", Wire.OFF), "anna")
    assert read(_text(), False, TICKET, shown.plan(), HORN_WIRE) == wanted


@pytest.mark.parametrize(
    ("payload", "code"),
    [
        (b"true", "not-an-object"),
        (_text(ticket="aaaaaaaa"), "old-ticket"),
        (_text(panel="cellar"), "unknown-panel"),
        (_text(person="carl"), "unknown-person"),
        (_text(wire="on"), "bad-wire"),
        (_text(why="x"), "unknown-key"),
        (_text(occurrence=shown.OCCURRENCE), "unknown-key"),
        (b'{"ticket": "x", "panel": "cabin", "person": "anna"}', "missing-key"),
    ],
)
def test_what_is_not_whole_is_refused(payload: bytes, code: str) -> None:
    found = read(payload, False, TICKET, shown.plan(), HORN_WIRE)
    assert isinstance(found, Refused)
    assert found.code == code


def test_it_takes_the_ticket_once_and_is_answered() -> None:
    tickets = Tickets(shown.plan())
    payload = _text(ticket=tickets.current)
    assert tickets.take(payload, False, HORN_WIRE) == Commanded(
        "mqtt:1", HornWire("cabin", Wire.OFF), "anna", "mqtt"
    )
    assert isinstance(tickets.take(payload, False, HORN_WIRE), Answer)
    body = tickets.body(Answer("mqtt:1", True, "wire-off", "noted"))
    assert (body["panel"], body["wire"], body["person"]) == ("cabin", "off", "anna")
