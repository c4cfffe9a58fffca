"""What each request means: every accepted form makes exactly that command, and no other passes."""

import json
from collections.abc import Callable
from dataclasses import fields
from typing import get_args

import pytest
from hypothesis import example, given, strategies as st

from relayd.control import meanings, wire
from relayd.core.events import (
    Acknowledge,
    Act,
    AtPanel,
    ComeBack,
    Command,
    GoAway,
    HornWire,
    InService,
    Looked,
    OutOfService,
    PutOff,
    Reset,
    Settled,
    Shelve,
    Stage,
    Unshelve,
    Wire,
)

What = dict[str, object]

CLASSES: dict[str, type[Command]] = {
    "acknowledge": Acknowledge,
    "looked": Looked,
    "shelve": Shelve,
    "unshelve": Unshelve,
    "out-of-service": OutOfService,
    "in-service": InService,
    "reset": Reset,
    "horn-wire": HornWire,
    "put-off": PutOff,
    "settled": Settled,
    "visit": AtPanel,
    "away": GoAway,
    "back": ComeBack,
}
KEYS: dict[str, tuple[str, ...]] = {
    "acknowledge": ("occurrence", "panel", "act", "until", "within"),
    "looked": ("panel", "level"),
    "shelve": ("panel", "condition", "until", "within", "why"),
    "unshelve": ("panel", "condition"),
    "out-of-service": ("panel", "condition", "until", "within", "why"),
    "in-service": ("panel", "condition"),
    "reset": ("panel", "condition"),
    "horn-wire": ("panel", "wire", "why"),
    "put-off": ("panel", "key", "until", "within", "why"),
    "settled": ("panel", "key"),
    "visit": ("panel", "stage", "within", "left", "why"),
    "away": ("person", "until", "within", "stand-in"),
    "back": ("person",),
}
NEEDED: dict[str, tuple[str, ...]] = {
    "acknowledge": (),
    "looked": ("panel", "level"),
    "shelve": ("panel", "condition"),
    "unshelve": ("panel", "condition"),
    "out-of-service": ("panel",),
    "in-service": ("panel",),
    "reset": ("panel",),
    "horn-wire": ("panel", "wire"),
    "put-off": ("panel", "key"),
    "settled": ("panel", "key"),
    "visit": ("panel", "stage"),
    "away": ("person",),
    "back": ("person",),
}
"""By hand, from what the control socket promises; the code under test is not asked."""


def meant(do: str, what: What) -> Command:
    body = {"v": 1, "id": 7, "do": do, "with": what, "by": "anna"}
    return meanings.command(wire.request(json.dumps(body).encode()))


def test_every_command_of_the_core_can_be_asked_for_by_one_name() -> None:
    assert set(CLASSES) == set(KEYS) == set(NEEDED) == set(wire.COMMANDS)
    assert sorted(each.__name__ for each in CLASSES.values()) == sorted(
        each.__name__ for each in get_args(Command)
    )


FORMS: list[tuple[str, What, Command]] = [
    ("acknowledge", {"panel": "p"}, Acknowledge(panel="p")),
    ("acknowledge", {"occurrence": "u.k.1"}, Acknowledge("u.k.1")),
    ("acknowledge", {"panel": "p", "act": "seen"}, Acknowledge(panel="p", act=Act.SEEN)),
    (
        "acknowledge",
        {"occurrence": "u.k3f9ab.12", "act": "taken", "within": 60},
        Acknowledge("u.k3f9ab.12", act=Act.TAKEN, within=60),
    ),
    (
        "acknowledge",
        {"panel": "p", "act": "seen", "until": 5, "within": None},
        Acknowledge(panel="p", act=Act.SEEN, until=5),
    ),
    ("looked", {"panel": "p", "level": "normal"}, Looked("p", True)),
    ("looked", {"panel": "p", "level": "high"}, Looked("p", False)),
    ("shelve", {"panel": "p", "condition": "c"}, Shelve("p", "c")),
    (
        "shelve",
        {"panel": "p", "condition": "c", "until": 9, "why": "new motor"},
        Shelve("p", "c", until=9, why="new motor"),
    ),
    ("shelve", {"panel": "p", "condition": "c", "within": 9}, Shelve("p", "c", within=9)),
    ("unshelve", {"panel": "p", "condition": "c"}, Unshelve("p", "c")),
    ("out-of-service", {"panel": "p", "within": 9}, OutOfService("p", within=9)),
    (
        "out-of-service",
        {"panel": "p", "condition": "c", "until": 9, "why": "w"},
        OutOfService("p", "c", until=9, why="w"),
    ),
    ("in-service", {"panel": "p"}, InService("p")),
    ("in-service", {"panel": "p", "condition": "c"}, InService("p", "c")),
    ("reset", {"panel": "p"}, Reset("p")),
    ("reset", {"panel": "p", "condition": "c"}, Reset("p", "c")),
    ("horn-wire", {"panel": "p", "wire": "off", "why": "w"}, HornWire("p", Wire.OFF, "w")),
    ("horn-wire", {"panel": "p", "wire": "back"}, HornWire("p", Wire.BACK)),
    (
        "put-off",
        {"panel": "p", "key": "in-off-2", "until": 9, "why": "w"},
        PutOff("p", "in-off-2", until=9, why="w"),
    ),
    ("put-off", {"panel": "p", "key": "k", "within": 9}, PutOff("p", "k", within=9)),
    ("settled", {"panel": "p", "key": "k"}, Settled("p", "k")),
    ("visit", {"panel": "p", "stage": "begin"}, AtPanel("p", Stage.BEGIN)),
    ("visit", {"panel": "p", "stage": "begin", "within": 9}, AtPanel("p", Stage.BEGIN, 9)),
    ("visit", {"panel": "p", "stage": "extend", "within": 9}, AtPanel("p", Stage.EXTEND, 9)),
    ("visit", {"panel": "p", "stage": "end"}, AtPanel("p", Stage.END)),
    (
        "visit",
        {"panel": "p", "stage": "end", "left": ["a", "b"], "why": "w"},
        AtPanel("p", Stage.END, None, ("a", "b"), "w"),
    ),
    ("away", {"person": "anna", "until": 9}, GoAway("anna", until=9)),
    (
        "away",
        {"person": "anna", "within": 9, "stand-in": "ben"},
        GoAway("anna", within=9, stand_in="ben"),
    ),
    ("back", {"person": "anna"}, ComeBack("anna")),
]
IDS = [f"{do} {' '.join(what)}" for do, what, _ in FORMS]


@pytest.mark.parametrize(("do", "what", "wanted"), FORMS, ids=IDS)
def test_an_accepted_form_makes_exactly_that_command(do: str, what: What, wanted: Command) -> None:
    assert meant(do, what) == wanted


def test_the_forms_use_every_key_of_every_command() -> None:
    used = {do: set[str]() for do in CLASSES}
    for do, what, _ in FORMS:
        used[do] |= set(what)
    assert used == {do: set(keys) for do, keys in KEYS.items()}


OTHER_KEYS = sorted({key for keys in KEYS.values() for key in keys} | {"x", "Panel", "by", ""})


@pytest.mark.parametrize(
    ("do", "key"),
    [(do, key) for do, keys in KEYS.items() for key in OTHER_KEYS if key not in keys],
)
def test_another_key_is_refused_and_named(do: str, key: str) -> None:
    form = next(what for each, what, _ in FORMS if each == do)
    with pytest.raises(wire.Refusal, match=f"'{key}' is not a key here; keys: {KEYS[do][0]}"):
        meant(do, {**form, key: "p"})


@pytest.mark.parametrize(("do", "key"), [(do, key) for do, keys in NEEDED.items() for key in keys])
@pytest.mark.parametrize("without", ["left out", "null", "blank"])
def test_what_is_needed_may_not_be_left_out(do: str, key: str, without: str) -> None:
    form = next(dict(what) for each, what, _ in FORMS if each == do)
    del form[key]
    form |= {} if without == "left out" else {key: None if without == "null" else ""}
    with pytest.raises(wire.Refusal, match=f"'{key}'") as caught:
        meant(do, form)
    assert (caught.value.code, caught.value.id) == ("malformed", 7)


BOTH_TIMES = [do for do, keys in KEYS.items() if {"until", "within"} <= set(keys)]


@pytest.mark.parametrize("do", BOTH_TIMES)
def test_an_end_is_given_once(do: str) -> None:
    form = next(what for each, what, _ in FORMS if each == do)
    with pytest.raises(wire.Refusal, match="not both"):
        meant(do, {**form, "until": 1, "within": 1})


WRONG: list[tuple[str, What, str]] = [
    ("shelve", {"panel": "p", "condition": 3}, "'condition' must be a text"),
    ("shelve", {"panel": "p", "condition": "c", "until": "08:00"}, "nanoseconds"),
    ("shelve", {"panel": "p", "condition": "c", "within": 1.5}, "nanoseconds"),
    ("out-of-service", {"panel": "p", "within": -1}, "nanoseconds"),
    ("horn-wire", {"panel": "p", "wire": "maybe"}, "one of: off, back"),
    ("visit", {"panel": "p", "stage": "pause"}, "one of: begin, extend, end"),
    ("visit", {"panel": "p", "stage": "begin", "left": ["a"]}, "go with 'end'"),
    ("visit", {"panel": "p", "stage": "extend", "why": "w"}, "go with 'end'"),
    ("visit", {"panel": "p", "stage": "end", "within": 1}, "an end is now"),
    ("visit", {"panel": "p", "stage": "end", "left": "a"}, "must be a list of texts"),
    ("visit", {"panel": "p", "stage": "end", "left": [1]}, "must be a text"),
    ("visit", {"panel": "p", "stage": "end", "left": ["a"] * 41}, "40 texts at most"),
    ("away", {"person": True, "within": 1}, "'person' must be a text"),
]


@pytest.mark.parametrize(("do", "what", "says"), WRONG, ids=[each[2] for each in WRONG])
def test_a_value_that_does_not_fit_is_refused(do: str, what: What, says: str) -> None:
    with pytest.raises(wire.Refusal, match=says) as caught:
        meant(do, what)
    assert caught.value.id in (7, None)


ODD = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20)
)
NAMES = st.sampled_from(["p", "anna", "in-off-2", ""])
TIMES = st.integers(0, 2**62)
GOOD: dict[str, st.SearchStrategy[object]] = {
    "act": st.sampled_from(["seen", "taken"]),
    "level": st.sampled_from(["normal", "high"]),
    "wire": st.sampled_from(["off", "back"]),
    "stage": st.sampled_from(["begin", "extend", "end"]),
    "until": TIMES,
    "within": TIMES,
    "left": st.lists(NAMES, max_size=3),
}


def values(do: str) -> st.SearchStrategy[tuple[str, What]]:
    """That command with its own keys or one more, most of their values of the right kind."""
    known = {key: GOOD.get(key, NAMES) | GOOD.get(key, NAMES) | ODD for key in (*KEYS[do], "x")}
    needed = {key: known.pop(key) for key in NEEDED[do]}
    whole = st.fixed_dictionaries(needed, optional=known)
    return st.tuples(st.just(do), whole)


def expected(key: str, value: object) -> tuple[str, object]:
    """The field of the command in which that value must be found again."""
    if key == "level":
        return "normal", value == "normal"
    if key == "left":
        return key, tuple(value) if isinstance(value, list) else value
    return key.replace("-", "_"), value


@given(st.sampled_from(wire.COMMANDS).flatmap(values))
@example(("away", {"person": "anna", "within": 1, "stand-in": "ben"}))
@example(("visit", {"panel": "p", "stage": "end", "left": ["a"], "why": "w"}))
def test_a_command_holds_exactly_what_was_asked_for_or_it_is_refused(
    asked: tuple[str, What],
) -> None:
    do, what = asked
    got = tried(lambda: meant(do, what))
    if isinstance(got, wire.Refusal):
        assert got.id == 7
        assert got.code == "malformed"
        return
    assert type(got) is CLASSES[do]
    given_ = dict(expected(key, value) for key, value in what.items() if value is not None)
    made = {each.name: getattr(got, each.name) for each in fields(got)}
    usual = {each.name: each.default for each in fields(got)}
    assert made == usual | given_


def tried(parse: Callable[[], Command]) -> Command | wire.Refusal:
    """What comes of it; anything but a Refusal goes through and fails the test."""
    try:
        return parse()
    except wire.Refusal as refusal:
        return refusal
