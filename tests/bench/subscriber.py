"""The subscriber: one thread that moves a pin and then waits at the broker for what is said of it."""

from time import monotonic, monotonic_ns

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

PATIENCE = 30.0


class Subscriber:
    """Connected to the broker, subscribed to everything, run by `until` and `idle` alone."""

    def __init__(self, broker: int) -> None:
        self.shows: dict[str, str] = {}
        self._came: dict[tuple[str, str], int] = {}
        self._client = Client(
            CallbackAPIVersion.VERSION2, client_id="bench", protocol=MQTTProtocolVersion.MQTTv5
        )
        self._client.on_message = self._on_message
        self._client.on_connect = lambda client, *_: client.subscribe("#", qos=1)
        self._client.connect("127.0.0.1", broker, 600)

    def until(self, topic: str, payload: str) -> int:
        """When (CLOCK_MONOTONIC, ns) it was told that; from `forget` on."""
        end = monotonic() + PATIENCE
        while (topic, payload) not in self._came:
            self._client.loop(0.5)
            assert monotonic() < end, f"never told: {topic} {payload}"
        return self._came[topic, payload]

    def forget(self, topic: str) -> None:
        """What was told on that topic until now does not count."""
        self._came = {told: at for told, at in self._came.items() if told[0] != topic}

    def idle(self, seconds: float) -> None:
        """Take what comes for so long."""
        end = monotonic() + seconds
        while (left := end - monotonic()) > 0:
            self._client.loop(left)

    def _on_message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        now = monotonic_ns()
        payload = bytes(message.payload).decode()
        self.shows[message.topic] = payload
        self._came.setdefault((message.topic, payload), now)
