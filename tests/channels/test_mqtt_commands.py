"""Commands over a real broker: what is old, retained, replayed, or not whole never acts."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest

from relayd.channels import homie
from relayd.channels.client import LARGEST, PIECE
from relayd.channels.mqtt import Mqtt
from relayd.channels.teller import ANSWERS_KEPT
from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, ChannelUp, Commanded, FaultFound
from relayd.core.plan import MINUTE
from relayd.rig import Broker
from tests.channels import shown
from tests.channels.client import FAST, cut
from tests.channels.watcher import COMMAND, STATE, TICKET, Posted, Watcher
from tests.servers.broker import Mosquitto, mosquitto

pytestmark = pytest.mark.slow
VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Mosquitto]:
    """An open broker."""
    with mosquitto(tmp_path) as running:
        yield running


@contextmanager
def unit(
    server: Mosquitto, posted: Posted, version: str = "5", allowed: bool = True
) -> Iterator[Mqtt]:
    """A client that shows an open high-level alarm, up when the block begins."""
    plan = shown.plan(allowed)
    broker = Broker("127.0.0.1", server.port, version, commands=True)
    client = Mqtt(posted, broker, plan, shown.UNIT, timing=FAST)
    client.show(homie.tree(shown.high(), plan, shown.NOW))
    client.start()
    try:
        posted.awaited(ChannelUp, len(posted.of(ChannelUp)) + 1)
        yield client
    finally:
        client.stop()
        assert posted.of(FaultFound) == []


def _good(reader: Watcher, **changes: str) -> str:
    fields = {"ticket": reader.tree[TICKET], "occurrence": shown.OCCURRENCE, "person": "anna"}
    return json.dumps({**fields, **changes})


def _ready(reader: Watcher) -> None:
    reader.until(lambda: reader.ready() and TICKET in reader.tree, "ready")


@VERSIONS
def test_a_whole_command_is_posted_once_and_its_answer_is_published(
    server: Mosquitto, version: str
) -> None:
    posted = Posted()
    with Watcher(server.port) as reader, unit(server, posted, version) as client:
        _ready(reader)
        used = reader.tree[TICKET]
        reader.send(_good(reader, act="taken", within="45 min"))
        event = posted.awaited(Commanded)
        wanted = Acknowledge(shown.OCCURRENCE, act=Act.TAKEN, within=45 * MINUTE)
        assert event == Commanded("mqtt:1", wanted, "anna", "mqtt")
        reader.until(lambda: reader.tree[TICKET] != used, "given a new ticket")
        client.answer(Answer("mqtt:1", True, "taken", "Anna has it until 14:00"))
        reader.until(lambda: len(reader.answers()) == 1, "answered")
        assert reader.answers()[0] == {
            "ok": True,
            "code": "taken",
            "say": "Anna has it until 14:00",
            "occurrence": shown.OCCURRENCE,
            "person": "anna",
            "ticket": reader.tree[TICKET],
        }
        assert reader.asks(_good(reader, ticket=used))["code"] == "old-ticket"
        assert len(posted.of(Commanded)) == 1
        assert reader.answers()[1]["ok"] is False


def _bare_true(reader: Watcher, again: Callable[[], None]) -> str | bytes:
    return "true"


def _replayed(reader: Watcher, again: Callable[[], None]) -> str:
    """Recorded in an earlier connection, sent again in this one."""
    recorded = _good(reader)
    again()
    return recorded


ATTEMPTS: dict[str, tuple[Callable[[Watcher, Callable[[], None]], str | bytes], str]] = {
    "bare true": (_bare_true, "not-an-object"),
    "recorded, and sent again after a reconnection": (_replayed, "old-ticket"),
    "of a person who is not in the plan": (lambda r, _: _good(r, person="carl"), "unknown-person"),
    "of another unit's occurrence": (
        lambda r, _: _good(r, occurrence="mill.k7m2.12"),
        "other-unit",
    ),
    "with a key of its own": (lambda r, _: _good(r, force="yes"), "unknown-key"),
    "half of it": (lambda r, _: _good(r)[:-3], "not-json"),
    "more than 4 KiB": (lambda r, _: _good(r) + " " * 4096, "too-long"),
    "nothing": (lambda r, _: "", "not-json"),
    "bytes that are no text": (lambda r, _: b"\xff\x00\xfe", "not-json"),
}


@VERSIONS
def test_no_other_command_acts_and_each_is_answered(server: Mosquitto, version: str) -> None:
    posted, rows = Posted(), []
    with Watcher(server.port) as reader, unit(server, posted, version) as client:
        _ready(reader)

        def again() -> None:
            ups = len(posted.of(ChannelUp))
            cut(client)
            posted.awaited(ChannelUp, ups + 1)
            _ready(reader)

        for name, (attempt, code) in ATTEMPTS.items():
            answer = reader.asks(attempt(reader, again))
            rows.append(f"{name:48} {answer['code']:16} {answer['say'][:90]}")
            assert (answer["ok"], answer["code"]) == (False, code)
            assert answer["ticket"] == reader.tree[TICKET]
            log = ("homie/5/pumphouse/$log/warn", answer["say"])
            reader.until(lambda log=log: log in reader.came, "logged")  # type: ignore[misc]
        assert client.alive()
    assert posted.of(Commanded) == []
    print(f"\nMQTT {version}", *rows, sep="\n")


@VERSIONS
@pytest.mark.parametrize("retain", [False, True], ids=["queued", "retained"])
def test_a_command_that_was_sent_while_the_unit_was_off_never_acts(
    server: Mosquitto, version: str, retain: bool
) -> None:
    posted = Posted()
    with Watcher(server.port) as reader:
        with unit(server, posted, version) as client:
            _ready(reader)
            network = client._client
            assert network is not None
            # The machine dies: no word to the broker, and its session goes on.
            network.reconnect_delay_set(2, 2)
            sock = network.socket()
            assert sock is not None
            sock.shutdown(2)  # type: ignore[attr-defined]
            reader.send(_good(reader), retain)
            waits = retain or version == "5"
            posted.awaited(ChannelUp, 2)
            _ready(reader)
            if waits:
                reader.until(lambda: bool(reader.answers()), "answered")
                answer = reader.answers()[0]
                assert answer["code"] == ("retained" if retain else "old-ticket")
                assert "send it" in answer["say"]
            # The connection works: what is whole is still heard.
            reader.send(_good(reader))
            posted.awaited(Commanded)
        count = len(reader.answers())
        if retain:
            with unit(server, posted, version):
                reader.until(lambda: len(reader.answers()) > count, "answered")
                assert {each["code"] for each in reader.answers()} == {"retained"}
    assert len(posted.of(Commanded)) == 1
    assert (reader.came.count((STATE, "disconnected"))) >= 1


def test_a_retained_command_is_known_at_its_first_coming_with_mqtt_5(server: Mosquitto) -> None:
    posted = Posted()
    with Watcher(server.port) as reader, unit(server, posted):
        _ready(reader)
        assert reader.asks(_good(reader), retain=True)["code"] == "retained"
        # Clearing it is no command and gets no answer.
        reader.send("", retain=True)
        assert reader.asks("true")["code"] == "not-an-object"
        assert len(reader.answers()) == 2
    assert posted.of(Commanded) == []


@VERSIONS
def test_where_the_plan_forbids_commands_nothing_is_shown_and_all_is_refused(
    server: Mosquitto, version: str
) -> None:
    posted = Posted()
    with Watcher(server.port) as reader, unit(server, posted, version, allowed=False):
        reader.until(reader.ready, "ready")
        assert not any("/commands/" in topic for topic in reader.tree)
        answer = reader.asks(
            json.dumps({"ticket": "", "occurrence": shown.OCCURRENCE, "person": "anna"})
        )
        assert answer["code"] == "off"
        assert "ticket" not in answer
    assert posted.of(Commanded) == []


def _payload(random: Random, good: str) -> bytes:
    """Something like a command, or nothing like it; never one with the ticket in force."""
    fields = json.loads(good)
    fields["ticket"] = random.choice(["", "aaaaaaaa", 1, None, [], fields["ticket"][:-1]])
    for key in random.sample([*fields, "act", "within", "x", ""], random.randint(0, 3)):
        fields[key] = random.choice([None, True, -1, 1e400, "", "taken", "\ud800", [], {"a": []}])
    if fields["ticket"] == json.loads(good)["ticket"]:
        fields["ticket"] = "old"
    text = json.dumps(fields).encode()
    cut = random.randrange(len(text))
    return random.choice(
        [
            text,
            text[:cut],
            text[:cut] + random.randbytes(4) + text[cut:],
            random.randbytes(random.randint(0, 6000)),
            b"[" * random.randint(1, 5000),
            b'"' + b"\\u0000" * random.randint(0, 600) + b'"',
        ]
    )


@VERSIONS
def test_two_thousand_foreign_payloads_post_nothing_and_kill_nothing(
    server: Mosquitto, version: str
) -> None:
    posted, random = Posted(), Random(20_000)
    with Watcher(server.port) as reader, unit(server, posted, version) as client:
        _ready(reader)
        good = _good(reader)
        for _ in range(2000):
            reader.client.publish(COMMAND, _payload(random, good), qos=1)
        # What comes last has waited behind all of them.
        reader.send(good)
        posted.awaited(Commanded)
        assert client.alive()
        assert posted.of(Commanded) == [
            Commanded("mqtt:1", Acknowledge(shown.OCCURRENCE), "anna", "mqtt")
        ]
        reader.until(
            lambda: reader.tree[TICKET] != json.loads(good)["ticket"], "given a new ticket"
        )
        reader.until(lambda: bool(reader.answers()), "answered")
        assert len(client._teller._answers) <= ANSWERS_KEPT
        assert all(each["ok"] is False for each in reader.answers())


def test_answers_that_nobody_can_get_are_dropped_and_counted(server: Mosquitto) -> None:
    posted = Posted()
    plan = shown.plan()
    broker = Broker("127.0.0.1", server.port)
    client = Mqtt(posted, broker, plan, shown.UNIT, timing=replace(FAST, retry=1))
    client.show(homie.tree(shown.high(), plan, shown.NOW))
    client.answer(Answer("mqtt:1", True, "taken", "done"))
    for number in range(999):
        client.answer(Answer("mqtt:0", False, "late", f"no. {number}"))
    with Watcher(server.port) as reader:
        client.start()
        try:
            dropped = f"{1000 - ANSWERS_KEPT} answers were dropped: too many at once"
            reader.until(lambda: ("homie/5/pumphouse/$log/warn", dropped) in reader.came, "counted")
            reader.until(lambda: len(reader.answers()) == ANSWERS_KEPT, "answered")
            assert reader.answers()[0]["say"] == "done"  # no refusal pushes it out
            assert reader.answers()[-1]["say"] == "no. 998"
        finally:
            client.stop()


@VERSIONS
def test_a_command_of_megabytes_is_cut_as_it_comes_and_what_follows_is_heard(
    server: Mosquitto, version: str
) -> None:
    posted = Posted()
    with unit(server, posted, version) as client, Watcher(server.port) as reader:
        _ready(reader)
        seen, take = list[int](), client._tickets.take

        def noted(raw: bytes, *rest: Any) -> Commanded | Answer:
            seen.append(len(raw))
            return take(raw, *rest)

        vars(client._tickets)["take"] = noted
        reader.send(b"x" * 20_000_000)
        assert reader.asks(_good(reader, ticket="old"))["code"] in ("too-long", "old-ticket")
        reader.until(lambda: reader.answers()[-1]["code"] == "old-ticket", "the next is heard")
        assert max(seen) <= LARGEST + PIECE
        assert len(seen) == (1 if version == "5" else 2)  # by 5 the broker keeps it to itself
        assert len(posted.of(ChannelUp)) == 1
