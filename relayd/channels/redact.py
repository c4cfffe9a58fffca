"""Takes out of a text whatever an address must not give away.

In: a text from a service or a library, and the addresses it may quote. Out: one line without user,
password, token, host, header or path of any of them. Knows nothing of services.
"""

import re
from base64 import b64encode
from collections.abc import Iterable, Iterator
from contextlib import suppress
from urllib.parse import SplitResult, parse_qsl, unquote, unquote_plus, urlsplit

STARS = "***"
LONGEST = 300
"""Characters of a detail; what is longer is cut."""
PLAIN = frozenset(
    "cto format method mode overflow priority qos retry rto verify version wait".split()
)
"""Settings of an address whose values tell nothing ('verify=yes'); they stay readable."""
SHORT = 4
"""A shorter piece is taken out as a whole word only: a user named 'a' must not blank every 'a'."""

_ANY_ADDRESS = re.compile(r"\b[a-z][a-z0-9+.-]*://\S+|[\w.+-]+@[\w-]+(?:\.[\w-]+)*", re.I)
_HEADER = re.compile(r"\b(basic|bearer)\s+\S{8,}", re.I)


def redact(text: str, addresses: Iterable[str], limit: int = LONGEST) -> str:
    """The text as one line of at most `limit` characters, with all that the addresses hold as stars."""
    text = " ".join(text.split())
    pieces = {piece for address in addresses for piece in _pieces(address)}
    for piece in sorted(filter(_tells, pieces), key=len, reverse=True):
        text = _pattern(piece).sub(STARS, text)
    text = _HEADER.sub(STARS, _ANY_ADDRESS.sub(STARS, text))
    return text if len(text) <= limit else text[: limit - 1] + "…"


def _tells(piece: str) -> bool:
    """A lone '/' or '.' gives nothing away."""
    return any(letter.isalnum() for letter in piece)


def _pattern(piece: str) -> re.Pattern[str]:
    quoted = re.escape(" ".join(piece.split()))
    return re.compile(quoted if len(piece) >= SHORT else rf"(?<!\w){quoted}(?!\w)", re.I)


def _pieces(address: str) -> Iterator[str]:
    """Every part that may be secret: as written, unquoted, and as a login would encode it."""
    yield address
    _, _, rest = address.rpartition("://")
    # However it is to be read: a password with an unquoted '#' is cut otherwise by every reader.
    named = re.split(r"[/:@#,;\s]+", rest.partition("?")[0])
    # A ValueError: it is no address at all. It may still be a secret that was pasted.
    with suppress(ValueError):
        named += _named(urlsplit(address))
    for each in named:
        yield from (each, unquote(each), unquote_plus(each))


def _named(parts: SplitResult) -> Iterator[str]:
    user, password = parts.username or "", parts.password or ""
    yield from (parts.netloc, parts.hostname or "", user, password, parts.path, parts.fragment)
    yield from parts.path.split("/")
    yield from _logins(unquote(user), unquote(password))
    for key, value in parse_qsl(parts.query, keep_blank_values=True, separator="&"):
        if key.lower() not in PLAIN:
            yield from (value, *re.split(r"[\s,;@]+", value))


def _logins(user: str, password: str) -> Iterator[str]:
    if user or password:
        for whole in (user, password, f"{user}:{password}", f"\0{user}\0{password}"):
            yield b64encode(whole.encode()).decode()
