"""Two real units watch each other over a real broker: killed, hung, cut off, stopped, broker restarted.

Heartbeats come each second, the grace is 4 s. How long each took is printed; the limits here are
generous, the sharp ones are held in simulated time (tests/supervision).
"""

import shutil
import signal
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from relayd.clock import boottime
from tests.channels.watcher import Watcher
from tests.servers.broker import Mosquitto, mosquitto
from tests.servers.relay import Relay, relay
from tests.servers.web import Web, web
from tests.story.plans import AT_REST, Site, plan
from tests.story.unit import Scripted, Unit, closing

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.skipif(
        not (shutil.which("mosquitto") or Path("/usr/sbin/mosquitto").exists()),
        reason="needs mosquitto",
    ),
]
GRACE = 4.0
NAMES = ("alder", "birch")
ROOM = 30.0
"""Seconds beyond what simulated time says, for a machine that is busy."""
SUPERVISION = """
[supervision]
heartbeat = "1 s"
[[supervision.peer]]
id = "{peer}"
grace = "4 s"
"""


@dataclass
class Pair:
    """Alder and birch, their broker, and a relay before birch's client."""

    broker: Mosquitto
    relay: Relay
    web: Web
    watcher: Watcher
    alder: Unit
    birch: Unit

    def plan(self, unit: Unit, name: str, peer: str, port: int, version: str) -> None:
        site = Site(
            {"anna": {"hook": self.web.address(name)}},
            unit.wires.chip,
            unit.wires.lines(),
            (port, version),
            ((0, ("anna",)),),
            "holds",
            1.0,
        )
        text = plan(site).replace('id = "pumphouse"', f'id = "{name}"')
        unit.write_plan(text + SUPERVISION.format(peer=peer))

    def signs(self, count: int = 3, seconds: float = ROOM) -> None:
        """So many further heartbeats of each unit reach somebody else at the broker."""
        seen = len(self.watcher.came)

        def enough() -> bool:
            came = [topic for topic, _ in self.watcher.came[seen:]]
            return all(came.count(f"relayd/{each}/heartbeat") >= count for each in NAMES)

        self.alder.until(enough, f"{count} heartbeats of each unit", seconds)

    def named(self, since: int, what: str) -> Any:
        """Alder has named birch's silence; prints how long that took."""
        found = self.alder.said("raised", seconds=GRACE + ROOM, condition="unit-silent-birch")
        print(f"{what}: named after {(boottime() - since) / 1e9:.1f} s (grace {GRACE:g} s)")
        return found

    def back(self, since: int, what: str) -> None:
        self.alder.said("returned", seconds=ROOM, condition="unit-silent-birch")
        print(f"{what}: back after {(boottime() - since) / 1e9:.1f} s")

    def silences(self) -> list[tuple[str, str]]:
        """Who said of whom that it is silent."""
        return [
            (unit.plan.parent.name, each["body"]["condition"])
            for unit in (self.alder, self.birch)
            if unit.state.exists()
            for each in unit.found("raised")
            if each["body"]["condition"].startswith("unit-silent")
        ]


@pytest.fixture(params=["5", "3.1.1"])
def pair(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Pair]:
    with ExitStack() as around:
        broker = around.enter_context(mosquitto(tmp_path))
        between = around.enter_context(relay(broker.port))
        hook = around.enter_context(web())
        units = []
        for name in NAMES:
            (tmp_path / name).mkdir()
            units.append(Unit(tmp_path / name, Scripted(tmp_path / f"{name}.json", AT_REST)))
        around.enter_context(closing(*units))
        watcher = around.enter_context(Watcher(broker.port, filters=("relayd/+/heartbeat",)))
        made = Pair(broker, between, hook, watcher, *units)
        made.plan(made.alder, "alder", "birch", broker.port, request.param)
        made.plan(made.birch, "birch", "alder", between.port, request.param)
        for each in units:
            each.begin()
        for each in units:
            each.await_watching()
        made.signs()
        yield made


def test_a_killed_unit_is_named_and_is_back_when_it_runs_again(pair: Pair) -> None:
    since = boottime()
    pair.birch.kill()
    told = pair.named(since, "killed")
    assert "not heard for" in told["body"]["detail"]
    since = boottime()
    pair.birch.start()
    pair.back(since, "killed")
    assert pair.silences() == [("alder", "unit-silent-birch")]


def test_a_unit_that_hangs_is_named_and_is_back_when_it_goes_on(pair: Pair) -> None:
    assert pair.birch.process is not None
    since = boottime()
    pair.birch.process.send_signal(signal.SIGSTOP)
    pair.named(since, "SIGSTOP")
    since = boottime()
    pair.birch.process.send_signal(signal.SIGCONT)
    pair.back(since, "SIGSTOP")
    assert pair.silences() == [("alder", "unit-silent-birch")]


def test_a_unit_that_is_cut_off_is_named_and_names_nobody_itself(pair: Pair) -> None:
    since = boottime()
    pair.relay.swallows.set()
    pair.named(since, "cut off")
    # Birch hears nobody either; it is told that its own connection is gone, and of no silence.
    pair.birch.said("unit judged", seconds=28 + ROOM, condition="mqtt-down")
    assert pair.silences() == [("alder", "unit-silent-birch")]
    since = boottime()
    pair.relay.swallows.clear()
    pair.back(since, "cut off")
    assert pair.silences() == [("alder", "unit-silent-birch")]


def test_a_unit_that_stops_by_itself_is_told_apart(pair: Pair) -> None:
    since = boottime()
    pair.birch.stop()
    told = pair.named(since, "stopped")
    assert "it said that it stops" in told["body"]["detail"]


def restarts(pair: Pair, times: int, signs: int) -> None:
    """The broker ends and begins anew so often; each time both units come back to it.

    After five short connections a unit suspects a twin, and waits half a minute.
    """
    for _ in range(times):
        pair.broker.kill()
        pair.broker.start()
        pair.signs(signs, 3 * ROOM)
    print(f"{times} restarts of the broker: {len(pair.silences())} false alarms")


def test_a_broker_that_restarts_is_nobodys_silence(pair: Pair) -> None:
    restarts(pair, 4, signs=2)
    assert pair.silences() == []


@pytest.mark.long
def test_a_hundred_restarts_are_nobodys_silence(pair: Pair) -> None:
    restarts(pair, 100, signs=12)
    assert pair.silences() == []
