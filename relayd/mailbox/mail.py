"""What one mail says: who sent it, whether a machine did, which codes it holds, the first own line.

In: the first bytes of a mail, which may be anything. Out: a `Mail` of a few short plain values.
Runs in a child with limits (parsing.py): it may fail or never end. Knows nothing of alarms.

A reply carries the message it answers. So a code may stand anywhere, since it only tells which
message is meant; what is to be done is said by the first line alone that the writer wrote, and a
line of the quoted message never is.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from email import message_from_bytes, policy
from email.message import Message
from hashlib import sha256
from itertools import islice

from relayd.answering.codes import LETTERS
from relayd.mailbox import markup

READ = 96 * 1024
"""Bytes of a mail that are looked at: its head and the begin of its text."""
TEXT = 64 * 1024
"""Bytes of text that are looked at."""
PARTS = 50
HEAD = 1000
"""Characters of a header that are looked at."""
CODES = 4
"""More than a reply with a quote or two can hold."""
LONGEST_LINE = 200

_CODE = re.compile(rf"(?<![\w-])([{LETTERS}]{{8}})(?![\w-])", re.I)
_NAMED = re.compile(rf"\bc(?:ode|[oó]digo)\W{{1,4}}([{LETTERS}]{{8}})(?![\w-])", re.I)
_QUOTED = re.compile(r"\s*>")
_ATTRIBUTION = re.compile(
    r"\s*(-{2,}.*-{2,}|_{5,}|(on|el|am|le)\b.*\b(wrote|escribi[oó]|schrieb|a [ée]crit)\s*:?"
    r"|(on|el|am|le)\b.*<\S+@\S+>\s*|(from|de|von)\s*:.*)\s*$",
    re.I,
)
"""What mail programs write above the message that is answered."""
_CHARSETS = frozenset(
    {"us-ascii", "ascii", "utf-8", "utf8", "iso-8859-1", "iso-8859-15", "latin-1"}
    | {"windows-1252", "cp1252", "windows-1250", "iso-8859-2"}
)
"""Others are read as UTF-8: the words of an answer are plain letters in all that is used."""
_PLAIN = r"[!-;=?A-~]{1,64}@[A-Za-z0-9.-]{1,253}"
_ADDRESS = re.compile(rf"[^<>]*<({_PLAIN})>|({_PLAIN})")
_MACHINES = re.compile(r"^(mailer-daemon|postmaster|no-?reply|do-?not-?reply)\b", re.I)


@dataclass(frozen=True, slots=True)
class Mail:
    """`automatic` says why it is no person's answer, or is ''; `id` is a digest of its Message-ID."""

    sender: str
    id: str
    automatic: str
    codes: tuple[str, ...]
    line: str


def read(raw: bytes) -> Mail:
    """Take it apart; may raise anything."""
    message = message_from_bytes(raw, policy=policy.compat32)
    text = _text(message)
    own = next(_own(text), "")
    return Mail(
        sender=_sender(message),
        id=sha256(_head(message, "Message-ID").encode() or raw).hexdigest()[:32],
        automatic=_automatic(message),
        codes=_codes(own, text, _head(message, "Subject")),
        line=own[:LONGEST_LINE],
    )


def _head(message: Message, name: str) -> str:
    return " ".join(str(message.get(name, ""))[:HEAD].split())


def _sender(message: Message) -> str:
    """The one address that it says to come from; '' where there is not exactly one."""
    froms = message.get_all("From", [])
    if len(froms) != 1:
        return ""
    address = _ADDRESS.fullmatch(" ".join(str(froms[0])[:HEAD].split()))
    return (address[1] or address[2]).lower() if address else ""


def _automatic(message: Message) -> str:
    """Why a machine wrote it: RFC 3834 (Auto-Submitted), RFC 3464 (reports), RFC 2919 (lists)."""
    submitted = _head(message, "Auto-Submitted").partition(";")[0].strip().lower()
    if submitted not in ("", "no"):
        return "it says that it was sent by itself (Auto-Submitted)"
    if message.get_content_type() == "multipart/report":
        return "it is a report about another mail"
    if _head(message, "Return-Path") == "<>":
        return "its envelope names no sender"
    if _head(message, "Precedence").lower() in ("bulk", "list", "junk", "auto_reply"):
        return "it says that it is bulk mail (Precedence)"
    for name in ("List-Id", "List-Unsubscribe", "X-Autoreply", "X-Autorespond", "X-Loop"):
        if message.get(name) is not None:
            return f"it carries {name}"
    if _MACHINES.match(_sender(message)):
        return "its sender is no person"
    return ""


def _text(message: Message) -> str:
    """The first plain text in it; where there is none, the first HTML as plain text."""
    parts = [each for each in islice(message.walk(), PARTS) if not each.is_multipart()]
    for part in parts:
        if part.get_content_type() == "text/plain":
            return _decoded(part)
    for part in parts:
        if part.get_content_type() == "text/html":
            return markup.plain(_decoded(part))
    return ""


def _decoded(part: Message) -> str:
    payload = part.get_payload(decode=True)
    data = payload[:TEXT] if isinstance(payload, bytes) else b""
    named = (part.get_content_charset("utf-8") or "utf-8").lower()
    text = data.decode(named if named in _CHARSETS else "utf-8", "replace")
    return text.replace("\0", "").replace("\ufeff", "")


def _own(text: str) -> Iterator[str]:
    """The lines that the writer wrote above or below the quoted ones.

    What follows a divider without a mark before each line is the quoted message all the same.
    """
    divided = False
    for line in text.splitlines():
        if not line.strip():
            continue
        if _QUOTED.match(line):
            divided = False
        elif divided and line.rstrip().endswith(":"):
            continue  # the divider's own second line
        elif divided or line.rstrip() == "--":  # a signature: RFC 3676, section 4.3
            return
        elif _ATTRIBUTION.match(line[:HEAD]):
            divided = True
        else:
            yield " ".join(line[:HEAD].split())


def _codes(own: str, text: str, subject: str) -> tuple[str, ...]:
    """What may be codes: in the first own line and the subject any, elsewhere what is named so."""
    found = [each for line in (own, subject) for each in _CODE.findall(line)]
    found += _NAMED.findall(text)
    mixed = (each.lower() for each in found if _is_mixed(each))
    return tuple(dict.fromkeys(mixed))[:CODES]


def _is_mixed(text: str) -> bool:
    """Letters and digits: so that neither a word nor a date is taken for a code."""
    return any(each.isdigit() for each in text) and any(each.isalpha() for each in text)
