"""paho's client as this unit uses it: how it is made for one broker, and what it says of a message.

In: a broker, the unit's name. Out: a client that is not connected yet, with login, TLS, websockets
and last will. What it is to do with its connection is mqtt.py's business.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from relayd.channels.devices import state_topic
from relayd.channels.teller import IN_FLIGHT
from relayd.channels.tls import Fresh
from relayd.rig import Broker

LARGEST = 256 * 1024
"""Bytes of a packet that are kept. A command needs 200; a message of 200 MB that stands retained at
the broker would else end the daemon, whose memory is bounded, at every start."""
PIECE = 64 * 1024
"""Bytes that are read at once; so much more of a packet may be kept."""


class Bounded(Client):
    """paho's client, which by itself keeps a packet whole in memory, however large.

    With MQTT 5 the broker is told the limit and keeps what is larger to itself. With 3.1.1 it comes,
    and is cut as it comes: it is taken, so that it does not come again, and refused for its length.
    """

    def _sock_recv(self, bufsize: int) -> bytes:
        del self._in_packet["packet"][LARGEST:]
        return super()._sock_recv(min(bufsize, PIECE))


@dataclass(frozen=True, slots=True)
class Timing:
    """How long the client waits for what, in seconds."""

    keepalive: int = 20
    """A connection on which nothing comes back any more is given up within 1.5 times this."""
    will_delay: int = 30
    session_expiry: int = 300
    retry: int = 1
    retry_most: int = 30
    back_off: int = 300
    """After the broker said that another client took this unit's name."""
    short_ones: int = 5
    """So many connections in a row, each cut soon, are taken for the same thing unsaid."""
    proving: int = 600
    """How long the next connection must hold after that before it is said to work."""

    @property
    def silence(self) -> int:
        """What paho is told: it asks after one such time, and gives up after another one."""
        return max(1, self.keepalive * 7 // 10)


@dataclass(frozen=True, slots=True)
class Sent:
    """A message that paho has; it keeps the promise of `Receipt`."""

    info: MQTTMessageInfo
    refused: deque[int]
    """The numbers of the last messages that the broker refused."""

    def taken(self, wait: float) -> bool:
        """Whether the broker acknowledged it (with QoS 0: whether it left, or never will)."""
        try:
            self.info.wait_for_publish(wait)
            return self.info.is_published()
        except RuntimeError:  # paho's word for: it went down with its connection
            return True

    def kept(self) -> bool:
        """Whether the broker acknowledged it and did not refuse it; to be asked once it is `taken`."""
        try:
            return self.info.is_published() and self.info.mid not in self.refused
        except RuntimeError:
            return False


def made(broker: Broker, unit: str, timing: Timing) -> Client:
    """A client of this broker, told where it is, not connected and with no callbacks yet.

    Raises ValueError for what paho does not take.
    """
    five = is_five(broker)
    client = Bounded(
        CallbackAPIVersion.VERSION2,
        client_id=f"relayd-{unit}",
        clean_session=None if five else True,
        protocol=MQTTProtocolVersion.MQTTv5 if five else MQTTProtocolVersion.MQTTv311,
        transport="websockets" if broker.transport == "websockets" else "tcp",
    )
    client.suppress_exceptions = True
    if broker.user:
        client.username_pw_set(broker.user, broker.password.reveal() if broker.password else None)
    if broker.secure:
        client.tls_set_context(Fresh(broker))  # type: ignore[arg-type]  # it is used like one
    if broker.transport == "websockets":
        client.ws_set_options(path=broker.path)
    _leave_will(client, unit, timing, five)
    client.reconnect_delay_set(timing.retry, timing.retry_most)
    client.max_inflight_messages_set(IN_FLIGHT)
    client.max_queued_messages_set(4 * IN_FLIGHT)
    start: dict[str, Any] = {}
    if five:
        wishes = {"SessionExpiryInterval": timing.session_expiry, "MaximumPacketSize": LARGEST}
        start = {"clean_start": False, "properties": _properties(PacketTypes.CONNECT, wishes)}
    client.connect_async(broker.host, broker.port, timing.silence, **start)
    return client


def is_five(broker: Broker) -> bool:
    """Whether MQTT 5 is spoken."""
    return broker.version == "5"


def leave(client: Client, broker: Broker) -> None:
    """Say goodbye, without a will and without a session that would wait."""
    ending = _properties(PacketTypes.DISCONNECT, {"SessionExpiryInterval": 0})
    client.disconnect(properties=ending if is_five(broker) else None)


def _leave_will(client: Client, unit: str, timing: Timing, five: bool) -> None:
    wait = {"WillDelayInterval": timing.will_delay}
    delay = _properties(PacketTypes.WILLMESSAGE, wait) if five else None
    client.will_set(state_topic(unit), "lost", qos=1, retain=True, properties=delay)


def _properties(packet: int, values: Mapping[str, int]) -> Properties:
    properties = Properties(packet)  # type: ignore[no-untyped-call]  # paho types it by half
    for name, value in values.items():
        setattr(properties, name, value)
    return properties
