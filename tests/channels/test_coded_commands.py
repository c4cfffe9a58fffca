"""Over MQTT with the code: it names occurrence and person, serves once, and guesses lock that way."""

import json
import time
from dataclasses import replace
from random import Random

import pytest

from relayd.answering.codes import LETTERS
from relayd.channels.tickets import Tickets
from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, ChannelDown, Commanded
from relayd.core.plan import HOUR, MINUTE
from tests.answering.afar import Afar


def send(tickets: Tickets, **fields: str) -> Commanded | Answer:
    return tickets.take(json.dumps({"ticket": tickets.current, **fields}).encode(), False)


@pytest.fixture
def afar() -> Afar:
    return Afar()


@pytest.fixture
def tickets(afar: Afar) -> Tickets:
    return Tickets(afar.plan, "mqtt", afar.proving)


def test_a_code_stands_for_occurrence_and_person(afar: Afar, tickets: Tickets) -> None:
    taken = send(tickets, code=afar.code(), act="taken", within="45 min")
    wanted = Acknowledge(afar.occurrence, None, Act.TAKEN, within=45 * MINUTE)
    assert taken == Commanded("mqtt:1", wanted, "anna", "mqtt")
    (answer,) = [each for each in afar.world.give(taken) if isinstance(each, Answer)]
    tickets.answered(answer)
    assert answer.ok
    assert tickets.body(answer)["person"] == "anna"


@pytest.mark.parametrize(("person", "act"), [("anna", Act.SEEN), ("ben", Act.TAKEN)])
def test_without_an_act_it_is_the_person_s_standing_that_counts(
    afar: Afar, tickets: Tickets, person: str, act: Act
) -> None:
    taken = send(tickets, code=afar.code(person))
    assert isinstance(taken, Commanded)
    assert taken.command == Acknowledge(afar.occurrence, None, act)


REFUSED = {
    "a person beside it": ({"code": "k7m2p9xd", "person": "anna"}, "too-many-keys"),
    "an occurrence beside it": ({"code": "k7m2p9xd", "occurrence": "creek-1.k.1"}, "too-many-keys"),
    "a bad act": ({"code": "k7m2p9xd", "act": "later"}, "bad-act"),
    "a bad time": ({"code": "k7m2p9xd", "within": "soon"}, "bad-within"),
    "a wrong code": ({"code": "b0000000"}, "unknown-code"),
    "an empty code": ({"code": ""}, "bad-code"),
    "no code at all": ({"code": "as shown in the message"}, "bad-code"),
    "an old ticket": ({"code": "k7m2p9xd", "ticket": "old"}, "old-ticket"),
}


@pytest.mark.parametrize(("fields", "code"), REFUSED.values(), ids=REFUSED)
def test_what_is_not_whole_or_not_right_is_refused(
    tickets: Tickets, fields: dict[str, str], code: str
) -> None:
    before = tickets.current
    refused = send(tickets, **fields)
    assert isinstance(refused, Answer)
    assert refused.code == code
    assert tickets.current == before


def test_where_no_message_carries_a_code_that_is_said(afar: Afar) -> None:
    refused = send(Tickets(afar.plan), code="k7m2p9xd")
    assert isinstance(refused, Answer)
    assert refused.code == "no-codes"


def test_a_code_serves_once_for_each_act_by_whatever_way(afar: Afar, tickets: Tickets) -> None:
    code = afar.code()
    assert isinstance(send(tickets, code=code, act="taken"), Commanded)
    again = send(tickets, code=code, act="taken")
    assert isinstance(again, Answer)
    assert again.code == "code-served"
    assert afar.take(afar.mail("taken", code=code)) == []


def test_what_the_core_refused_may_be_asked_again(afar: Afar, tickets: Tickets) -> None:
    code = afar.code()
    for _ in range(2):
        taken = send(tickets, code=code, act="taken")
        assert isinstance(taken, Commanded)
        tickets.answered(Answer(taken.token, False, "bad-time", "no"))


def test_a_person_who_may_only_see_cannot_take() -> None:
    afar = Afar()
    people = {**afar.plan.people, "anna": replace(afar.plan.people["anna"], may=("seen",))}
    afar.plan = afar.world.plan = replace(afar.plan, people=people)
    taken = send(Tickets(afar.plan, "mqtt", afar.proving), code=afar.code(), act="taken")
    assert isinstance(taken, Commanded)
    (answer,) = [each for each in afar.world.give(taken) if isinstance(each, Answer)]
    assert (answer.ok, answer.code) == (False, "may-not")
    assert answer.say == "by the plan Anna may not answer with 'taken'; that may: Ben"


@pytest.mark.slow
def test_ten_thousand_forged_and_replayed_commands_are_all_refused(
    afar: Afar, tickets: Tickets
) -> None:
    seed = time.time_ns() % 1_000_000_000
    print(f"seed {seed}")
    random = Random(seed)
    served = afar.code("ben")
    real = json.dumps({"ticket": tickets.current, "code": served, "act": "taken"}).encode()
    first = tickets.take(real, False)
    assert isinstance(first, Commanded)
    afar.world.give(first)
    stands, outcomes = afar.world.open_alarm(), set()
    for number in range(10_000):
        guess = "".join(random.choice(LETTERS) for _ in range(8))
        kind = number % 4
        if kind == 0:
            answer = tickets.take(real, False)  # the very bytes once more
        elif kind == 1:
            answer = send(tickets, code=served, act=random.choice(["taken", "seen"]))
        elif kind == 2:
            answer = send(tickets, code=guess, ticket=guess)
        else:
            answer = send(tickets, code=guess, act=random.choice(["taken", "seen"]))
        assert isinstance(answer, Answer)
        assert not answer.ok
        outcomes.add(answer.code)
    assert outcomes == {"old-ticket", "code-served", "unknown-code", "locked"}
    assert afar.world.open_alarm() == stands


def test_fifty_wrong_codes_lock_the_codes_and_the_ways_that_remain_work(
    afar: Afar, tickets: Tickets
) -> None:
    for number in range(50):
        refused = send(tickets, code=f"b{number:07d}")
        assert isinstance(refused, Answer)
        assert refused.code == "unknown-code"  # nobody tells who sends: five shut nothing
    (lock,) = afar.posted
    assert isinstance(lock, ChannelDown)
    assert "It still goes by mail or on the unit (relayd ack)" in lock.why
    refused = send(tickets, code=afar.code())
    assert isinstance(refused, Answer)
    assert refused.code == "locked"
    assert "by mail" in refused.say
    named = send(tickets, occurrence=afar.occurrence, person="ben", act="seen")
    assert isinstance(named, Commanded)  # a broker that knows its people needs no code
    afar.posted.clear()
    (answer,) = afar.take(afar.mail("seen"))
    assert answer.ok
    assert afar.world.ack("ben").ok
    afar.world.up += HOUR
    assert isinstance(send(tickets, code=afar.code("ben")), Commanded)
