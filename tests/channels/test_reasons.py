"""Why a broker cannot be used is said in words that tell what to mend, and once per change."""

import ssl

import pytest

from relayd.channels import reasons
from relayd.channels.standing import Standing
from relayd.core.events import ChannelDown, ChannelUp
from relayd.rig import Broker, Secret
from tests.channels.watcher import Posted

BROKER = Broker("broker.example.org", 8883, user="pumphouse", password=Secret("quite-secret"))
REFUSALS = {
    "a wrong password": (
        "bad user name or password",
        "user 'pumphouse'",
        "[mqtt] user and password",
    ),
    "no right": ("not authorized", "user 'pumphouse'", "[mqtt] user and password"),
    "another version": ("unsupported protocol version", "MQTT 5", "[mqtt] version"),
    "something else": ("server busy", "refuses the connection", "server busy"),
}


@pytest.mark.parametrize(("said", "what", "hint"), REFUSALS.values(), ids=REFUSALS)
def test_a_refusal_says_what_to_mend(said: str, what: str, hint: str) -> None:
    why = reasons.refused(said, BROKER)
    assert what in why
    assert hint in why
    assert "quite-secret" not in why


def _certificate(code: int, message: str) -> ssl.SSLCertVerificationError:
    error = ssl.SSLCertVerificationError(1, message)
    error.verify_code, error.verify_message = code, message
    return error


FAILURES = {
    "a certificate that has expired": (_certificate(10, "expired"), "has expired", True),
    "another name": (_certificate(62, "mismatch"), "for another name than broker", True),
    "what nobody foresaw": (_certificate(42, "odd"), "not accepted: odd. Check [mqtt] ca", True),
    "nobody listens": (ConnectionRefusedError(111, "refused"), "is not reached", False),
    "an unknown authority": (
        _certificate(19, "self-signed"),
        "of an authority that is not known here: self-signed. Check [mqtt] ca",
        True,
    ),
    "a clock that is not set": (
        _certificate(9, "not yet valid"),
        "this unit's clock reads 1970-01-01 00:00 UTC: is it set?",
        True,
    ),
}


@pytest.mark.parametrize(("error", "says", "definite"), FAILURES.values(), ids=FAILURES)
def test_a_failure_says_whether_waiting_can_mend_it(
    error: Exception, says: str, definite: bool
) -> None:
    why, found = reasons.not_reached(error, BROKER)
    assert "broker.example.org:8883" in why
    assert (says in why, found) == (True, definite), why


def test_a_way_is_said_to_be_up_or_down_once_per_change() -> None:
    posted = Posted()
    standing = Standing("mqtt", posted)
    standing.down("not reached")
    standing.down("lost")
    standing.down("login refused", definite=True)
    standing.down("login refused", definite=True)
    standing.down("not reached")
    standing.up()
    standing.up()
    standing.down("lost")
    assert posted.events == [
        ChannelDown("mqtt", "not reached"),
        ChannelDown("mqtt", "login refused"),
        ChannelUp("mqtt"),
        ChannelDown("mqtt", "lost"),
    ]
