"""The event stream through real faults of a real broker: nothing missing, in order, gaps said.

Each fault happens while events are recorded. A subscriber that keeps its session at the broker is
what an integrator would have; the table of what it saw is printed.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from threading import Event
from typing import Any

import jsonschema
import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from relayd.channels import event, homie
from relayd.channels.client import Timing
from relayd.channels.mqtt import Mqtt
from relayd.channels.stream import Stream
from relayd.clock import boottime
from relayd.core.effects import Record
from relayd.core.events import ChannelDown, ChannelUp, FaultFound
from relayd.core.plan import SECOND
from relayd.core.state import Stamp
from relayd.journal.feed import Feed
from relayd.journal.store import Journal
from relayd.rig import Broker
from tests.channels import shown
from tests.channels.reader import Reader, kept
from tests.channels.watcher import Posted
from tests.house.tree import ROOT
from tests.servers.broker import Mosquitto

pytestmark = [pytest.mark.slow, pytest.mark.untraced]
TOPIC = event.topic(shown.UNIT)
SCHEMA = json.loads((ROOT / "relayd" / "schemas" / "event.schema.json").read_text())
QUICK = Timing(keepalive=2, will_delay=1, retry_most=1, back_off=1, proving=1)
DEADLINE = 30.0


class Book:
    """A journal on the disk, and records that are written into it one by one."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "journal.db"
        self.journal = Journal(self.path, shown.UNIT, lambda: "k7m2ab")
        self.state = self.journal.open()
        self.count = 0

    def record(self, count: int) -> None:
        for _ in range(count):
            self.count += 1
            stamp = Stamp(self.count * SECOND, shown.WALL + self.count * SECOND, True)
            now = replace(shown.NOW, up=stamp.up, wall=stamp.wall)
            after = replace(self.state, stamp=stamp)
            told = Record("tested", "panel:cabin", {"number": self.count})
            assert self.journal.commit(self.state, after, [told], now, 10.0)
            self.state = after

    def stream(self, posted: Posted) -> Stream:
        now = replace(shown.NOW, wall=shown.WALL)
        feed = Feed(self.path, self.journal, self.state.epoch, lambda: now)
        return Stream(shown.UNIT, "mqtt", feed, lambda why: posted(FaultFound("mqtt", why)))


def judged(came: list[dict[str, Any]], count: int) -> tuple[int, int, int]:
    """(records, repeats, gaps), after holding all that came against the promise of the stream."""
    for each in came:
        jsonschema.validate(each, SCHEMA)
    first_time, highest, covered = [], 0, set[int]()
    for each in came:
        n, gap = each["n"], each["kind"] == event.GAP
        if n > highest:
            first_time.append(n)
            highest = n
        first = each["body"]["from"] or 1 if gap else n
        covered |= set(range(first, n + 1))
        if not gap:
            assert each["body"] == {"number": n}
    assert covered == set(range(1, count + 1)), "something is missing, and no gap says so"
    assert first_time == sorted(first_time)
    gaps = [each for each in came if each["kind"] == event.GAP]
    records = [each["n"] for each in came if each["kind"] != event.GAP]
    return len(set(records)), len(records) - len(set(records)), len(gaps)


@contextmanager
def unit(book: Book, posted: Posted, broker: Broker, timing: Timing = QUICK) -> Iterator[Mqtt]:
    plan = shown.plan()
    client = Mqtt(posted, broker, plan, shown.UNIT, timing=timing, stream=book.stream(posted))
    book.journal.recorded = client.wake
    client.show(homie.tree(shown.quiet(), plan, shown.NOW))
    client.start()
    try:
        yield client
    finally:
        client.stop()
        assert posted.of(FaultFound) == []


Fault = Callable[[Mosquitto, Book, Posted], str]


def _stopped_and_kept(server: Mosquitto, book: Book, posted: Posted) -> str:
    server.suspend()
    book.record(120)
    posted.awaited(ChannelDown)
    server.resume()
    return "hung until its silence was noticed, then went on"


def _killed(server: Mosquitto, book: Book, posted: Posted) -> str:
    server.kill()
    book.record(120)
    posted.awaited(ChannelDown)
    server.start()
    return "killed, started again with what it keeps on its disk"


FAULTS = {"hangs": _stopped_and_kept, "killed": _killed}


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_subscriber_misses_nothing_and_gets_all_in_order(tmp_path: Path, fault: Fault) -> None:
    book, posted = Book(tmp_path), Posted()
    server = Mosquitto(tmp_path, ["allow_anonymous true", *kept(tmp_path)])
    server.start()
    try:
        with Reader(server.port) as reader, unit(book, posted, Broker("127.0.0.1", server.port)):
            posted.awaited(ChannelUp)
            book.record(30)
            reader.has(30)
            what = fault(server, book, posted)
            posted.awaited(ChannelUp, 2)
            book.record(10)
            reader.has(160)
        told, repeats, gaps = judged(reader.came, 160)
        # The one gap is the first message: this broker was told nothing before.
        assert (told, gaps) == (160, 1)
        print(f"\n{what}: {told} events, {repeats} repeated, {gaps} gap(s); the unit said:")
        print(*(f"  {each.why}" for each in posted.of(ChannelDown)), sep="\n")
    finally:
        server.kill()
        book.journal.close()


def test_a_broker_with_an_empty_store_has_what_it_lost_sent_again(tmp_path: Path) -> None:
    """A new broker forgets its subscribers: what came before they are back is asked for again."""
    book, posted = Book(tmp_path), Posted()
    server = Mosquitto(tmp_path, ["allow_anonymous true"])
    server.start()
    try:
        with Reader(server.port) as reader, unit(book, posted, Broker("127.0.0.1", server.port)):
            posted.awaited(ChannelUp)
            book.record(30)
            reader.has(30)
            server.kill()
            book.record(50)
            posted.awaited(ChannelDown)
            reader.subscribed = False
            server.start()
            posted.awaited(ChannelUp, 2)
            reader.until(lambda: reader.subscribed, "subscribed")
            book.record(5)
            reader.has(85)
            assert reader.client is not None
            reader.client.publish(event.replay_topic(shown.UNIT), '{"from": 31}', qos=1)
            whole = set(range(1, 86))
            reader.until(lambda: {each["n"] for each in reader.came} >= whole, "whole")
        covered = {
            each["n"] for each in reader.came if each["kind"] not in (event.GAP, event.REPLAY)
        }
        assert covered == whole
    finally:
        server.kill()
        book.journal.close()


def test_what_a_refused_login_held_up_comes_when_it_is_let_in_again(tmp_path: Path) -> None:
    book, posted = Book(tmp_path), Posted()
    server = Mosquitto(tmp_path, ["allow_anonymous true", *kept(tmp_path)])
    server.start()
    port = server.port
    try:
        with Reader(port) as reader, unit(book, posted, Broker("127.0.0.1", port)):
            posted.awaited(ChannelUp)
            book.record(20)
            reader.has(20)
            server.kill()
            (tmp_path / "closed").mkdir()
            closed = Mosquitto(tmp_path / "closed", ["allow_anonymous false"], port)
            closed.start()
            posted.until(lambda: any("refuses the login" in e.why for e in posted.of(ChannelDown)))
            book.record(100)
            closed.kill()
            server.start()
            posted.awaited(ChannelUp, 2)
            book.record(1)
            reader.has(121)
        told, repeats, gaps = judged(reader.came, 121)
        assert (told, gaps) == (121, 1)
        print(f"\nlogin refused: {told} events, {repeats} repeated, {gaps} gap(s)")
    finally:
        server.kill()
        book.journal.close()


@pytest.mark.parametrize("keepalive", [2, 4])
def test_a_connection_on_which_nothing_comes_back_is_noticed_in_time(
    tmp_path: Path, keepalive: int
) -> None:
    """paho asks after 0.7 keepalives and gives up after as much again; its own check is each second."""
    book, posted = Book(tmp_path), Posted()
    server = Mosquitto(tmp_path, ["allow_anonymous true"])
    server.start()
    try:
        timing = replace(QUICK, keepalive=keepalive)
        with unit(book, posted, Broker("127.0.0.1", server.port), timing):
            posted.awaited(ChannelUp)
            server.suspend()
            stood = boottime()
            posted.awaited(ChannelDown)
            took = (boottime() - stood) / SECOND
            server.resume()
        print(f"\nkeepalive {keepalive} s: noticed after {took:.1f} s")
        assert took <= 1.5 * keepalive + 2.0
    finally:
        server.kill()
        book.journal.close()


def test_events_come_again_where_a_subscriber_asks_for_them(tmp_path: Path) -> None:
    book, posted = Book(tmp_path), Posted()
    server = Mosquitto(tmp_path, ["allow_anonymous true"])
    server.start()
    try:
        with unit(book, posted, Broker("127.0.0.1", server.port)):
            posted.awaited(ChannelUp)
            with Reader(server.port) as reader:
                book.record(30)
                reader.has(30)
                assert reader.client is not None
                wish = event.replay_topic(shown.UNIT)
                log = f"homie/5/{shown.UNIT}/$log/warn"
                reader.client.subscribe(log)
                reader.client.publish(wish, '{"from": 21}', qos=1)
                reader.until(lambda: sum(e["n"] == 30 for e in reader.came) == 2, "sent again")
                reader.client.publish(wish, "all of it", qos=1)
                reader.until(lambda: bool(reader.said), "answered")
        assert [each["n"] for each in reader.came[-11:]] == list(range(20, 31))
        assert reader.said == [
            'events/replay: send the first number that you want again, such as {"from": 120}'
        ]
    finally:
        server.kill()
        book.journal.close()


def test_another_client_with_the_unit_s_name_is_said_and_costs_no_event(tmp_path: Path) -> None:
    book, posted = Book(tmp_path), Posted()
    server = Mosquitto(tmp_path, ["allow_anonymous true"])
    server.start()
    try:
        with Reader(server.port) as reader, unit(book, posted, Broker("127.0.0.1", server.port)):
            posted.awaited(ChannelUp)
            book.record(30)
            reader.has(30)
            thief = Client(CallbackAPIVersion.VERSION2, f"relayd-{shown.UNIT}")
            thief.connect("127.0.0.1", server.port)
            thief.loop_start()
            posted.awaited(ChannelDown)
            book.record(60)
            thief.disconnect()
            thief.loop_stop()
            reader.has(90)
        told, repeats, gaps = judged(reader.came, 90)
        print(f"\ntaken over: {told} events, {repeats} repeated, {gaps} gap(s)")
        print(*(f"  {each.why}" for each in posted.of(ChannelDown)), sep="\n")
        assert told == 90
    finally:
        server.kill()
        book.journal.close()


@pytest.mark.long
@pytest.mark.timeout(0)
def test_ten_minutes_without_a_broker_cost_no_event_and_no_memory(tmp_path: Path) -> None:
    """Real minutes: four events a second, and what the process holds measured on the way."""
    book, posted, pause = Book(tmp_path), Posted(), Event()
    server = Mosquitto(tmp_path, ["allow_anonymous true"])
    server.start()
    try:
        with unit(book, posted, Broker("127.0.0.1", server.port)):
            posted.awaited(ChannelUp)
            book.record(50)
            server.kill()
            posted.awaited(ChannelDown)
            sizes = []
            for _ in range(600):
                book.record(4)
                pause.wait(1.0)
                sizes.append(resident())
            server.start()
            with Reader(server.port) as reader:
                book.record(1)
                reader.has(2451)
        told = sorted({each["n"] for each in reader.came if each["kind"] != event.GAP})
        assert told[-1] == 2451
        # What the first reader's broker had taken is not sent again: the rest is there, whole.
        assert told == list(range(told[0], 2452))
        assert told[0] <= 51
        print(f"\nten minutes: {len(told)} events after it, memory {sizes[30]} to {sizes[-1]} KiB")
        assert sizes[-1] < sizes[30] * 1.05
    finally:
        server.kill()
        book.journal.close()


def resident() -> int:
    """KiB that this process holds."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return int(next(each for each in lines if each.startswith("VmRSS")).split()[1])
