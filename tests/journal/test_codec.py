"""Values come back as they were, and what cannot be read says where."""

import contextlib
import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, strategies as st

from relayd.core import state
from relayd.core.plan import Priority
from relayd.core.state import Alarm, Process, Stamp, Subject
from relayd.journal.codec import JournalDamaged, decode, encode
from tests.journal.samples import of

PARTS = [
    each
    for each in vars(state).values()
    if dataclasses.is_dataclass(each) and each.__module__ == state.__name__
]


@pytest.mark.untraced
@pytest.mark.slow
@pytest.mark.parametrize("part", PARTS, ids=lambda each: each.__name__)
@given(data=st.data())
def test_every_part_of_the_state_comes_back_as_it_was(part: Any, data: st.DataObject) -> None:
    value = data.draw(of(part))
    text = encode(value)
    assert decode(part, text) == value
    assert text.isascii()
    assert "\n" not in text


def test_what_holds_nothing_is_not_written_and_what_has_a_default_is() -> None:
    parts = f'"belief":{encode(state.Belief())},"horn":{encode(state.Horn())}'
    assert encode(Subject("unit")) == f'{{"id":"unit",{parts}}}'
    assert json.loads(encode(state.Belief()))["was_alarm"] is False


def test_an_unknown_field_is_ignored() -> None:
    assert decode(Stamp, '{"up":1,"wall":2,"trusted":true,"later":[1]}') == Stamp(1, 2, True)


def test_a_missing_field_gets_its_default() -> None:
    text = '{"condition":"high-level","priority":"high","process":"UNACK"}'
    assert decode(Alarm, text) == Alarm("high-level", Priority.HIGH, Process.UNACK)


DAMAGED = {
    "not JSON": ("{", "panel:p1: the whole: not JSON"),
    "another shape": ("[]", "panel:p1: the whole: an object was expected, not []"),
    "nothing": ("null", "panel:p1: the whole: an object was expected, not None"),
    "deep": ("[" * 100_000, "panel:p1: the whole: not JSON"),
    "no id": ("{}", "panel:p1: id: is missing"),
    "number for text": ('{"id":1}', "panel:p1: id: a text was expected, not 1"),
    "text for mapping": ('{"id":"x","alarms":"y"}', "panel:p1: alarms: an object was expected"),
    "enum": (
        '{"id":"x","alarms":{"high-level":{"condition":"c","priority":"loud"}}}',
        "panel:p1: alarms.high-level.priority: Priority has no 'loud'",
    ),
    "enum of a list": (
        '{"id":"x","alarms":{"a":{"condition":"c","priority":[]}}}',
        "panel:p1: alarms.a.priority: Priority has no []",
    ),
    "in a list": (
        '{"id":"x","alarms":{"a":{"condition":"c","priority":"high","told":["anna",7]}}}',
        "panel:p1: alarms.a.told.1: a text was expected, not 7",
    ),
    "true for a number": (
        '{"id":"x","alarms":{"a":{"condition":"c","priority":"high","occurrence":true}}}',
        "panel:p1: alarms.a.occurrence: an integer was expected, not True",
    ),
}


@pytest.mark.parametrize(("text", "says"), DAMAGED.values(), ids=DAMAGED)
def test_what_cannot_be_read_names_the_subject_and_the_field(text: str, says: str) -> None:
    with pytest.raises(JournalDamaged) as caught:
        decode(Subject, text, "panel:p1")
    assert str(caught.value).startswith(says)


def test_an_integer_key_must_be_one() -> None:
    with pytest.raises(JournalDamaged, match=r"State: notices\.x: an integer key was expected"):
        decode(state.State, '{"epoch":"a","notices":{"x":{}}}')


@given(st.text())
def test_any_text_is_either_read_or_called_damaged(text: str) -> None:
    with contextlib.suppress(JournalDamaged):
        assert isinstance(decode(Subject, text), Subject)


@dataclasses.dataclass(frozen=True)
class Guess:
    value: int | str


@dataclasses.dataclass(frozen=True)
class Pair:
    value: tuple[int, int]


@dataclasses.dataclass(frozen=True)
class Odd:
    value: Mapping[bool, int]


@dataclasses.dataclass(frozen=True)
class Loose:
    value: object


@pytest.mark.parametrize("cls", [Guess, Pair, Odd, Loose])
def test_a_field_that_could_not_be_read_back_is_refused_when_written(cls: Any) -> None:
    with pytest.raises(TypeError, match="the journal cannot keep"):
        encode(cls(1))


@dataclasses.dataclass(frozen=True)
class Measured:
    share: float = 0.5
    counts: Mapping[int, tuple[int, ...]] = dataclasses.field(default_factory=dict)


@given(of(Measured))
def test_floats_and_integer_keys_come_back(value: Measured) -> None:
    assert decode(Measured, encode(value)) == value


def test_a_whole_number_is_a_float_too_but_a_text_is_none() -> None:
    assert decode(Measured, '{"share":1}') == Measured(1.0)
    with pytest.raises(JournalDamaged, match="Measured: share: a number was expected"):
        decode(Measured, '{"share":"1"}')
