"""The face of it all for the loop: when it is due, what it sends, what it says of the loop itself."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from relayd.clock import boottime
from relayd.core.events import Event, Now, PeerHeard, UnitSensed
from relayd.core.plan import SECOND
from relayd.core.state import State
from relayd.rig import DeadMan, Peer, Secret, Supervision
from relayd.supervision import supervisor as module
from relayd.supervision.identity import Standing
from relayd.supervision.supervisor import Supervisor
from tests.core.world import World, high, plan

RIG = Supervision(10 * SECOND, (Peer("mill", 30 * SECOND),))


class Bench:
    """A supervisor with nothing around it: what it posts, publishes and complains of."""

    def __init__(
        self, folder: Path, rig: Supervision = RIG, identity: Standing | None = None
    ) -> None:
        self.posted: list[Event] = []
        self.said: list[tuple[str, dict[str, Any]]] = []
        self.deaf: list[str] = []
        known = identity or Standing(False)
        ways = ("mqtt",)
        digest = "ab" * 32
        self.made = Supervisor(
            "alder", rig, ways, digest, "life", known, folder, self.posted.append, folder
        )
        self.made.say = lambda topic, payload: self.said.append((topic, json.loads(payload)))
        self.made.deaf = lambda way, why: self.deaf.append(f"{way}: {why}")

    def look(self, at: float, state: State | None = None) -> None:
        now = Now("boot", round(at * SECOND), 0, True)
        self.made.look(state or State("k3f9ab"), now)

    def sensed(self, condition: str) -> list[str]:
        return [
            each.why
            for each in self.posted
            if isinstance(each, UnitSensed) and each.condition == condition
        ]


def test_a_heartbeat_comes_at_each_interval_and_counts(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    for second in (100, 101, 109.9, 110, 125, 126):
        bench.look(second)
    assert [each["seq"] for _, each in bench.said] == [1, 2, 3]
    topic, beat = bench.said[0]
    assert topic == "relayd/alder/heartbeat"
    assert (beat["unit"], beat["boot"], beat["up"], beat["every"]) == ("alder", "boot", 100, 10)
    assert (beat["plan"], beat["life"], beat["watches"]) == ("abababababab", "life", ["mill"])
    assert bench.made.due() == 135 * SECOND


def test_it_tells_of_alarms_and_of_the_loop(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.made.turned(1_700_000_000)
    bench.look(100, high().state)
    bench.look(110)
    first, second = (each for _, each in bench.said)
    assert (first["alarms"], first["high"], first["lag"]) == (1, 1, 1700)
    assert (second["alarms"], second["high"], second["lag"]) == (0, 0, 0)


def test_a_new_connection_is_given_a_heartbeat_at_once(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.look(100)
    bench.made.linked("mqtt", True)
    assert bench.made.due() <= boottime()
    bench.look(101)
    assert len(bench.said) == 2


def silent(told: bool, sender: str = "") -> State:
    """A unit whose people know that the mill is silent, or do not."""
    world = World(replace(plan(), peers={"mill": "Mill"})).start()
    if told:
        world.give(PeerHeard("mill", "not heard for 30 s"))
    unit = world.state.subjects["unit"]
    said = {**unit.said, **({"sender-down": sender} if sender else {})}
    return replace(world.state, subjects={**world.state.subjects, "unit": replace(unit, said=said)})


@pytest.mark.parametrize(
    ("state", "tells"),
    [(silent(False), []), (silent(True), ["mill"]), (silent(True, "exit 1"), [])],
    ids=["not silent", "told", "told by nobody: the sender is down"],
)
def test_it_says_of_whom_its_people_have_been_told(
    tmp_path: Path, state: State, tells: list[str]
) -> None:
    bench = Bench(tmp_path)
    bench.look(100, state)
    assert bench.said[0][1]["tells"] == tells


def test_a_loop_that_was_late_is_told_and_well_again_when_it_is_quick(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    start = boottime() / SECOND
    for minute, late in enumerate((0.5, 2.5, 3.0, 1.5, 0.9), 1):
        bench.made.turned(round(late * SECOND))
        bench.look(start + 61 * minute)
    assert bench.sensed("loop-slow") == ["", "2 s late at worst", ""]


def test_a_broker_that_brings_nothing_back_is_named_once(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.made.linked("mqtt", True)
    start = boottime() / SECOND
    for second in range(1, 60, 5):
        bench.look(start + second)
    (why,) = bench.deaf
    assert why.startswith("mqtt: this broker does not bring back this unit's own heartbeat")


def test_what_is_known_at_the_start_is_said(tmp_path: Path) -> None:
    bench = Bench(tmp_path, identity=Standing(True))
    bench.made.start(trusted=False)
    bench.made.stop()
    assert bench.sensed("copied-card") == ["another board or machine than the one it was made on"]
    assert bench.sensed("clock-unset") == ["no time service has set it"]
    bench.made.judge_clock(True)
    assert bench.sensed("clock-unset")[1:] == [""]


def test_its_threads_are_watched(tmp_path: Path) -> None:
    assert list(Bench(tmp_path).made.parts()) == ["senses"]
    visited = replace(RIG, dead_man=DeadMan(Secret("http://127.0.0.1:9/x"), 60 * SECOND))
    bench = Bench(tmp_path, visited)
    parts = bench.made.parts()
    assert parts["outside watch"][1] == 360 * SECOND
    assert not any(part.alive() for part, _ in parts.values())
    bench.made.start(trusted=True)
    assert all(part.alive() for part, _ in parts.values())
    bench.made.stop()


def test_the_outside_is_told_of_a_loop_that_looks_and_of_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(tmp_path)
    bench.look(100)
    lives = bench.made._lives
    for second, expected in ((129, True), (131, False)):
        monkeypatch.setattr(module, "boottime", lambda second=second: second * SECOND)
        assert lives() is expected
