"""What services and the network answer, and what it means for a send."""

import smtplib
import ssl

import pytest

from relayd.channels.verdict import Verdict, asked_to_wait, of_exception, of_status
from relayd.core.events import Outcome

FAILED, REFUSED = Outcome.FAILED, Outcome.REFUSED


def wrapped(inner: BaseException) -> Exception:
    """As HTTP libraries do it: an exception in the arguments of another."""
    return ConnectionError(RuntimeError("pool of h.example.org", inner))


def untrusted() -> ssl.SSLCertVerificationError:
    problem = ssl.SSLCertVerificationError(1, "long text")
    problem.verify_message = "self-signed certificate"
    return problem


@pytest.mark.parametrize(
    ("problem", "outcome", "words"),
    [
        pytest.param(
            smtplib.SMTPAuthenticationError(535, b"5.7.8 no"),
            REFUSED,
            "user or password not accepted: 535 5.7.8 no",
            id="wrong password",
        ),
        pytest.param(
            smtplib.SMTPAuthenticationError(454, b"later"),
            FAILED,
            "user or password not accepted: 454 later",
            id="login not possible now",
        ),
        pytest.param(
            smtplib.SMTPRecipientsRefused({"a@example.org": (550, b"who?")}),
            REFUSED,
            "recipient not accepted: 550 who?",
            id="recipient unknown",
        ),
        pytest.param(
            smtplib.SMTPRecipientsRefused({}), FAILED, "recipient not accepted: 0", id="nobody"
        ),
        pytest.param(
            smtplib.SMTPDataError(552, "too big"), REFUSED, "not accepted: 552 too big", id="data"
        ),
        pytest.param(
            smtplib.SMTPNotSupportedError("no STARTTLS"),
            REFUSED,
            "the mail server cannot do this: no STARTTLS",
            id="no encryption",
        ),
        pytest.param(
            smtplib.SMTPServerDisconnected("gone"),
            FAILED,
            "SMTPServerDisconnected: gone",
            id="line dropped",
        ),
        pytest.param(
            wrapped(ConnectionRefusedError(111, "Connection refused")),
            FAILED,
            "Connection refused",
            id="refused, wrapped",
        ),
        pytest.param(
            wrapped(untrusted()),
            FAILED,
            "certificate not accepted: self-signed certificate",
            id="certificate",
        ),
        pytest.param(TimeoutError(), FAILED, "timed out", id="time-out"),
        pytest.param(ValueError(), FAILED, "ValueError", id="without words"),
    ],
)
def test_an_exception_is_judged(problem: BaseException, outcome: Outcome, words: str) -> None:
    assert of_exception(problem) == Verdict(outcome, words)


def test_exceptions_that_name_each_other_come_to_an_end() -> None:
    first, second = RuntimeError("first"), RuntimeError("second")
    first.__context__, second.__context__ = second, first
    assert of_exception(first).detail == "RuntimeError: first"


@pytest.mark.parametrize(
    ("code", "outcome", "words"),
    [
        (400, REFUSED, "400 Bad Request"),
        (401, REFUSED, "401 Unauthorized"),
        (404, REFUSED, "404 Not Found"),
        (408, FAILED, "408 Request Timeout"),
        (429, FAILED, "429 Too Many Requests"),
        (500, FAILED, "500 Internal Server Error"),
        (302, FAILED, "302 Found"),
        (499, REFUSED, "499"),
    ],
)
def test_a_status_is_judged(code: int, outcome: Outcome, words: str) -> None:
    expected = Verdict(outcome, f"the service answered {words}")
    assert of_status(f"Failed to send: Something, error={code}.") == expected


def test_a_line_without_a_status_says_nothing() -> None:
    assert of_status("Failed to send, error=none.") is None


DATE = "Sat, 28 Nov 2026 14:00:00 GMT"
ASKED = [
    (429, "30", "", 30),
    (503, " 120 ", "", 120),
    (429, "Sat, 28 Nov 2026 14:02:00 GMT", DATE, 120),
    (429, "Sat, 28 Nov 2026 13:59:00 GMT", DATE, 0),
    (429, "Sat, 28 Nov 2026 14:02:00 GMT", "", 0),
    (429, "Sat, 28 Nov 2026 14:02:00 -0000", DATE, 0),
    (429, "99999999999", "", 86400),
    (429, "", "", 0),
    (429, "soon", "", 0),
    (429, "-5", "", 0),
    (200, "30", "", 0),
    (301, "30", "", 0),
]


@pytest.mark.parametrize(("status", "again", "date", "seconds"), ASKED)
def test_a_service_that_has_had_enough_is_understood_by_its_own_clock(
    status: int, again: str, date: str, seconds: int
) -> None:
    assert asked_to_wait(status, again, date) == seconds
