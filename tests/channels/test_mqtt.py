"""A real broker shows the unit's tree, whatever happens to the broker and to the connection."""

import tracemalloc
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from threading import Event
from time import monotonic

import pytest

from relayd.core.events import ChannelDown, ChannelUp
from relayd.rig import Broker
from tests.channels.client import FAST, HIGH, QUIET, TAKEN, at, cut, unit
from tests.channels.shown import faults
from tests.channels.watcher import DEADLINE, STATE, TICKET, Posted, Watcher
from tests.servers.broker import Mosquitto, free_port, mosquitto

pytestmark = pytest.mark.slow
VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Mosquitto]:
    """An open broker."""
    with mosquitto(tmp_path) as running:
        yield running


@pytest.fixture
def posted() -> Posted:
    """Where the client posts to; no test ends with a fault of relayd itself."""
    return Posted()


@VERSIONS
def test_a_subscriber_sees_the_whole_tree_and_it_keeps_the_convention(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    with unit(posted, at(server, version)), Watcher(server.port) as reader:
        reader.shows(QUIET)
        posted.awaited(ChannelUp)
        assert faults(reader.tree) == []
        assert reader.tree[TICKET]
    assert posted.of(ChannelDown) == []


@VERSIONS
def test_the_root_is_ready_last_and_described_only_in_init(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    with Watcher(server.port) as reader, unit(posted, at(server, version)):
        reader.shows(QUIET)
        first, last = reader.came[0], reader.came[-1]
        assert (first, last) == ((STATE, "init"), (STATE, "ready"))
        states: dict[str, str] = {}
        for topic, payload in reader.came:
            device = topic.split("/")[2]
            if topic.endswith("/$state"):
                states[device] = payload
            elif topic != TICKET:
                assert states[device] == "init"


@VERSIONS
def test_a_change_publishes_only_the_difference(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    with Watcher(server.port) as reader, unit(posted, at(server, version)) as client:
        posted.awaited(ChannelUp)
        reader.shows(QUIET)
        for tree in (HIGH, TAKEN, QUIET):
            before, shows = len(reader.came), dict(reader.tree)
            client.show(tree)
            reader.shows(tree)
            differ = {
                each for each in shows.keys() | tree.keys() if shows.get(each) != tree.get(each)
            }
            differ -= {each for each in shows if each.endswith("/$state") or each == TICKET}
            assert sorted(topic for topic, _ in reader.came[before:]) == sorted(differ)
            assert 0 < len(differ) < 20


def test_a_thousand_trees_at_once_end_with_the_last_one(server: Mosquitto, posted: Posted) -> None:
    with Watcher(server.port) as reader, unit(posted, at(server)) as client:
        posted.awaited(ChannelUp)
        quiet = dict(QUIET)
        began = monotonic()
        for number in range(1000):
            client.show({**quiet, f"{STATE[:-7]}/alarm-mqtt-down/says": f"no. {number}"})
        took = monotonic() - began
        reader.shows({**QUIET, f"{STATE[:-7]}/alarm-mqtt-down/says": "no. 999"})
        client.show(QUIET)
        reader.shows(QUIET)
    assert took < 1, "show must not wait for the broker"


@VERSIONS
def test_a_broker_that_comes_back_empty_is_told_everything_again(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    with unit(posted, at(server, version)) as client:
        posted.awaited(ChannelUp)
        server.kill()
        down = posted.awaited(ChannelDown)
        assert "127.0.0.1" in down.why
        client.show(TAKEN)
        server.start()
        with Watcher(server.port) as reader:
            reader.shows(TAKEN)
        posted.awaited(ChannelUp, 2)
    assert [type(each) for each in posted.events] == [ChannelUp, ChannelDown, ChannelUp]


@VERSIONS
def test_a_broker_that_is_not_there_is_said_once_and_found_when_it_comes(
    tmp_path: Path, posted: Posted, version: str
) -> None:
    with mosquitto(tmp_path) as server:
        server.kill()
        with unit(posted, at(server, version)):
            assert "is not reached" in posted.awaited(ChannelDown).why
            server.start()
            posted.awaited(ChannelUp)
        assert len(posted.of(ChannelDown)) == 1


@VERSIONS
def test_a_unit_that_dies_is_lost_and_one_that_stops_is_disconnected(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    with Watcher(server.port) as reader:
        with unit(posted, at(server, version)) as client:
            posted.awaited(ChannelUp)
            reader.shows(QUIET)
            cut(client)
            reader.until(lambda: (STATE, "lost") in reader.came or version == "5", "lost")
            posted.awaited(ChannelUp, 2)
            reader.until(reader.ready, "ready again")
        states = {value for topic, value in reader.tree.items() if topic.endswith("/$state")}
        reader.until(lambda: reader.tree[STATE] == "disconnected", "disconnected")
        assert "lost" not in states
    # With MQTT 5 the will waits, and a unit that is back in time was never lost.
    assert ((STATE, "lost") in reader.came) == (version == "3.1.1")


def test_the_will_of_a_unit_that_stays_away_comes_after_its_delay(
    server: Mosquitto, posted: Posted
) -> None:
    slow = replace(FAST, retry=60, retry_most=60)
    with Watcher(server.port) as reader, unit(posted, at(server), timing=slow) as client:
        posted.awaited(ChannelUp)
        cut(client)
        reader.until(lambda: reader.tree.get(STATE) == "lost", "lost")
    assert reader.tree[STATE] == "lost", "a unit that is not connected cannot say otherwise"


def test_topics_of_an_earlier_process_are_cleared_and_forgotten(
    server: Mosquitto, posted: Posted
) -> None:
    old = "homie/5/pumphouse-old-tank"
    left = {f"{old}/$state": "ready", f"{old}/$description": "{}", f"{old}/inputs/float": "open"}
    told: list[tuple[str, bool]] = []
    with Watcher(server.port) as reader:
        for topic, payload in left.items():
            reader.send(payload, retain=True, topic=topic)
        said = {*left, *QUIET, STATE}
        with unit(posted, at(server), said=said, on_said=lambda *each: told.append(each)):
            posted.awaited(ChannelUp)
            reader.shows(QUIET)
    assert {topic for topic, stands in told if not stands} == set(left)
    new = {topic for topic, stands in told if stands}
    assert new == {TICKET, "homie/5/pumphouse-cabin/$state", "homie/5/pumphouse-lower-well/$state"}


def test_what_is_said_is_reported_before_it_can_stand_at_the_broker(
    server: Mosquitto, posted: Posted
) -> None:
    with Watcher(server.port) as reader:
        alert = "homie/5/pumphouse-cabin/$alert/high-level"
        early: list[str] = []
        stands: set[str] = set()
        forgotten = Event()

        def on_said(topic: str, says: bool) -> None:
            # What is forgotten may still be on its way to the reader.
            early.extend([topic] if says and topic in reader.tree else [])
            stands.add(topic) if says else stands.discard(topic)
            if topic == alert and not says:
                forgotten.set()

        with unit(posted, at(server), tree=HIGH, on_said=on_said) as client:
            reader.shows(HIGH)
            posted.awaited(ChannelUp)
            client.show(QUIET)
            reader.shows(QUIET)
            assert forgotten.wait(DEADLINE)
        assert early == []
        assert stands == set(reader.tree)


def test_a_client_with_nothing_to_show_says_nothing(server: Mosquitto, posted: Posted) -> None:
    with Watcher(server.port) as reader, unit(posted, at(server), tree=None) as client:
        reader.send("x", topic="homie/5/elsewhere/$state")
        reader.until(lambda: len(reader.came) == 1, "there")
        assert posted.events == []
        client.show(QUIET)
        posted.awaited(ChannelUp)


@VERSIONS
def test_connections_cut_in_the_middle_of_changes_end_with_the_truth(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    with Watcher(server.port) as reader, unit(posted, at(server, version)) as client:
        for ups, last in enumerate((HIGH, TAKEN, QUIET), 1):
            posted.awaited(ChannelUp, ups)
            for number in range(60):
                client.show((QUIET, HIGH, TAKEN)[number % 3])
                if number == 30:
                    cut(client)
            client.show(last)
        posted.awaited(ChannelUp, 4)
        reader.shows(QUIET)
        assert faults(reader.tree) == []


def test_while_the_broker_is_away_no_tree_is_kept_but_the_last(posted: Posted) -> None:
    with unit(posted, Broker("127.0.0.1", free_port())) as client:
        tracemalloc.start()
        try:
            for number in range(1000):
                client.show({**QUIET, f"{STATE[:-7]}/alarm-mqtt-down/says": f"{number}" * 100})
            held, _ = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
    assert held < 200_000
