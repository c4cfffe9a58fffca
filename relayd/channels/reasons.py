"""Why a broker cannot be used, in words that say what to mend.

In: what the library says. Out: one line for ChannelDown. Knows nothing of paho.
"""

import re
import ssl
from datetime import UTC, datetime

from relayd.channels.tls import Unusable
from relayd.core.plan import SECOND
from relayd.rig import FIRST, Broker

NOT_YET_VALID, EXPIRED = 9, 10
UNKNOWN_AUTHORITY = frozenset({2, 18, 19, 20, 21})
OTHER_NAME = frozenset({62, 64})
"""OpenSSL's numbers for what is wrong with a certificate (values from memory, all but 2, 21 and 64
seen again in the tests)."""

_ALERT = re.compile(r"\[SSL: (?P<reason>\w+)\]")
_ANOTHER_PROTOCOL = ("WRONG_VERSION_NUMBER", "UNEXPECTED_MESSAGE", "HTTP_REQUEST", "RECORD")


ConnectionReset = ConnectionResetError | ConnectionAbortedError | BrokenPipeError
"""How it looks where the other end hangs up at once."""


def place(broker: Broker) -> str:
    """Host and port, as they are written."""
    return f"{broker.host}:{broker.port}"


def table(broker: Broker) -> str:
    """Where the plan speaks of this broker."""
    return f"[{FIRST}]" if broker.name == FIRST else f"[[{FIRST}.also]] {broker.name}"


def refused(said: str, broker: Broker) -> str:
    """The broker answered, and does not let this unit in."""
    if "password" in said or "authorized" in said:
        user = f"user {broker.user!r}" if broker.user else "a client without a user"
        check = f"Check {table(broker)} user and password"
        return f"the broker refuses the login of {user}: {said}. {check}"
    if "version" in said:
        return (
            f"the broker does not speak MQTT {broker.version}: set another {table(broker)} version"
        )
    return f"the broker refuses the connection: {said}"


def not_reached(error: BaseException | None, broker: Broker, wall: int = 0) -> tuple[str, bool]:
    """No connection came about at `wall` (UTC, ns); True where waiting will not mend it."""
    if isinstance(error, Unusable):
        return unusable(error, broker), True
    if isinstance(error, ssl.SSLCertVerificationError):
        return _certificate(error, broker, wall), True
    if known := _alerted(f"{error}", broker):
        return known, True
    if "WebSocket" in f"{error}":
        check = f"Check {table(broker)} port and path"
        return f"{place(broker)} takes no websockets at {broker.path}: {error}. {check}", True
    if isinstance(error, ssl.SSLError):
        return f"{place(broker)} is not reached by TLS: {error}. {_no_tls(broker)}", False
    hint = f". {_no_tls(broker)}" if broker.secure and isinstance(error, ConnectionReset) else ""
    return f"{place(broker)} is not reached: {error}{hint}", False


def unusable(error: BaseException, broker: Broker) -> str:
    """A file or a value of the plan cannot be used."""
    return f"the settings of {table(broker)} cannot be used: {error}"


def unanswered(said: str, heard: str, broker: Broker) -> tuple[str, bool]:
    """The connection ended before the broker had answered; `heard` is the library's last complaint."""
    if known := _alerted(heard, broker):
        return known, True
    what = f"{place(broker)} ends the connection before it answers: {heard or said}"
    if not broker.secure:
        hint = f"It may want TLS: check {table(broker)} port and tls"
    elif broker.certificate is None:
        hint = f"It may want a certificate of this unit: {table(broker)} certificate and key_from"
    else:
        hint = "It may refuse this unit's certificate: look at the broker's log"
    return f"{what}. {hint}", False


def lost(said: str, heard: str, broker: Broker) -> str:
    """A connection that stood is gone."""
    if "keep" in said:
        what = f"nothing comes from {place(broker)} any more, though the connection stands"
        return f"{what}: the network drops its packets, or the broker hangs"
    return f"the connection to {place(broker)} was lost: {heard or said}"


def name_shared(unit: str, certain: bool, said: str) -> str:
    """Another client came with this unit's name, or it looks like that."""
    advice = "Give each unit its own name"
    if certain:
        return f"another unit has this name ({unit}): the broker gave it our connection. {advice}"
    cut = f"the broker cuts every connection soon after it begins ({said})"
    return f"{cut}: another unit may have this name ({unit}). {advice}"


def denied(what: str, said: str, unit: str) -> str:
    """The broker lets this unit in, but not do its work."""
    return f"the broker does not {what}: {said}. Check its access list for homie/5/{unit}/#"


# ---- certificates ---------------------------------------------------------------------------------


def _certificate(error: ssl.SSLCertVerificationError, broker: Broker, wall: int) -> str:
    """What is wrong with the certificate that the broker shows."""
    here, code = place(broker), error.verify_code
    clock = f"this unit's clock reads {_clock(wall)}"
    if code == NOT_YET_VALID:
        return f"{here} shows a certificate that is not valid yet: {clock}: is it set?"
    if code == EXPIRED:
        return f"{here} shows a certificate that has expired ({clock}): renew it at the broker"
    if code in OTHER_NAME:
        check = f"Check {table(broker)} host: it must be a name in the certificate"
        return f"{here} shows a certificate for another name than {broker.host}. {check}"
    said = error.verify_message
    if code in UNKNOWN_AUTHORITY:
        check = f"Check {table(broker)} ca"
        return f"{here} shows a certificate of an authority that is not known here: {said}. {check}"
    return f"{here} shows a certificate that is not accepted: {said}. Check {table(broker)} ca and host"


def _clock(wall: int) -> str:
    return datetime.fromtimestamp(wall // SECOND, UTC).strftime("%Y-%m-%d %H:%M UTC")


def _alerted(text: str, broker: Broker) -> str:
    """What the broker's end of TLS complains of; '' where it is nothing that is known here."""
    found = _ALERT.search(text)
    if found is None:
        return ""
    reason, own = found["reason"], broker.certificate
    if any(each in reason for each in _ANOTHER_PROTOCOL):
        return f"{place(broker)} is not reached by TLS. {_no_tls(broker)}"
    if "PROTOCOL_VERSION" in reason or "UNSUPPORTED_PROTOCOL" in reason:
        return f"{place(broker)} speaks no TLS 1.2 or newer, and older ones are not used"
    if "CERTIFICATE_REQUIRED" in reason or ("HANDSHAKE_FAILURE" in reason and own is None):
        set_them = f"Set {table(broker)} certificate and key_from"
        return f"{place(broker)} wants a certificate of this unit. {set_them}"
    if own is None:
        return ""
    return next((say.format(own=own) for key, say in _OWN.items() if key in reason), "")


def _no_tls(broker: Broker) -> str:
    return f"Does it speak TLS at this port? Check {table(broker)} port and tls"


_OWN = {
    "CERTIFICATE_EXPIRED": "the broker says that this unit's certificate {own} has expired: renew it",
    "CERTIFICATE_REVOKED": "the broker says that this unit's certificate {own} is revoked: make another",
    "UNKNOWN_CA": "the broker does not know the authority of this unit's certificate {own}",
    "CERTIFICATE": "the broker refuses this unit's certificate {own}: look at the broker's log",
    "HANDSHAKE_FAILURE": "the broker refuses this unit's certificate {own}: look at the broker's log",
    "DECRYPT_ERROR": "the broker refuses this unit's certificate {own}: look at the broker's log",
}
"""What the broker's end of TLS says of the certificate that this unit showed (RFC 8446, section 6.2)."""
