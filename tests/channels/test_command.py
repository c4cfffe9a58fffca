"""A command is read strictly; each refusal says what to send."""

import json

import pytest
from hypothesis import given, strategies as st

from relayd.channels.command import KEYS, Asked, Refused, read
from relayd.channels.tickets import LETTERS, REMEMBERED, Tickets
from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, Commanded
from relayd.core.plan import HOUR, MINUTE
from tests.channels import shown

TICKET = "k3w9xv2p"
GOOD = {"ticket": TICKET, "occurrence": shown.OCCURRENCE, "person": "anna"}
PLAN = shown.plan()


def _text(**changes: object) -> bytes:
    return json.dumps({**GOOD, **changes}).encode()


ACCEPTED: dict[str, tuple[dict[str, str], Acknowledge]] = {
    "the three that are needed": ({}, Acknowledge(shown.OCCURRENCE)),
    "taken": ({"act": "taken"}, Acknowledge(shown.OCCURRENCE, act=Act.TAKEN)),
    "seen": ({"act": "seen"}, Acknowledge(shown.OCCURRENCE, act=Act.SEEN)),
    "taken, with a time": (
        {"act": "taken", "within": "45 min"},
        Acknowledge(shown.OCCURRENCE, act=Act.TAKEN, within=45 * MINUTE),
    ),
    "a time in hours": ({"within": "2h"}, Acknowledge(shown.OCCURRENCE, within=2 * HOUR)),
    "the longest time": ({"within": "24 h"}, Acknowledge(shown.OCCURRENCE, within=24 * HOUR)),
}


@pytest.mark.parametrize(("more", "wanted"), ACCEPTED.values(), ids=ACCEPTED)
def test_a_whole_command_is_read(more: dict[str, str], wanted: Acknowledge) -> None:
    assert read(_text(**more), False, TICKET, PLAN) == Asked(wanted, "anna")


REFUSED: dict[str, tuple[bytes, str, str]] = {
    "nothing": (b"", "not-json", "Send, for example"),
    "bare true": (b"true", "not-an-object", "Send, for example"),
    "a number": (b"1", "not-an-object", "Send, for example"),
    "a list": (b"[]", "not-an-object", "Send, for example"),
    "half of it": (_text()[:-5], "not-json", "Send, for example"),
    "not UTF-8": (b"\xff\xfe", "not-json", "Send, for example"),
    "nested 4,000 deep": (b"[" * 4000, "not-json", "Send, for example"),
    "a number of 4,000 digits": (b"9" * 4000, "not-an-object", "Send, for example"),
    "more than 4 KiB": (_text(person="x" * 5000), "too-long", "4096"),
    "an unknown key": (_text(by="anna"), "unknown-key", "'by' is not one of ticket"),
    "a key twice": (_text()[:-1] + b', "person": "ben"}', "repeated-key", "'person' comes twice"),
    "no ticket": (b'{"occurrence": "a.b.1", "person": "anna"}', "missing-key", "ticket is missing"),
    "no person": (b'{"ticket": "a", "occurrence": "a.b.1"}', "missing-key", "person is missing"),
    "an empty object": (b"{}", "missing-key", "ticket is missing"),
    "a number as person": (_text(person=1), "wrong-type", "person must be text"),
    "no act, said as null": (_text(act=None), "wrong-type", "act must be text"),
    "an old ticket": (_text(ticket="aaaaaaaa"), "old-ticket", TICKET),
    "an empty ticket": (_text(ticket=""), "old-ticket", TICKET),
    "an unknown person": (_text(person="carl"), "unknown-person", "none of anna, ben"),
    "a name in place of an id": (_text(person="Anna"), "unknown-person", "none of anna, ben"),
    "only a number": (_text(occurrence="12"), "bad-occurrence", "pumphouse.k7.12"),
    "another unit's occurrence": (_text(occurrence="mill.k7.12"), "other-unit", "pumphouse"),
    "an act of its own": (_text(act="shelve"), "bad-act", "seen or taken"),
    "a time without unit": (_text(within="45"), "bad-within", "45 min"),
    "a time in the past": (_text(within="-5 min"), "bad-within", "45 min"),
    "no time": (_text(within="0 min"), "bad-within", "45 min"),
    "too long a time": (_text(within="25 h"), "bad-within", "24 h"),
    "a time in other digits": (_text(within="\u0664\u0665 min"), "bad-within", "45 min"),
    "a time for what was only seen": (_text(act="seen", within="1 h"), "bad-within", "taken"),
}


@pytest.mark.parametrize(("payload", "code", "says"), REFUSED.values(), ids=REFUSED)
def test_what_is_not_whole_is_refused_with_what_to_send(
    payload: bytes, code: str, says: str
) -> None:
    found = read(payload, False, TICKET, PLAN)
    assert isinstance(found, Refused)
    assert (found.code, says in found.say) == (code, True), found.say


def test_a_good_command_is_refused_where_it_is_retained() -> None:
    found = read(_text(), True, TICKET, PLAN)
    assert isinstance(found, Refused)
    assert found.code == "retained"
    assert "without the retain flag" in found.say


def test_a_good_command_is_refused_where_the_plan_does_not_allow_commands() -> None:
    found = read(_text(), False, TICKET, shown.plan(remote_commands=False))
    assert isinstance(found, Refused)
    assert found.code == "off"


VALUES = st.none() | st.booleans() | st.integers() | st.text(max_size=20) | st.floats()
NEARLY = st.dictionaries(st.sampled_from([*KEYS, "by", ""]), VALUES, max_size=6)


@given(
    st.binary(max_size=200)
    | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass"))
    | NEARLY.map(lambda found: json.dumps(found).encode())
    | NEARLY.map(lambda found: json.dumps({**GOOD, "ticket": "x", **found}).encode())
)
def test_nothing_that_is_sent_raises_or_is_accepted_without_the_ticket(payload: bytes) -> None:
    found = read(payload, False, TICKET, PLAN)
    assert isinstance(found, Refused)
    assert found.say.isprintable()
    assert len(found.say) < 500


def test_a_ticket_is_eight_letters_and_digits_and_never_the_same() -> None:
    tickets = Tickets(PLAN)
    drawn = set()
    for _ in range(200):
        tickets.renew()
        drawn.add(tickets.current)
    assert len(drawn) == 200
    assert all(len(each) == 8 and set(each) <= set(LETTERS) for each in drawn)
    assert len(set(LETTERS)) == 32


def test_a_command_is_accepted_once() -> None:
    tickets = Tickets(PLAN)
    payload = json.dumps({**GOOD, "ticket": tickets.current}).encode()
    first, second = tickets.take(payload, False), tickets.take(payload, False)
    assert first == Commanded("mqtt:1", Acknowledge(shown.OCCURRENCE), "anna", "mqtt")
    assert isinstance(second, Answer)
    assert (second.ok, second.code) == (False, "old-ticket")
    assert tickets.current in second.say


def test_an_answer_names_what_it_answers_and_the_next_ticket() -> None:
    tickets = Tickets(PLAN)
    tickets.take(json.dumps({**GOOD, "ticket": tickets.current}).encode(), False)
    body = tickets.body(Answer("mqtt:1", True, "seen", "Anna has seen it", {"more": 1}))
    assert body == {
        "ok": True,
        "code": "seen",
        "say": "Anna has seen it",
        "more": 1,
        "occurrence": shown.OCCURRENCE,
        "person": "anna",
        "ticket": tickets.current,
    }


def test_commands_that_nobody_answers_take_no_room_for_ever() -> None:
    tickets = Tickets(PLAN)
    for _ in range(3 * REMEMBERED):
        tickets.take(json.dumps({**GOOD, "ticket": tickets.current}).encode(), False)
    assert "person" not in tickets.body(Answer("mqtt:1", True, "seen", ""))
    assert "person" in tickets.body(Answer(f"mqtt:{3 * REMEMBERED}", True, "seen", ""))
