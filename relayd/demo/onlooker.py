"""Somebody at the broker: sees every topic of the unit, and can answer an alarm from there."""

import json
import threading
from typing import Any

from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from relayd.demo.screen import Screen

SHOWN = ("$state", "$alert", "$log", "/commands/answer", "/state", "/horn/standing")


class Onlooker:
    """An MQTT client that is no part of relayd."""

    def __init__(self, screen: Screen, port: int, version: str) -> None:
        self._screen, self._port = screen, port
        self._topics: dict[str, str] = {}
        self._lock = threading.Lock()
        protocol = MQTTv5 if version == "5" else MQTTv311
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="onlooker", protocol=protocol)
        self._client.on_connect = self._connected
        self._client.on_message = self._heard

    def start(self) -> None:
        """Connect and subscribe."""
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()

    def stop(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()

    def find(self, ending: str) -> tuple[str, str] | None:
        """Topic and payload of the first topic with that ending."""
        with self._lock:
            return next(
                ((t, p) for t, p in sorted(self._topics.items()) if t.endswith(ending)), None
            )

    def answer(self, occurrence: str, person: str, act: str) -> None:
        """Acknowledge over MQTT, with the ticket that the unit shows now."""
        ticket = self.find("/commands/ticket")
        if ticket is None:
            self._screen.say("mqtt", "no ticket is shown: the unit takes no commands now")
            return
        body = {"ticket": ticket[1], "occurrence": occurrence, "person": person, "act": act}
        topic = ticket[0].replace("/ticket", "/acknowledge/set")
        self._screen.say("you", f"publish {topic} {json.dumps(body)}")
        self._client.publish(topic, json.dumps(body), qos=1)

    def _connected(self, client: Client, *_rest: Any) -> None:
        client.subscribe("homie/5/#", qos=1)

    def _heard(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        text = message.payload.decode(errors="replace")
        with self._lock:
            before = self._topics.get(message.topic)
            self._topics[message.topic] = text
        at_rest = before is None and text == "NORM"
        if text != before and not at_rest and any(part in message.topic for part in SHOWN):
            self._screen.say("mqtt", f"{message.topic} = {text[:110] or '(cleared)'}")
