"""A subscriber of the event stream with a session that the broker keeps: what an integrator would have."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from threading import Condition
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from relayd.channels import event
from tests.channels import shown

TOPIC = event.topic(shown.UNIT)
DEADLINE = 30.0


def kept(folder: Path) -> list[str]:
    """Options of a broker that keeps sessions and what waits for them on its disk."""
    where = f"persistence_location {folder}/"
    return ["persistence true", where, "autosave_interval 1", "autosave_on_changes true"]


@dataclass
class Reader:
    """Subscribes with QoS 1 and a session that the broker keeps."""

    port: int
    came: list[dict[str, Any]] = field(default_factory=list)
    news: Condition = field(default_factory=Condition)
    client: Client | None = None
    subscribed: bool = False
    said: list[str] = field(default_factory=list)

    def __enter__(self) -> "Reader":
        client = Client(
            CallbackAPIVersion.VERSION2, "reader", protocol=MQTTProtocolVersion.MQTTv311,
            clean_session=False,
        )  # fmt: skip
        client.on_connect = self._connected
        client.on_subscribe, client.on_message = self._ready, self._message
        client.reconnect_delay_set(1, 1)
        client.connect_async("127.0.0.1", self.port)
        client.loop_start()
        self.client = client
        self.until(lambda: self.subscribed, "subscribed")
        return self

    def __exit__(self, *_: object) -> None:
        assert self.client is not None
        self.client.disconnect()
        self.client.loop_stop()

    def _connected(self, client: Client, *_: object) -> None:
        client.subscribe(TOPIC, qos=1)

    def _ready(self, *_: object) -> None:
        with self.news:
            self.subscribed = True
            self.news.notify_all()

    def _message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        with self.news:
            if message.topic == TOPIC:
                self.came.append(json.loads(message.payload))
            else:
                self.said.append(bytes(message.payload).decode())
            self.news.notify_all()

    def until(self, holds: Callable[[], bool], what: str, seconds: float = DEADLINE) -> None:
        with self.news:
            assert self.news.wait_for(holds, seconds), f"not {what}: {len(self.came)} came"

    def has(self, count: int, seconds: float = DEADLINE) -> None:
        """Wait until the record of that number came."""
        self.until(lambda: any(each["n"] == count for each in self.came), f"{count}", seconds)
