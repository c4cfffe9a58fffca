"""Rows at a real broker, without pins: events and trees on their way, beside a bare client of paho.

The floor publishes as many messages of the same sizes with the same quality and as many in flight.
Both clients are processes' threads of this one; the broker is mosquitto. Rounds are taken in turn.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from statistics import median
from threading import Condition
from time import perf_counter_ns

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from relayd.channels import event, homie
from relayd.channels.branches import Branches
from relayd.channels.brokers import Brokers
from relayd.channels.mqtt import Mqtt
from relayd.channels.stream import Stream
from relayd.core.effects import Record
from relayd.core.events import ChannelUp, Event
from relayd.core.plan import SECOND
from relayd.core.state import Stamp
from relayd.journal.feed import Feed
from relayd.journal.store import Journal
from relayd.rig import Broker
from tests.bench.figures import Row, ms, quantile, spread
from tests.channels import shown
from tests.channels.test_brokers import Memory
from tests.servers.broker import Mosquitto

IN_FLIGHT = 10
PATIENCE = 60.0
RATE, LATENCY = 3.0, 3.0
"""Budgets of this bench's own: a third of a bare client's rate, three times its latency."""


class Arrivals:
    """A subscriber that counts, and notes when the last came."""

    def __init__(self, port: int, topic: str) -> None:
        self.count, self.at = 0, 0
        self._news = Condition()
        self._ready = False
        self.client = _client("arrivals", port)
        self.client.on_connect = lambda *_: self.client.subscribe(topic, qos=1) and None
        self.client.on_subscribe, self.client.on_message = self._subscribed, self._message
        self.client.loop_start()
        self.until(lambda: self._ready)

    def _subscribed(self, *_: object) -> None:
        with self._news:
            self._ready = True
            self._news.notify_all()

    def _message(self, client: Client, userdata: object, message: MQTTMessage) -> None:
        with self._news:
            self.count, self.at = self.count + 1, perf_counter_ns()
            self._news.notify_all()

    def until(self, holds: Callable[[], bool]) -> None:
        with self._news:
            if not self._news.wait_for(holds, PATIENCE):
                raise SystemExit(f"bench: only {self.count} messages came")

    def stop(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def _client(name: str, port: int) -> Client:
    made = Client(CallbackAPIVersion.VERSION2, name, protocol=MQTTProtocolVersion.MQTTv311)
    made.max_inflight_messages_set(IN_FLIGHT)
    made.connect("127.0.0.1", port)
    return made


class Up:
    """Hears when the unit is up."""

    def __init__(self) -> None:
        self._news = Condition()
        self._up = False

    def __call__(self, said: Event) -> None:
        with self._news:
            self._up = self._up or isinstance(said, ChannelUp)
            self._news.notify_all()

    def awaited(self) -> None:
        with self._news:
            if not self._news.wait_for(lambda: self._up, PATIENCE):
                raise SystemExit("bench: the broker was not reached")


def rows(folder: Path, rounds: int, events: int, moves: int) -> Iterator[Row]:
    """Rate of events, of a tree at a connection, and the latency of one change."""
    folder = folder / "mqtt"
    folder.mkdir()
    server = Mosquitto(folder, ["allow_anonymous true"])
    server.start()
    try:
        book = _book(folder, events)
        ours, bare = [], []
        for _ in range(rounds):
            ours.append(_streamed(server.port, folder, book, events))
            bare.append(_bare(server.port, event.topic(shown.UNIT), _payloads(events), False))
        book.close()
        yield _rate(f"{events} events to a subscriber, beside a bare client", ours, bare)
        tree = homie.tree(shown.high(), shown.plan(), shown.NOW)
        ours, bare = [], []
        for _ in range(rounds):
            ours.append(_shown(server.port, tree))
            bare.append(_bare(server.port, "bare/tree", list(tree.values()), True))
        yield _rate(
            f"a tree of {len(tree)} topics at a connection, beside a bare client", ours, bare
        )
        yield _latency(server.port, moves)
    finally:
        server.kill()


def _rate(what: str, ours: list[float], bare: list[float]) -> Row:
    """Rates in messages a second."""
    ratios = [floor / mine for mine, floor in zip(ours, bare, strict=True)]
    return Row(
        what,
        f"{spread(ours, 0)} a second",
        f"{spread(bare, 0)} a second",
        spread(ratios),
        f"{RATE:g}",
        median(ratios) <= RATE,
    )


def _book(folder: Path, events: int) -> Journal:
    """A journal with so many records."""
    journal = Journal(folder / "journal.db", shown.UNIT, lambda: "k7m2ab")
    state = journal.open()
    for number in range(1, events + 1):
        stamp = Stamp(number * SECOND, shown.WALL, True)
        told = Record(
            "tested", "panel:cabin", {"number": number, "why": "a record of usual length"}
        )
        after = replace(state, stamp=stamp)
        journal.commit(state, after, [told], replace(shown.NOW, up=stamp.up), 10.0)
        state = after
    return journal


def _payloads(count: int) -> list[str]:
    row = {"boot": "boot-1", "up": SECOND, "wall": shown.WALL, "trusted": True, "kind": "tested"}
    body = {"number": 1, "why": "a record of usual length"}
    whole = {"n": 1, **row, "subject": "panel:cabin", "body": body}
    return [event.of_record(event.Origin(shown.UNIT, "k7m2ab"), whole)] * count


def _streamed(port: int, folder: Path, book: Journal, events: int) -> float:
    """Events a second until a subscriber has all of them, counted from the connection on."""
    book.meta_note("stream:mqtt", "")
    feed = Feed(folder / "journal.db", book, "k7m2ab", lambda: shown.NOW)
    stream = Stream(shown.UNIT, "mqtt", feed)
    arrivals, up = Arrivals(port, event.topic(shown.UNIT)), Up()
    client = Mqtt(up, Broker("127.0.0.1", port), shown.plan(), shown.UNIT, stream=stream)
    client.show({})
    begin = perf_counter_ns()
    client.start()
    arrivals.until(lambda: arrivals.count >= events)
    took = arrivals.at - begin
    client.stop()
    arrivals.stop()
    return events * 1e9 / took


def _shown(port: int, tree: Branches[str]) -> float:
    """Topics a second until a subscriber has the whole tree."""
    arrivals, up = Arrivals(port, "homie/5/#"), Up()
    brokers = Brokers(up, [Broker("127.0.0.1", port)], shown.plan(), Memory(), lambda way: None)
    brokers.show(tree)
    begin = perf_counter_ns()
    brokers.start()
    up.awaited()
    arrivals.until(lambda: arrivals.count >= len(tree))
    took = arrivals.at - begin
    brokers.stop()
    arrivals.stop()
    return len(tree) * 1e9 / took


def _bare(port: int, topic: str, payloads: list[str], retain: bool) -> float:
    """The same number of messages by paho alone, from the connection on."""
    arrivals = Arrivals(port, f"{topic}/#")
    begin = perf_counter_ns()
    client = _client("bare", port)
    client.loop_start()
    for number, each in enumerate(payloads):
        client.publish(f"{topic}/{number}" if retain else topic, each, qos=1, retain=retain)
    arrivals.until(lambda: arrivals.count >= len(payloads))
    took = arrivals.at - begin
    client.disconnect()
    client.loop_stop()
    arrivals.stop()
    return len(payloads) * 1e9 / took


def _latency(port: int, moves: int) -> Row:
    """From a changed tree to its topic at a subscriber, beside one publication."""
    topic = f"homie/5/{shown.UNIT}-cabin/level/says"
    arrivals, up = Arrivals(port, topic), Up()
    brokers = Brokers(up, [Broker("127.0.0.1", port)], shown.plan(), Memory(), lambda way: None)
    tree = homie.tree(shown.quiet(), shown.plan(), shown.NOW)
    brokers.show(tree)
    brokers.start()
    up.awaited()
    bare = _client("bare", port)
    bare.loop_start()
    mine: list[float] = []
    floor: list[float] = []
    device = f"{shown.UNIT}-cabin"

    def timed(publish: Callable[[], object]) -> int:
        before, begin = arrivals.count, perf_counter_ns()
        publish()
        arrivals.until(lambda: arrivals.count > before)
        return arrivals.at - begin

    for number in range(moves):
        changed = _said(tree, device, topic, f"no. {number}")
        mine.append(timed(partial(brokers.show, changed)))
        floor.append(timed(partial(bare.publish, topic, f"bare {number}", 1, True)))
    for each in (brokers, arrivals):
        each.stop()
    bare.disconnect()
    bare.loop_stop()
    ratios = [quantile(mine, share) / quantile(floor, share) for share in (0.5, 0.99)]
    return Row(
        "one change to a subscriber, beside one bare publication",
        f"p50 {ms(quantile(mine, 0.5))}, p99 {ms(quantile(mine, 0.99))}",
        f"p50 {ms(quantile(floor, 0.5))}, p99 {ms(quantile(floor, 0.99))}",
        f"p50 {ratios[0]:.2f}, p99 {ratios[1]:.2f}",
        f"p50 {LATENCY:g}",
        ratios[0] <= LATENCY,
    )


def _said(tree: Branches[str], device: str, topic: str, text: str) -> Branches[str]:
    return tree.grafted(device, {**tree.branch(device), topic: text})
