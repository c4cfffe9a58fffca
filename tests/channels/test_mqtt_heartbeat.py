"""A client that sends heartbeats and listens to those of others: at real brokers, and denied by them."""

from collections.abc import Iterator
from pathlib import Path
from threading import Condition

import pytest

from relayd.channels.client import Timing
from relayd.channels.mqtt import Mqtt
from relayd.core.events import ChannelDown, ChannelUp
from relayd.core.plan import Plan
from relayd.rig import Broker
from tests.channels.client import FAST, PLAN, QUIET, at
from tests.channels.watcher import DEADLINE, Posted, Watcher
from tests.servers.broker import Mosquitto, mosquitto

pytestmark = pytest.mark.slow
VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])
OWN, OTHER = "relayd/pumphouse/heartbeat", "relayd/mill/heartbeat"
EVERYTHING = ("homie/5/#", "relayd/#")


class Ear:
    """What a client hears and when its broker is there."""

    topics = (OWN, OTHER)

    def __init__(self) -> None:
        self.came: list[object] = []
        self._news = Condition()

    def linked(self, way: str, up: bool) -> None:
        self._add((way, up))

    def heard(self, way: str, topic: str, payload: bytes) -> None:
        self._add((way, topic, payload.decode()))

    def _add(self, what: object) -> None:
        with self._news:
            self.came.append(what)
            self._news.notify_all()

    def awaits(self, what: object, count: int = 1) -> None:
        with self._news:
            came = self._news.wait_for(lambda: self.came.count(what) >= count, DEADLINE)
            assert came, f"no {what!r} in {self.came}"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path) as running:
        yield running


def client(
    posted: Posted, broker: Broker, ear: Ear, plan: Plan = PLAN, timing: Timing = FAST
) -> Mqtt:
    made = Mqtt(posted, broker, plan, "pumphouse", timing=timing, listens=ear)
    made.show(QUIET)
    made.start()
    return made


@VERSIONS
def test_a_heartbeat_goes_out_comes_back_and_is_not_retained(
    server: Mosquitto, version: str
) -> None:
    posted, ear = Posted(), Ear()
    made = client(posted, at(server, version), ear)
    try:
        posted.awaited(ChannelUp)
        ear.awaits(("mqtt", True))
        made.pulse(OWN, "beat 1")
        ear.awaits(("mqtt", OWN, "beat 1"))
        with Watcher(server.port, filters=EVERYTHING) as late:
            late.until(lambda: QUIET.items() <= late.tree.items(), "the whole tree")
            assert OWN not in late.tree
            late.send("beat of the mill", topic=OTHER)
            ear.awaits(("mqtt", OTHER, "beat of the mill"))
    finally:
        made.stop()


@VERSIONS
def test_a_lost_broker_is_told_once_and_its_return_too(server: Mosquitto, version: str) -> None:
    posted, ear = Posted(), Ear()
    made = client(posted, at(server, version), ear)
    try:
        ear.awaits(("mqtt", True))
        server.kill()
        ear.awaits(("mqtt", False))
        made.pulse(OWN, "into the void")
        server.start()
        ear.awaits(("mqtt", True), 2)
        made.pulse(OWN, "beat 2")
        ear.awaits(("mqtt", OWN, "beat 2"))
        assert ear.came.count(("mqtt", False)) == 1
    finally:
        made.stop()


def test_a_broker_that_brings_nothing_back_counts_as_denied_until_it_connects_anew(
    server: Mosquitto,
) -> None:
    posted, ear = Posted(), Ear()
    made = client(posted, at(server, "5"), ear)
    try:
        posted.awaited(ChannelUp)
        made.deaf("it brings nothing back")
        assert posted.awaited(ChannelDown).why == "it brings nothing back"
        server.kill()
        server.start()
        posted.awaited(ChannelUp, 2)
    finally:
        made.stop()


def test_a_broker_that_lets_nobody_listen_brings_no_heartbeat_back(tmp_path: Path) -> None:
    access = ["topic write #", "topic read homie/5/+/commands/+/set"]
    with mosquitto(tmp_path, access=access) as server:
        posted, ear = Posted(), Ear()
        made = client(posted, at(server, "5"), ear)
        try:
            ear.awaits(("mqtt", True))
            posted.awaited(ChannelUp)
            made.pulse(OWN, "beat 1")
            with Watcher(server.port, filters=("relayd/#",)) as other:
                # A broker brings in order: what was sent after it has been refused to all as well.
                other.send("the last", topic="relayd/pumphouse/last")
            server.kill()
            ear.awaits(("mqtt", False))
            assert [each for each in ear.came if len(each) == 3] == []  # type: ignore[arg-type]
        finally:
            made.stop()
