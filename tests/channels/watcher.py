"""Another client of the broker, as a reader of the tree or a sender of commands; and what was posted."""

import json
import ssl
from collections.abc import Callable, Mapping
from threading import Condition
from types import TracebackType
from typing import Any

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from relayd.core.events import Event

DEADLINE = 15.0
COMMAND = "homie/5/pumphouse/commands/acknowledge/set"
ANSWER = "homie/5/pumphouse/commands/answer"
TICKET = "homie/5/pumphouse/commands/ticket"
STATE = "homie/5/pumphouse/$state"


class Posted:
    """Collects what a client posts; waiting is awaiting the thing itself, with a deadline."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._news = Condition()

    def __call__(self, event: Event) -> None:
        with self._news:
            self.events.append(event)
            self._news.notify_all()

    def of(self, kind: type[Any]) -> list[Any]:
        """What was posted of that kind, in order."""
        with self._news:
            return [each for each in self.events if isinstance(each, kind)]

    def awaited(self, kind: type[Any], count: int = 1) -> Any:
        """The newest event of that kind as soon as there are `count`; fails with all that came."""
        with self._news:
            came = self._news.wait_for(lambda: len(self._found(kind)) >= count, DEADLINE)
            assert came, f"no {count} {kind.__name__} in {self.events}"
            return self._found(kind)[-1]

    def until(self, holds: Callable[[], bool]) -> None:
        """Wait until `holds()`; fails with all that came."""
        with self._news:
            assert self._news.wait_for(holds, DEADLINE), f"not so: {self.events}"

    def _found(self, kind: type[Any]) -> list[Any]:
        return [each for each in self.events if isinstance(each, kind)]


class Watcher:
    """Subscribes to everything; keeps what is retained and a log of all that came, in order."""

    def __init__(
        self,
        port: int,
        login: tuple[str, str] | None = None,
        tls: ssl.SSLContext | None = None,
        filters: tuple[str, ...] = ("homie/5/#",),
    ) -> None:
        self.tree: dict[str, str] = {}
        self.came: list[tuple[str, str]] = []
        self._news = Condition()
        self._subscribed = False
        self._filters = filters
        client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        client.on_connect = self._connected
        client.on_message, client.on_subscribe = self._message, self._ready
        if login:
            client.username_pw_set(*login)
        if tls:
            client.tls_set_context(tls)
        client.reconnect_delay_set(1, 1)
        client.connect_async("localhost" if tls else "127.0.0.1", port)
        self.client = client

    def __enter__(self) -> "Watcher":
        self.client.loop_start()
        self.until(lambda: self._subscribed, "subscribed")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def _connected(self, client: Client, *_: Any) -> None:
        client.subscribe([(each, 1) for each in self._filters])

    def _ready(self, *_: Any) -> None:
        with self._news:
            self._subscribed = True
            self._news.notify_all()

    def _message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        with self._news:
            payload = bytes(message.payload).decode("utf-8", "replace")
            self.came.append((message.topic, payload))
            live_only = (COMMAND, ANSWER)
            if message.topic not in live_only and "/$log/" not in message.topic:
                self.tree[message.topic] = payload
                if not payload:
                    del self.tree[message.topic]
            self._news.notify_all()

    def until(self, holds: Callable[[], bool], what: str, seconds: float = DEADLINE) -> None:
        """Wait until `holds()`; fails with the last topics that came."""
        with self._news:
            assert self._news.wait_for(holds, seconds), f"not {what}: {self.came[-12:]}"

    def shows(self, tree: Mapping[str, str], ready: bool = True) -> None:
        """Wait until the retained tree is `tree`, with every device ready and the ticket beside it."""
        self.until(lambda: self.plain() == tree and (not ready or self.ready()), "as wanted")

    def plain(self) -> dict[str, str]:
        """The retained tree without `$state` and ticket."""
        return {
            topic: payload
            for topic, payload in self.tree.items()
            if not topic.endswith("/$state") and topic != TICKET
        }

    def ready(self) -> bool:
        """Whether every device says that it is ready."""
        states = [value for topic, value in self.tree.items() if topic.endswith("/$state")]
        return bool(states) and set(states) == {"ready"}

    def answers(self) -> list[dict[str, Any]]:
        """Every answer that came, in order."""
        return [json.loads(payload) for topic, payload in self.came if topic == ANSWER]

    def send(
        self, payload: str | bytes, retain: bool = False, qos: int = 1, topic: str = COMMAND
    ) -> None:
        """Publish a command, and wait until the broker has it."""
        self.client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(DEADLINE)

    def asks(self, payload: str | bytes, retain: bool = False) -> dict[str, Any]:
        """Send a command and wait for the answer to it."""
        before = len(self.answers())
        self.send(payload, retain)
        self.until(lambda: len(self.answers()) > before, f"answered {payload!r}")
        return self.answers()[before]
