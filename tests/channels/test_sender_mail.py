"""A real mail server: login, TLS with an authority of our own, and delivery."""

from collections.abc import Iterator

import pytest

from relayd.channels.post import COMMAND
from relayd.core.events import Outcome
from tests.channels.posted import Running, posting, send
from tests.servers.mail import MailServer, exim

FAILED, REFUSED, TAKEN = Outcome.FAILED, Outcome.REFUSED, Outcome.TAKEN
SECRET = "h0rn-wire-77"

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(exim() is None, reason="no Exim here (Debian: exim4-daemon-light)"),
]


@pytest.fixture(scope="module")
def mail() -> Iterator[MailServer]:
    with MailServer() as running:
        yield running


@pytest.fixture(scope="module")
def sender(mail: MailServer) -> Iterator[Running]:
    addresses = {
        "anna": mail.address(),
        "gone": mail.address("gone"),
        "busy": mail.address("busy"),
        "login": mail.address(password=SECRET),
        "name": mail.address(host="127.0.0.1"),
    }
    trusting = ["env", f"SSL_CERT_FILE={mail.ca}", *COMMAND]
    with posting(addresses, command=trusting) as running:
        yield running


def test_a_message_is_delivered(sender: Running, mail: MailServer) -> None:
    assert send(sender, "anna", "Hoher Stand Küche") == (TAKEN, "")
    (raw,) = [each for each in mail.raw() if b"K=C3=BCche" in each]
    assert raw.isascii()
    assert b"with esmtpsa" in raw
    assert b"\nSubject: =?utf-8?q?Hoher_Stand_K=C3=BCche?=\n" in raw


@pytest.mark.parametrize(
    ("channel", "outcome", "words"),
    [
        ("login", REFUSED, "user or password not accepted: 535 Incorrect authentication data"),
        ("gone", REFUSED, "recipient not accepted: 550 no such person here"),
        ("busy", FAILED, "recipient not accepted: 451 try again later"),
        (
            "name",
            FAILED,
            "certificate not accepted: IP address mismatch, certificate is not valid for '***'.",
        ),
    ],
)
def test_a_no_is_explained(sender: Running, channel: str, outcome: Outcome, words: str) -> None:
    assert send(sender, channel) == (outcome, words)


def test_a_certificate_of_an_unknown_authority_is_not_accepted(mail: MailServer) -> None:
    delivered = len(mail.raw())
    with posting({"anna": mail.address()}) as running:
        outcome, words = send(running, "anna")
    assert outcome is FAILED
    assert words.startswith("certificate not accepted: unable to get local issuer")
    assert len(mail.raw()) == delivered
