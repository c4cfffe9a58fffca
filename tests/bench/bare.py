"""The floors: scripts that do the least with the same libraries. `python -m tests.bench.bare WHAT …`.

`edge` and `poll` use relayd's gpiozero factory and nothing else of it. Each says `ready` when it is.
"""

import os
import sqlite3
import sys
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from select import select
from threading import Event as Flag
from time import monotonic_ns

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

LIBRARIES = {
    "run": "gpiod, gpiozero, paho.mqtt.client, pydantic_settings, rich, sqlite3, structlog, typer",
    "sender": "apprise; apprise.Apprise.instantiate('json://127.0.0.1/')",
}
"""What a process of relayd uses. Apprise loads its services at the first address it is given."""


def imports(process: str, then: str = "print('ready', flush=True); input()") -> list[str]:
    """The command that imports a process's libraries and nothing of relayd."""
    return [sys.executable, "-P", "-c", f"import {LIBRARIES[process]}; {then}"]


def edge(chip: str, line: str, broker: str, topic: str, delay: str, folder: str = "") -> None:
    """Publish each edge of a line `delay` ns after it; with a folder, after an insert that is on its disk."""
    from gpiozero import DigitalInputDevice

    from relayd.pins.factory import ChipFactory

    client = _client(broker, topic.replace("/", "-"))
    base = database(Path(folder)) if folder else None
    factory = ChipFactory(chip, {int(line): "none"})
    device = DigitalInputDevice(int(line), pull_up=None, active_state=True, pin_factory=factory)
    waiting: list[tuple[int, int]] = []

    def tell(at: int, level: int) -> None:
        if base is not None:
            base.execute("INSERT INTO edge VALUES (?, ?)", (at, level))
        client.publish(topic, "open" if level else "closed", qos=1, retain=True)

    def changed(ticks: int, level: int) -> None:
        if int(delay):
            waiting.append((ticks + int(delay), level))
        else:
            tell(ticks, level)

    device.pin.when_changed = changed
    _ready()
    while True:
        left = (waiting[0][0] - monotonic_ns()) / 1e9 if waiting else 1.0
        if select(factory.fds(), [], [], max(0.0, left))[0]:
            factory.dispatch()
        while waiting and waiting[0][0] <= monotonic_ns():
            tell(*waiting.pop(0))


def watch(chip: str, first: str, broker: str) -> None:
    """Read eight lines once a second, connected to the broker."""
    from gpiozero import DigitalInputDevice

    from relayd.pins.factory import ChipFactory

    client = _client(broker, "bare-poll")
    lines = range(int(first), int(first) + 8)
    factory = ChipFactory(chip, dict.fromkeys(lines, "none"))
    devices = [
        DigitalInputDevice(line, pull_up=None, active_state=True, pin_factory=factory)
        for line in lines
    ]
    before, never = [device.value for device in devices], Flag()
    _ready()
    while not never.wait(1):
        now = [device.value for device in devices]
        if now != before:
            client.publish("bare/poll", str(now), qos=1, retain=True)
        before = now


def serve() -> None:
    """A message service: says at which time (CLOCK_MONOTONIC, ns) it got a message, and its title."""
    import json

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            came = monotonic_ns()
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(200)
            self.end_headers()
            print(came, body["title"], flush=True)

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    print("ready", server.server_address[1], flush=True)
    server.serve_forever()


def _client(broker: str, name: str) -> Client:
    client = Client(
        CallbackAPIVersion.VERSION2, client_id=name, protocol=MQTTProtocolVersion.MQTTv5
    )
    connected = Flag()
    client.on_connect = lambda *_: connected.set()
    client.connect("127.0.0.1", int(broker), 20)
    client.loop_start()
    assert connected.wait(30), "the broker does not answer"
    return client


def database(folder: Path) -> sqlite3.Connection:
    """A table of its own, each insert of which is on the disk before it returns."""
    base = sqlite3.connect(folder / f"bare-{os.getpid()}.db", isolation_level=None)
    base.execute("PRAGMA journal_mode=WAL")
    base.execute("PRAGMA synchronous=FULL")
    base.execute("CREATE TABLE edge (at INTEGER, level INTEGER)")
    return base


def _ready() -> None:
    print("ready", flush=True)


if __name__ == "__main__":
    PARTS: dict[str, Callable[..., None]] = {"edge": edge, "watch": watch, "serve": serve}
    PARTS[sys.argv[1]](*sys.argv[2:])
