"""A reader of the Homie convention by other hands (npm's `node-homie`, version 5.0.0) understands all.

Runs where Node.js is and the npm registry can be reached; says so where it does not.
"""

import json
import os
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Any

import pytest

from relayd.channels import homie
from relayd.channels.mqtt import Mqtt
from relayd.core.events import ChannelUp
from relayd.rig import Broker
from tests.channels import shown
from tests.channels.client import FAST
from tests.channels.watcher import Posted, Watcher
from tests.servers.broker import mosquitto

pytestmark = pytest.mark.slow
HERE = Path(__file__).parent / "independent"
CACHE = Path(os.environ.get("RELAYD_CACHE", Path.home() / ".cache" / "relayd"))
WAIT = 30.0
KINDS = {"integer": "number", "float": "number", "boolean": "boolean", "datetime": "date"}
"""Datatype -> what a value of it becomes; the others stay text or become objects."""


@pytest.fixture(scope="module")
def reader() -> Path:
    """A folder with the script and its library."""
    if not (shutil.which("node") and shutil.which("npm")):
        pytest.skip("Node.js is not on this machine: nobody else reads the tree here")
    mark = sha256((HERE / "package.json").read_bytes()).hexdigest()[:16]
    folder = CACHE / f"independent-{mark}"
    if not (folder / "node_modules" / "node-homie").is_dir():
        folder.mkdir(parents=True, exist_ok=True)
        shutil.copy(HERE / "package.json", folder)
        said = subprocess.run(
            ["npm", "install", "--silent", "--no-package-lock", "--no-audit", "--no-fund"],
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        if said.returncode:
            shutil.rmtree(folder)
            pytest.skip(f"npm cannot install the library here: {said.stderr.strip()[:200]}")
    return Path(shutil.copy(HERE / "read.js", folder))


class Understood:
    """What the other reader has understood so far, line by line."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._lines: SimpleQueue[str] = SimpleQueue()
        self._process = process
        Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self._lines.put(line)

    def next(self) -> dict[str, Any]:
        try:
            found: dict[str, Any] = json.loads(self._lines.get(timeout=WAIT))
        except Empty:
            pytest.fail("the other reader says nothing more")
        return found


@contextmanager
def reading(script: Path, port: int) -> Iterator[Understood]:
    command = ["node", str(script), str(port)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield Understood(process)
        process.kill()


def expected(tree: Mapping[str, str]) -> dict[str, dict[str, str]]:
    """Device -> 'node/property' -> text, of what the broker holds."""
    found: dict[str, dict[str, str]] = {}
    for topic, payload in tree.items():
        device, *rest = topic.removeprefix("homie/5/").split("/")
        values = found.setdefault(device, {})
        if not rest[0].startswith("$"):
            values["/".join(rest)] = "" if payload == "\0" else payload
    return found


def texts(understood: Mapping[str, Any]) -> dict[str, dict[str, str]]:
    return {
        device: {
            name: each["text"].replace("\0", "")
            for name, each in said["values"].items()
            if each.get("text") is not None
        }
        for device, said in understood.items()
    }


def test_another_reader_finds_every_device_value_and_alert(reader: Path, tmp_path: Path) -> None:
    posted, plan = Posted(), shown.plan()
    with mosquitto(tmp_path) as server, Watcher(server.port) as watcher:
        broker = Broker("127.0.0.1", server.port, commands=True)
        unit = Mqtt(posted, broker, plan, shown.UNIT, timing=FAST)
        unit.show(homie.tree(shown.high(), plan, shown.NOW))
        unit.start()
        try:
            posted.awaited(ChannelUp)
            watcher.until(watcher.ready, "ready")
            wanted = expected(watcher.tree)
            with reading(reader, server.port) as understood:
                said = understood.next()
                while texts(said) != wanted or not said["pumphouse-cabin"]["alerts"]:
                    said = understood.next()
        finally:
            unit.stop()
    assert {each["state"] for each in said.values()} == {"ready"}
    assert said["pumphouse"]["name"] == "Pump house"
    assert list(said["pumphouse-cabin"]["alerts"]) == ["high-level"]
    everything = [each for device in said.values() for each in device["values"].values()]
    typed = [each for each in everything if each["datatype"] in KINDS and "text" in each]
    assert typed
    assert [each for each in typed if each["kind"] != KINDS[each["datatype"]]] == []
    settable = {name for name, each in said["pumphouse"]["values"].items() if each["settable"]}
    assert settable == {"commands/acknowledge", "commands/horn-wire"}
    print(f"\nunderstood by another reader: {len(said)} devices, {len(everything)} properties")
