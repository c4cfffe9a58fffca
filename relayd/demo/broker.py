"""The demo's broker: mosquitto where it is installed, else an embedded one (MQTT 3.1.1 only)."""

import asyncio
import logging
import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

SBIN = "/usr/sbin/mosquitto"
PATIENCE = 10.0


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def await_port(port: int, stopped: threading.Event | None = None) -> None:
    """Wait until somebody listens there; raises RuntimeError after ten seconds."""
    pause = threading.Event() if stopped is None else stopped
    for _ in range(int(PATIENCE / 0.02)):
        with socket.socket() as probe:
            probe.settimeout(1.0)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        pause.wait(0.02)
    raise RuntimeError(f"the demo's server on port {port} did not start")


@contextmanager
def broker(folder: Path) -> Iterator[tuple[int, str, str]]:
    """A broker on a port of its own: (port, MQTT version, what it is)."""
    program = shutil.which("mosquitto") or (SBIN if Path(SBIN).exists() else None)
    port = free_port()
    if program is None:
        with embedded(port):
            yield port, "3.1.1", "an embedded broker"
        return
    settings = folder / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n")
    process = subprocess.Popen(
        [program, "-c", str(settings)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        await_port(port)
        yield port, "5", "mosquitto"
    finally:
        process.terminate()
        process.wait(PATIENCE)


@contextmanager
def embedded(port: int, transport: str = "tcp") -> Iterator[None]:
    """A broker inside Python; `transport` is `tcp` or `ws`."""
    from amqtt.broker import Broker

    logging.getLogger("amqtt").setLevel(logging.CRITICAL)  # it tells of every client that leaves
    loop = asyncio.new_event_loop()
    settings = {
        "listeners": {"default": {"type": transport, "bind": f"127.0.0.1:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }
    thread = threading.Thread(target=loop.run_forever, name="broker", daemon=True)
    thread.start()

    async def start() -> Broker:
        made = Broker(settings)
        await made.start()
        return made

    server = asyncio.run_coroutine_threadsafe(start(), loop).result(PATIENCE)
    try:
        yield
    finally:
        asyncio.run_coroutine_threadsafe(server.shutdown(), loop).result(PATIENCE)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(PATIENCE)
