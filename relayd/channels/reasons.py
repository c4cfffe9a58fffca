"""Why a broker cannot be used, in words that say what to mend.

In: what the library says. Out: one line for ChannelDown. Knows nothing of paho.
"""

import ssl

from relayd.rig import Broker

NOT_YET_VALID = 9
"""OpenSSL's number for a certificate whose time has not come (value from memory)."""


def place(broker: Broker) -> str:
    """Host and port, as they are written."""
    return f"{broker.host}:{broker.port}"


def refused(said: str, broker: Broker) -> str:
    """The broker answered, and does not let this unit in."""
    if "password" in said or "authorized" in said:
        user = f"user {broker.user!r}" if broker.user else "a client without a user"
        return f"the broker refuses the login of {user}: {said}. Check [mqtt] user and password"
    if "version" in said:
        return f"the broker does not speak MQTT {broker.version}: set another [mqtt] version"
    return f"the broker refuses the connection: {said}"


def not_reached(error: BaseException | None, broker: Broker) -> tuple[str, bool]:
    """No connection came about; True where waiting will not mend it."""
    if isinstance(error, ssl.SSLCertVerificationError):
        early = error.verify_code == NOT_YET_VALID
        hint = "Is this unit's clock set?" if early else "Check [mqtt] ca and host"
        said = error.verify_message
        return (
            f"{place(broker)} shows a certificate that is not accepted: {said}. {hint}",
            not early,
        )
    return f"{place(broker)} is not reached: {error}", False


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
