"""Files for TLS, looked at before they are needed: can they be read, do they fit, how long are they good?

In: paths. Out: words for what is wrong, each with its file; they never hold anything of a key.
The clock is this machine's: what hangs on it is a doubt and never a reason to refuse a plan,
since a unit may start before its clock is set.
"""

import ssl
import stat
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from relayd.core.plan import DAY, SECOND
from relayd.settings.files import read_whole

SOON = 30 * DAY
"""A certificate that ends within this time is told of (common practice, no source)."""
NOT_YET_VALID, EXPIRED = 9, 10
"""OpenSSL's numbers; values from memory, seen again in the tests."""
FLIGHTS = 4
"""Turns of both ends: more than a handshake in memory takes."""


@dataclass(frozen=True, slots=True)
class Unusable(Exception):
    """Which key of the table names a file that cannot be used, and why."""

    key: str
    why: str


def unread(path: Path) -> str:
    """Why a file cannot be read; '' where it can."""
    try:
        read_whole(path)
    except (OSError, ValueError) as error:
        return str(error.strerror if isinstance(error, OSError) else error)
    return ""


def authority(path: Path, whose: str = "broker") -> str:
    """Why this is no file of an authority's certificates; '' where it is one."""
    if why := unread(path):
        return f"the certificate of the {whose}'s authority cannot be read: {why}"
    try:
        _bare().load_verify_locations(cafile=path)
    except ssl.SSLError:
        return "the file holds no certificate; it must be a certificate in PEM form"
    return ""


def open_to_all(path: Path) -> str:
    """Why a key's file is not kept well enough; '' where it is."""
    try:
        raw, mode = read_whole(path)
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else error
        return f"the key cannot be read: {why}"
    if mode & stat.S_IRWXO:
        bits = f"{stat.S_IMODE(mode):04o}"
        return f"the key is open to everybody (mode {bits}); run: chmod 600 {path}"
    if b"ENCRYPTED" in raw:
        return "the key has a password of its own, and nobody is there to type it; write it without"
    return ""


def pair(certificate: Path, key: Path, wall: int) -> str:
    """What is to be known of a certificate and its key at `wall` (UTC, ns); '' where all is well.

    Raises Unusable where they cannot be used at all.
    """
    if why := unread(certificate):
        raise Unusable("certificate", f"the certificate of this unit cannot be read: {why}")
    own = _bare()
    try:
        own.load_cert_chain(certificate, key, password=_no_password)
    except ssl.SSLError as error:
        raise _misfit(certificate, key, error) from None
    try:
        left = _good_until(certificate, key) - wall
    except ssl.SSLCertVerificationError as error:
        return _doubt(error)
    except ssl.SSLError as error:
        return f"may not be accepted: {error}"
    return "" if left > SOON else f"ends in {max(0, left // DAY)} days; have it renewed"


def _bare() -> ssl.SSLContext:
    return ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)


def _no_password() -> str:
    """What OpenSSL is given where it would else ask at a terminal."""
    return ""


def _misfit(certificate: Path, key: Path, error: ssl.SSLError) -> Unusable:
    if error.reason == "KEY_VALUES_MISMATCH":
        return Unusable("key_from", f"the key does not fit the certificate {certificate}")
    for name, path, what in (
        ("certificate", certificate, "certificate"),
        ("key_from", key, "private key"),
    ):
        if what.upper().encode() not in read_whole(path)[0]:
            return Unusable(name, f"the file holds no {what}; it must be a {what} in PEM form")
    return Unusable("certificate", "certificate and key cannot be used: are both whole?")


def _good_until(certificate: Path, key: Path) -> int:
    """The end of a certificate (UTC, ns), as a broker finds it: a handshake in memory, both ends ours.

    Raises SSLError as a broker would that takes this one certificate.
    """
    broker, unit = _bare(), ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    for end in (broker, unit):
        end.load_cert_chain(certificate, key)
    unit.check_hostname, unit.verify_mode = False, ssl.CERT_NONE
    broker.verify_mode = ssl.CERT_REQUIRED
    broker.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
    broker.load_verify_locations(cafile=certificate)
    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = broker.wrap_bio(there, back, server_side=True), unit.wrap_bio(back, there)
    for end_of_line in ends[::-1] * FLIGHTS:
        with suppress(ssl.SSLWantReadError):
            end_of_line.do_handshake()
    seen = ends[0].getpeercert() or {}
    return int(ssl.cert_time_to_seconds(str(seen["notAfter"]))) * SECOND


def _doubt(error: ssl.SSLCertVerificationError) -> str:
    return {
        EXPIRED: "has expired, as this machine's clock reads: have it renewed",
        NOT_YET_VALID: "is not valid yet, as this machine's clock reads: is the clock set?",
    }.get(error.verify_code, f"may not be accepted: {error.verify_message}")
