"""Hostile payloads on every command topic: nothing acts, nothing dies, each answer is bounded.

A payload is made from a whole command by chance: keys, values, bytes and structure. Some carry the
ticket in force, so that they pass as far as the core; only the occurrence in them is never one that
stands. What passes is given to the core, which must refuse it and change nothing.
"""

import json
import os
import string
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from relayd.channels import command, homie
from relayd.channels.mqtt import Mqtt
from relayd.channels.tickets import Tickets
from relayd.core.effects import Answer, Tell, Withdraw
from relayd.core.events import ChannelUp, Commanded, FaultFound, HornWire
from relayd.core.machine import step
from relayd.core.state import State
from relayd.rig import Broker
from tests.channels import shown
from tests.channels.client import FAST
from tests.channels.watcher import Posted, Watcher
from tests.servers.broker import mosquitto

SEED = int(os.environ.get("RELAYD_SEED", "20260301"))
MOST = 1000
"""Characters of an answer as it is published."""
ODD = (
    "",
    "\x00",
    "\ufeff",
    "\u202e",
    "é" * 300,
    "a" * 5000,
    "../../etc",
    "$(id)",
    "' or 1=1",
    "-1",
)
NUMBERS: tuple[object, ...] = (0, -1, 1e309, 2**70, True, None, [], {}, [[[]]])


def _whole(chance: Random, kind: str, ticket: str) -> dict[str, object]:
    """A command that would be obeyed if its ticket is right and what it names stands."""
    number = chance.choice(["1", "11", "13", "99999999999999999"])
    if kind == command.HORN_WIRE:
        wire = chance.choice(["off", "back", "OFF", "cut"])
        return {"ticket": ticket, "panel": "attic", "person": "anna", "wire": wire}
    act, within = chance.choice(["seen", "taken", "none"]), chance.choice(["45 min", "25 h", "0"])
    fields: dict[str, object] = {"ticket": ticket, "person": chance.choice(["anna", "ben", "eve"])}
    fields["occurrence"] = f"{shown.UNIT}.k7m2.{number}"
    return fields | ({"act": act, "within": within} if chance.random() < 0.5 else {})


def _odd_value(chance: Random) -> object:
    return chance.choice([*ODD, *NUMBERS, chance.random(), chance.randbytes(8).hex()])


def _changed(chance: Random, fields: dict[str, object]) -> bytes:
    for _ in range(chance.randrange(3)):
        key = chance.choice([*fields, chance.choice(string.ascii_letters), "person", "__class__"])
        fields[key] = _odd_value(chance)
    if chance.random() < 0.2 and fields:
        fields.pop(chance.choice(list(fields)))
    return json.dumps(fields, ensure_ascii=chance.random() < 0.5).encode("utf-8", "replace")


def _broken(chance: Random, text: bytes) -> bytes:
    """Bytes lost, doubled, swapped for others."""
    at = chance.randrange(len(text) + 1)
    with_bytes = chance.randbytes(chance.randrange(1, 6))
    cut = text[:at] + text[at + chance.randrange(4) :]
    return chance.choice([text[:at], cut, text[:at] + with_bytes + text[at:], text + text])


def _none_of_it(chance: Random, _: bytes) -> bytes:
    deep = chance.randrange(1, 2000)
    return chance.choice(
        [
            chance.randbytes(chance.randrange(200)),
            b"[" * deep + b"]" * deep,
            b'{"a":' * deep,
            b"9" * deep,
            b'"' + b"x" * chance.randrange(6000),
            b"true",
        ]
    )


WAYS: tuple[Callable[[Random, bytes], bytes], ...] = (lambda _, text: text, _broken, _none_of_it)


def payload(chance: Random, kind: str, ticket: str) -> bytes:
    """One hostile payload; two of three carry the ticket in force."""
    shows = chance.choice([ticket, ticket, "00000000"])
    text = _changed(chance, _whole(chance, kind, shows))
    return chance.choice(WAYS)(chance, text)


def attack(count: int, kind: str, seed: int) -> Counter[str]:
    """Send so many to the reader and what passes to the core; how often each answer came."""
    chance, plan, state = Random(seed), shown.plan(), shown.high()
    tickets, codes = Tickets(plan), Counter[str]()
    for _ in range(count):
        text, retained = payload(chance, kind, tickets.current), chance.random() < 0.05
        taken = tickets.take(text, retained, kind)
        answer = taken if isinstance(taken, Answer) else _obeyed(state, taken)
        assert not answer.ok, text
        assert len(json.dumps(tickets.body(answer))) <= MOST, text
        codes[answer.code] += 1
    return codes


def _obeyed(state: State, event: Commanded) -> Answer:
    """The core's answer; nothing else may come of it."""
    after, effects, _ = _stepped(state, event)
    answers = [each for each in effects if isinstance(each, Answer)]
    assert not [each for each in effects if isinstance(each, Tell | Withdraw)], event
    assert after.subjects == state.subjects, event
    assert len(answers) == 1, event
    return answers[0]


def _stepped(state: State, event: Commanded) -> tuple[State, tuple[object, ...], int | None]:
    found = step(shown.plan(), state, event, shown.NOW)
    return found.state, tuple(found.effects), found.due


KINDS = pytest.mark.parametrize("kind", list(command.KINDS))


@KINDS
def test_nothing_hostile_acts(kind: str) -> None:
    codes = attack(1000, kind, SEED)
    print(f"\n{kind}, seed {SEED}: {dict(codes)}")
    assert {"not-json", "old-ticket", "retained"} <= codes.keys()


@pytest.mark.long
@KINDS
def test_nothing_hostile_acts_in_a_hundred_thousand(kind: str) -> None:
    codes = attack(100_000, kind, SEED)
    print(f"\n{kind}, seed {SEED}: {dict(codes)}")
    assert codes.total() == 100_000


def test_the_judge_sees_a_command_that_acts() -> None:
    """What the same attack would say if one of them got through."""
    tickets = Tickets(shown.plan())
    fields = {"ticket": tickets.current, "panel": "cabin", "person": "anna", "wire": "off"}
    taken = tickets.take(json.dumps(fields).encode(), False, command.HORN_WIRE)
    assert isinstance(taken, Commanded)
    assert isinstance(taken.command, HornWire)
    with pytest.raises(AssertionError):
        _obeyed(shown.high(), taken)


def _broker(port: int) -> Broker:
    return Broker("127.0.0.1", port, commands=True)


def _by_broker(folder: Path, count: int) -> None:
    """The same through a real broker: one unit, everything at once, then a whole question."""
    chance, posted, plan = Random(SEED), Posted(), shown.plan()
    with mosquitto(folder) as server, Watcher(server.port) as reader:
        unit = Mqtt(posted, _broker(server.port), plan, shown.UNIT, timing=FAST)
        unit.show(homie.tree(shown.high(), plan, shown.NOW))
        unit.start()
        try:
            posted.awaited(ChannelUp)
            for number in range(count):
                kind = chance.choice(list(command.KINDS))
                topic = f"{homie.command_topic(shown.UNIT, kind)}/set"
                text = payload(chance, kind, "never-one")
                sent = reader.client.publish(topic, text, qos=1)
                if number % 20 == 0:  # no more than a broker's queue takes
                    sent.wait_for_publish(15)
            # What comes after it is answered as ever, so all before it was read.
            reader.asks(json.dumps({"ticket": 1, "the-last": 1}))
            reader.until(lambda: "the-last" in reader.answers()[-1]["say"], "answered the last")
            assert unit.alive()
            assert posted.of(Commanded) == []
            assert posted.of(FaultFound) == []
            assert all(len(json.dumps(each)) <= MOST for each in reader.answers())
            assert all(each["ok"] is False for each in reader.answers())
        finally:
            unit.stop()


@pytest.mark.slow
def test_a_thousand_through_a_real_broker(tmp_path: Path) -> None:
    _by_broker(tmp_path, 1000)


@pytest.mark.long
def test_ten_thousand_through_a_real_broker(tmp_path: Path) -> None:
    _by_broker(tmp_path, 10_000)
