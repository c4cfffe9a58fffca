"""TLS towards a broker: its files are read anew at every connection, so that renewed ones are used at once.

In: a broker's files. Out: a context, or `Unusable` with words for what is wrong. Knows nothing of
paho, which is given an object that looks like a context to it.
"""

import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from relayd.rig import Broker


class Unusable(OSError):
    """A file cannot be used. An OSError, because that is what paho takes for a failed connection."""


def context(broker: Broker) -> ssl.SSLContext:
    """What this broker is spoken to with: its certificate and name are always checked.

    Without `ca` the system's authorities are believed. Raises Unusable.
    """
    made = _believing(broker.ca)
    # From Python 3.13 on a context is strict about fields that many a small authority leaves out;
    # a new Python must not cut a unit off from its broker.
    made.verify_flags &= ~ssl.VERIFY_X509_STRICT
    if broker.certificate is not None:
        _show(made, broker.certificate, broker.key)
    return made


def _believing(ca: Path | None) -> ssl.SSLContext:
    try:
        return ssl.create_default_context(cafile=ca)
    except ssl.SSLError:
        raise Unusable(f"{ca} holds no certificate") from None
    except OSError as error:
        raise Unusable(f"{ca} cannot be read: {error.strerror}") from None


def _show(made: ssl.SSLContext, certificate: Path, key: Path | None) -> None:
    for each in (certificate, key):
        _readable(each)
    try:
        # A password is never asked for: nobody is there to type it.
        made.load_cert_chain(certificate, key, password=lambda: "")
    except ssl.SSLError as error:
        if error.reason == "KEY_VALUES_MISMATCH":
            raise Unusable(f"the key {key} does not fit the certificate {certificate}") from None
        what = f"certificate {certificate} and key {key} cannot be used"
        raise Unusable(f"{what}: are both whole, and the key without a password?") from None


def _readable(path: Path | None) -> None:
    """Raises Unusable with the file's name, which the ssl module does not tell."""
    if path is None:
        return
    try:
        with path.open("rb"):
            pass
    except OSError as error:
        raise Unusable(f"{path} cannot be read: {error.strerror}") from None


@dataclass(frozen=True, slots=True)
class Fresh:
    """What paho takes for a context: it makes a new one for every connection."""

    broker: Broker
    check_hostname: bool = True
    """paho asks, and then leaves the name to the context."""

    def wrap_socket(self, sock: Any, **how: Any) -> ssl.SSLSocket:
        """The socket, encrypted. Raises Unusable, ssl.SSLError."""
        return context(self.broker).wrap_socket(sock, **how)
