"""What an exception or a status of a service means for a send. Knows nothing of the library used.

`refused`: the service said no, so that the same again is likely to be refused again.
`failed`: nobody said no; it may even have been taken.
"""

import http
import re
import smtplib
import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from email.utils import parsedate_to_datetime

from relayd.core.events import Outcome

PASSING = frozenset({408, 425, 429})
"""HTTP statuses of the 400s that ask to come again later (RFC 9110, RFC 8470, RFC 6585)."""

LIMITED = frozenset({429, 503})
"""HTTP statuses with which a service says that it has had enough for now (RFC 6585, RFC 9110)."""
LONGEST_WAIT = 86400

_STATUS = re.compile(r"\berror=(\d{3})\b")


@dataclass(frozen=True, slots=True)
class Verdict:
    """How a send ended, and in words why. The words are not redacted yet.

    `again` is after how many seconds the service asked to be tried again; 0 where it did not.
    """

    outcome: Outcome
    detail: str = ""
    again: int = 0


def of_exception(problem: BaseException) -> Verdict:
    """What this exception says about the send during which it was raised."""
    if isinstance(problem, smtplib.SMTPRecipientsRefused):
        code, answer = next(iter(problem.recipients.values()), (0, b""))
        return _mail(code, answer, "recipient not accepted")
    if isinstance(problem, smtplib.SMTPAuthenticationError):
        return _mail(problem.smtp_code, problem.smtp_error, "user or password not accepted")
    if isinstance(problem, smtplib.SMTPResponseException):
        return _mail(problem.smtp_code, problem.smtp_error, "not accepted")
    if isinstance(problem, smtplib.SMTPNotSupportedError):
        return Verdict(Outcome.REFUSED, f"the mail server cannot do this: {problem}")
    return Verdict(Outcome.FAILED, _root_cause(problem))


def of_status(text: str) -> Verdict | None:
    """What the HTTP status in a line of a log ('error=401') says, or None where there is none."""
    found = _STATUS.search(text)
    if found is None:
        return None
    code = int(found[1])
    said_no = 400 <= code < 500 and code not in PASSING
    try:
        phrase = f" {http.HTTPStatus(code).phrase}"
    except ValueError:  # a number of the service's own making
        phrase = ""
    outcome = Outcome.REFUSED if said_no else Outcome.FAILED
    return Verdict(outcome, f"the service answered {code}{phrase}")


def asked_to_wait(status: int, again: str, date: str) -> int:
    """Seconds that an answer asks to wait ('Retry-After', RFC 9110, 10.2.3); 0 where it does not.

    An instant is counted from the service's own `date`, so that no clock here has to be right.
    """
    if status not in LIMITED:
        return 0
    if again.strip().isascii() and again.strip().isdigit():
        return min(int(again), LONGEST_WAIT)
    try:
        span = parsedate_to_datetime(again) - parsedate_to_datetime(date)
    except (TypeError, ValueError):
        return 0
    return max(0, min(int(span.total_seconds()), LONGEST_WAIT))


def _mail(code: int, answer: bytes | str, what: str) -> Verdict:
    """By the reply's first digit: 5 is a lasting no, 4 a passing one (RFC 5321, 4.2.1)."""
    text = answer.decode(errors="replace") if isinstance(answer, bytes) else answer
    outcome = Outcome.REFUSED if 500 <= code < 600 else Outcome.FAILED
    return Verdict(outcome, f"{what}: {code} {text}".rstrip())


def _root_cause(problem: BaseException) -> str:
    """The plainest words in a chain of exceptions: libraries wrap 'Connection refused' four times."""
    words = ""
    for each in _chain(problem):
        if isinstance(each, ssl.SSLCertVerificationError):
            return f"certificate not accepted: {each.verify_message}"
        if isinstance(each, OSError) and each.strerror:
            words = each.strerror
        elif isinstance(each, TimeoutError):
            words = "timed out"
    return words or f"{type(problem).__name__}: {problem}".removesuffix(": ")


def _chain(problem: BaseException) -> Iterator[BaseException]:
    waiting, seen = [problem], set[int]()
    while waiting:
        each = waiting.pop(0)
        if id(each) in seen:
            continue
        seen.add(id(each))
        yield each
        inner = (getattr(each, "reason", None), *each.args, each.__cause__, each.__context__)
        waiting.extend(one for one in inner if isinstance(one, BaseException))
