"""Several brokers behind one face: each with its own health, memory, announcements and answers."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.channels import homie
from relayd.channels.brokers import Brokers
from relayd.channels.stream import Stream
from relayd.core.effects import Answer
from relayd.core.events import ChannelDown, ChannelUp, Commanded
from relayd.rig import Announcement, Broker
from tests.channels import shown
from tests.channels.watcher import TICKET, Posted, Watcher
from tests.servers.broker import Mosquitto, free_port, mosquitto

pytestmark = pytest.mark.slow
PLAN = replace(shown.plan(), brokers=("office",))


class Memory:
    """What the journal keeps of topics that were said."""

    def __init__(self) -> None:
        self.topics: set[str] = set()

    def said_topics(self) -> set[str]:
        return set(self.topics)

    def said(self, topic: str, present: bool) -> None:
        (self.topics.add if present else self.topics.discard)(topic)


def none(way: str) -> Stream | None:
    return None


@contextmanager
def running(
    posted: Posted,
    brokers: list[Broker],
    memory: Memory,
    announcements: tuple[Announcement, ...] = (),
) -> Iterator[Brokers]:
    made = Brokers(posted, brokers, PLAN, memory, none, announcements)
    made.show(homie.tree(shown.high(), PLAN, shown.NOW))
    made.start()
    try:
        yield made
    finally:
        made.stop()


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[Mosquitto, Mosquitto]]:
    for name in ("site", "office"):
        (tmp_path / name).mkdir()
    with mosquitto(tmp_path / "site") as site, mosquitto(tmp_path / "office") as office:
        yield site, office


def at(site: int, office: int, **changes: object) -> list[Broker]:
    first = Broker("127.0.0.1", site, commands=True)
    return [first, replace(Broker("127.0.0.1", office, name="office"), **changes)]  # type: ignore[arg-type]


def test_each_broker_is_shown_the_tree_and_said_to_be_up_by_its_own_name(
    two: tuple[Mosquitto, Mosquitto],
) -> None:
    posted, memory = Posted(), Memory()
    site, office = two
    with running(posted, at(site.port, office.port), memory) as brokers:
        assert brokers.ways == ("mqtt", "mqtt:office")
        posted.until(lambda: set(_up(posted)) == set(brokers.ways))
        with Watcher(site.port) as one, Watcher(office.port) as other:
            one.until(lambda: one.ready() and TICKET in one.tree, "ready")
            other.until(lambda: other.ready() and len(other.tree) >= len(one.tree) - 1, "ready")
            assert TICKET not in other.tree, "that broker brings no commands"
        assert brokers.alive()
        assert brokers.beat() is not None
    said = {each.partition("|")[0] for each in memory.topics if "|" in each}
    assert said == {"mqtt:office"}


def _up(posted: Posted) -> list[str]:
    return [each.channel for each in posted.events if isinstance(each, ChannelUp)]


def test_one_that_is_away_holds_up_no_other_and_is_told_by_its_name(tmp_path: Path) -> None:
    posted = Posted()
    with mosquitto(tmp_path) as site, running(posted, at(site.port, free_port()), Memory()):
        up, down = posted.awaited(ChannelUp), posted.awaited(ChannelDown)
        assert (up.channel, down.channel) == ("mqtt", "mqtt:office")
        assert "is not reached" in down.why
        with Watcher(site.port) as reader:
            reader.until(reader.ready, "ready")


def test_an_answer_goes_to_the_broker_by_which_the_command_came(
    two: tuple[Mosquitto, Mosquitto],
) -> None:
    posted = Posted()
    site, office = two
    both = at(site.port, office.port, commands=True)
    with running(posted, both, Memory()) as brokers, Watcher(site.port) as one:
        with Watcher(office.port) as other:
            other.until(lambda: other.ready() and TICKET in other.tree, "ready")
            one.until(lambda: one.ready() and TICKET in one.tree, "ready")
            other.send(
                f'{{"ticket": "{other.tree[TICKET]}", "occurrence": "{shown.OCCURRENCE}",'
                ' "person": "anna"}'
            )
            asked = posted.awaited(Commanded)
            assert (asked.token, asked.way) == ("mqtt:office:1", "mqtt:office")
            brokers.answer(Answer(asked.token, True, "seen", "noted"))
            other.until(lambda: len(other.answers()) == 1, "answered")
            assert one.answers() == []


ANNOUNCED = (
    Announcement("hub/kept", '{"label": "Pump house"}', on="all"),
    Announcement("hub/office", "only there", on="office"),
    Announcement("hub/hello", "here I am", retain=False),
)


def test_announcements_are_told_to_their_brokers_and_cleared_when_the_plan_has_them_no_more(
    two: tuple[Mosquitto, Mosquitto],
) -> None:
    posted, memory = Posted(), Memory()
    site, office = two
    filters = ("homie/5/#", "hub/#")
    with Watcher(site.port, filters=filters) as one, Watcher(office.port, filters=filters) as other:
        with running(posted, at(site.port, office.port), memory, ANNOUNCED):
            one.until(lambda: ("hub/hello", "here I am") in one.came, "greeted")
            one.until(lambda: "hub/kept" in one.tree, "told")
            other.until(lambda: {"hub/kept", "hub/office"} <= other.tree.keys(), "told")
            assert "hub/office" not in one.tree
            assert ("hub/hello", "here I am") not in other.came
        with running(posted, at(site.port, office.port), memory, ANNOUNCED[:1]):
            other.until(lambda: "hub/office" not in other.tree, "cleared")
            other.until(lambda: "hub/kept" in other.tree, "kept")
    with (
        Watcher(site.port, filters=("hub/#",)) as late,
        running(posted, at(site.port, office.port), memory),
    ):
        late.until(lambda: late.tree.get("hub/kept") is None, "cleared")
        late.until(lambda: ("hub/kept", "") in late.came, "cleared")


def test_a_greeting_comes_at_every_connection(tmp_path: Path) -> None:
    posted = Posted()
    with mosquitto(tmp_path) as site:
        one = [Broker("127.0.0.1", site.port)]
        with running(posted, one, Memory(), ANNOUNCED[2:]):
            posted.awaited(ChannelUp)
            site.kill()
            posted.awaited(ChannelDown)
            site.start()
            with Watcher(site.port, filters=("hub/#",)) as reader:
                reader.until(lambda: ("hub/hello", "here I am") in reader.came, "greeted again")


def test_what_was_said_to_a_broker_that_the_plan_has_no_more_is_forgotten(tmp_path: Path) -> None:
    memory = Memory()
    memory.topics = {"homie/5/pumphouse/$state", "mqtt:gone|homie/5/pumphouse/$state"}
    Brokers(Posted(), [Broker("127.0.0.1", 1)], PLAN, memory, none)
    assert memory.topics == {"homie/5/pumphouse/$state"}


def test_no_broker_at_all_is_alive_and_quiet() -> None:
    made = Brokers(Posted(), [], PLAN, Memory(), none)
    made.start()
    made.show({})
    made.wake()
    assert (made.ways, made.alive(), made.beat()) == ((), True, None)
    made.stop()
