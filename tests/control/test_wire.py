"""What a line may hold, and what is said about one that may not."""

import json
from collections.abc import Callable
from typing import TypeVar

import pytest
from hypothesis import given, strategies as st

from relayd.control import meanings, wire

T = TypeVar("T")


def line(**changes: object) -> bytes:
    body: dict[str, object] = {"v": 1, "id": 7, "do": "status", "with": {}, "by": "anna"}
    return json.dumps({k: v for k, v in (body | changes).items() if v is not ...}).encode()


def test_a_request_is_taken_apart() -> None:
    asked = wire.request(line(do="acknowledge", **{"with": {"panel": "creek-1"}}))
    assert asked == wire.Request(7, "acknowledge", {"panel": "creek-1"}, "anna")


def test_values_and_person_may_be_left_out() -> None:
    asked = wire.request(b'{"v":1,"id":0,"do":"status"}')
    assert asked == wire.Request(0, "status", {}, None)


@pytest.mark.parametrize(
    ("sent", "code", "says"),
    [
        pytest.param(b"", "malformed", "not a line of JSON", id="nothing"),
        pytest.param(b"status", "malformed", "not a line of JSON", id="no JSON"),
        pytest.param(b"\xff\xfe", "malformed", "not a line of JSON", id="no UTF-8"),
        pytest.param(b"[" * 60_000, "malformed", "not a line of JSON", id="nested without end"),
        pytest.param(b"[1]", "malformed", "in braces", id="a list"),
        pytest.param(line(id=...), "malformed", "'id'", id="no id"),
        pytest.param(line(id=True), "malformed", "'id'", id="an id that is true"),
        pytest.param(line(id=-1), "malformed", "'id'", id="an id below zero"),
        pytest.param(line(id=2**53), "malformed", "'id'", id="an id beyond 2^53"),
        pytest.param(line(v=...), "version", "'v' must be 1", id="no version"),
        pytest.param(line(v=2), "version", "'v' must be 1", id="another version"),
        pytest.param(line(v=True), "version", "'v' must be 1", id="a version that is true"),
        pytest.param(line(d="status"), "malformed", "'d' is not a key", id="an odd key"),
        pytest.param(line(do=...), "malformed", "'do'", id="nothing to do"),
        pytest.param(line(do="open-valve"), "unknown", "known: acknowledge", id="an odd wish"),
        pytest.param(line(**{"with": [1]}), "malformed", "'with'", id="values in a list"),
        pytest.param(line(**{"with": {"a": [1]}}), "malformed", "'a' must be", id="a deep value"),
        pytest.param(
            line(**{"with": {"a": 2**70}}), "malformed", "'a' must be", id="a huge number"
        ),
        pytest.param(line(**{"with": {"a": "x\ny"}}), "malformed", "'a'", id="two lines"),
        pytest.param(line(**{"with": {"a": "\ud800"}}), "malformed", "'a'", id="half a letter"),
        pytest.param(line(by=7), "malformed", "'by'", id="a person who is a number"),
        pytest.param(line(by="a" * 201), "malformed", "200", id="a person too long"),
        pytest.param(b'{"v":1,"id":7,"do":"log","with":{"last":NaN}}', "malformed", "", id="NaN"),
    ],
)
def test_what_is_no_request_is_refused(sent: bytes, code: str, says: str) -> None:
    with pytest.raises(wire.Refusal) as caught:
        wire.request(sent)
    assert caught.value.code == code
    assert says in caught.value.say


def test_a_refusal_names_the_request_once_its_id_is_known() -> None:
    with pytest.raises(wire.Refusal) as caught:
        wire.request(line(do="open-valve", id=12))
    assert caught.value.id == 12


def tried(parse: Callable[[], T]) -> T | wire.Refusal:
    """What comes of it; anything but a Refusal goes through and fails the test."""
    try:
        return parse()
    except wire.Refusal as refusal:
        return refusal


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_no_bytes_get_past_as_anything_but_a_request_or_a_refusal(sent: bytes) -> None:
    got = tried(lambda: wire.request(sent))
    if isinstance(got, wire.Refusal):
        assert wire.no(got.id, got.code, got.say).endswith(b"\n")
    else:
        assert got.do in (*wire.COMMANDS, *wire.READS, *wire.ACTS, wire.FOLLOW)


@pytest.mark.parametrize(
    ("do", "what", "says"),
    [
        pytest.param("acknowledge", {}, "one of 'occurrence' and 'panel'", id="nothing named"),
        pytest.param("acknowledge", {"panel": "p", "occurrence": "o"}, "one of", id="two named"),
        pytest.param("acknowledge", {"panel": "p", "act": "maybe"}, "seen, taken", id="an odd act"),
        pytest.param("acknowledge", {"panel": "p", "until": "14:00"}, "nanoseconds", id="a text"),
        pytest.param("acknowledge", {"panel": "p", "within": -1}, "nanoseconds", id="a past time"),
        pytest.param("acknowledge", {"panel": "p", "within": True}, "nanoseconds", id="true"),
        pytest.param(
            "acknowledge", {"panel": "p", "within": 1, "until": 1}, "not both", id="two times"
        ),
        pytest.param("acknowledge", {"panel": 3}, "'panel' must be a text", id="a number"),
        pytest.param("acknowledge", {"panel": "p", "why": "x"}, "'why' is not a key", id="odd key"),
        pytest.param("looked", {"level": "normal"}, "'panel' is missing", id="no panel"),
        pytest.param("looked", {"panel": "p"}, "normal, high", id="no level"),
    ],
)
def test_a_command_that_does_not_fit_is_refused(
    do: str, what: dict[str, object], says: str
) -> None:
    with pytest.raises(wire.Refusal, match=says) as caught:
        meanings.command(wire.request(line(do=do, **{"with": what})))
    assert (caught.value.code, caught.value.id) == ("malformed", 7)


def test_an_answer_too_long_for_a_line_is_a_refusal() -> None:
    assert wire.yes(7, {"say": "fits"}) == b'{"id":7,"ok":{"say":"fits"}}\n'
    answer = json.loads(wire.yes(7, {"say": "x" * wire.LONGEST}))
    assert (answer["id"], answer["no"]["code"]) == (7, "too-large")


def test_a_line_is_ascii_whatever_it_says() -> None:
    assert wire.encode({"say": "Öl, \ud800\n"}).isascii()
