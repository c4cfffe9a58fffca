"""Deliberate breaches of the convention in a retained tree: each is found, and said."""

from collections.abc import Callable

import pytest

from relayd.convention import RULES, check_tree, check_will
from tests.convention.samples import (
    HALL,
    PIT,
    Tree,
    described,
    drop,
    gone,
    hall,
    held,
    put,
    spec,
    whole,
)

ROOM = f"{HALL}/room"
Case = tuple[Callable[[Tree], None], str, str]
NODES = hall()["nodes"]
DEEP = {"homie": "5.0", "version": 1, "root": "hall", "parent": "pit"}
BREACHES: dict[str, Case] = {
    # Topics.
    "no domain": (held("5/hall/$state", "ready"), "base", "not below"),
    "another major version": (held("homie/4/hall/$state", "ready"), "base", "not below"),
    "a capital in a device": (held("homie/5/Hall/$state", "ready"), "topic-id", "'Hall'"),
    "an underscore in a node": (held(f"{HALL}/my_room/x", "1"), "topic-id", "'my_room'"),
    "a blank in a property": (held(f"{ROOM}/a b", "1"), "topic-id", "'a b'"),
    "an empty level": (held(f"{HALL}//x", "1"), "topic-id", "''"),
    "a node without a property": (held(f"{HALL}/room", "1"), "topic-unknown", "no topic"),
    "one level too many": (held(f"{ROOM}/mode/why", "1"), "topic-unknown", "more levels"),
    "an attribute of version 4": (held(f"{HALL}/$name", "x"), "attribute-unknown", "$name"),
    "an attribute of a property": (held(f"{ROOM}/mode/$unit", "x"), "property-attribute", "$unit"),
    "a value that is not described": (held(f"{ROOM}/what", "1"), "undescribed", "no described"),
    # Payloads.
    "bytes that are no text": (held(f"{ROOM}/name", b"\xff\xfe"), "utf-8", "not UTF-8"),
    "a byte order mark": (held(f"{ROOM}/name", b"\xef\xbb\xbfx"), "bom", "order mark"),
    "an empty state": (held(f"{HALL}/$state", b"\0"), "zero-byte", "byte 0"),
    "an empty alert": (held(f"{HALL}/$alert/wet", b"\0"), "zero-byte", "byte 0"),
    "no byte at all": (held(f"{ROOM}/name", b""), "empty-payload", "deletes"),
    "an empty integer": (held(f"{ROOM}/count", b"\0"), "integer", "empty text"),
    "an integer with a plus": (held(f"{ROOM}/count", "+4"), "integer", "'+4'"),
    "an integer of 65 bits": (held(f"{PIT}/water/level", str(2**63)), "integer", "64 bits"),
    "a float that is no number": (held(f"{ROOM}/warmth", "NaN"), "float", "'NaN'"),
    "a float with a comma": (held(f"{ROOM}/warmth", "1,5"), "float", "'1,5'"),
    "a boolean in capitals": (held(f"{ROOM}/open", "TRUE"), "boolean", "neither"),
    "the label of a boolean": (held(f"{ROOM}/open", "open"), "boolean", "neither"),
    "an enum with a blank": (held(f"{ROOM}/mode", "off "), "enum", "none of"),
    "a color of another type": (held(f"{ROOM}/paint", "xyz,0.1,0.2"), "color", "no type"),
    "a color out of range": (held(f"{ROOM}/paint", "hsv,361,0,0"), "color", "numbers of hsv"),
    "a day that is none": (held(f"{ROOM}/since", "2026-02-30T08:00:00Z"), "datetime", "8601"),
    "a duration in days": (held(f"{ROOM}/for", "P1D"), "duration", "no duration"),
    "a bare number as JSON": (held(f"{ROOM}/all", "1"), "json", "neither an object"),
    "JSON outside its schema": (held(f"{ROOM}/all", '{"a": "x"}'), "json-schema", "type"),
    "a number above its range": (held(f"{ROOM}/warmth", "120.5"), "range", "-20:120"),
    "a number between the steps": (held(f"{ROOM}/count", "3"), "step", "0:10:2"),
    "a target out of range": (held(f"{ROOM}/count/$target", "12"), "range", "0:10:2"),
    # The device.
    "no state": (gone(f"{HALL}/$state"), "state-missing", "without $state"),
    "the alert state of version 4": (held(f"{HALL}/$state", "alert"), "state", "no state"),
    "no description": (gone(f"{PIT}/$description"), "description-missing", "no $desc"),
    "a description cut off": (held(f"{PIT}/$description", "{"), "description-json", "not readable"),
    "a list as description": (held(f"{PIT}/$description", "[]"), "description-json", "no JSON obj"),
    "a key twice": (
        held(f"{PIT}/$description", '{"homie": "5.0", "homie": "5.0"}'),
        "description-json",
        "comes twice",
    ),
    "the patch level as well": (described(PIT, put(homie="5.0.0")), "homie-version", "'5.0.0'"),
    "version 4": (described(PIT, put(homie="4.0")), "homie-version", "'4.0'"),
    "no version": (described(PIT, drop("version")), "field-missing", "'version'"),
    "a version as text": (described(PIT, put(version="1")), "field-type", "an integer"),
    "a version that is true": (described(PIT, put(version=True)), "field-type", "an integer"),
    "a name that is null": (described(PIT, put(name=None)), "field-type", "'name'"),
    "nodes as a list": (described(PIT, put(nodes=[])), "field-type", "'nodes'"),
    "a node that is no object": (described(PIT, put(nodes={"a": 1})), "field-type", "node 'a'"),
    "a property that is no object": (
        described(PIT, put(nodes={"a": {"properties": {"b": []}}})),
        "field-type",
        "'a/b'",
    ),
    "a field of its own": (described(PIT, put(maker="x")), "field-unknown", "'maker'"),
    "a node's id with a capital": (described(HALL, put(nodes={"A": {}})), "node-id", "'A'"),
    "a property's id with a dot": (
        described(PIT, put(nodes={"a": {"properties": {"b.c": {"datatype": "string"}}}})),
        "property-id",
        "'a/b.c'",
    ),
    "an extension called homie": (
        described(PIT, put(extensions=["org.homie.more:0.1:[5.x]"])),
        "extension",
        "no name",
    ),
    "an extension without a domain": (
        described(PIT, put(extensions=["more"])),
        "extension",
        "more",
    ),
    # The family.
    "a root that names itself": (described(HALL, put(root="hall")), "root-of-root", "itself"),
    "a child without a root": (described(PIT, drop("root")), "root-missing", "'pit'"),
    "a parent without a root": (
        described(PIT, lambda said: (said.pop("root"), said.update(parent="hall"))),
        "root-missing",
        "no root",
    ),
    "a root that is below another": (
        lambda tree: (
            described(PIT, put(children=["deep"]))(tree),
            held("homie/5/deep/$state", "ready")(tree),
            held("homie/5/deep/$description", '{"homie":"5.0","version":1,"root":"pit"}')(tree),
        )[-1],
        "root-wrong",
        "'pit'",
    ),
    "a grandchild that names no parent": (
        lambda tree: (
            described(PIT, put(children=["deep"]))(tree),
            held("homie/5/deep/$state", "ready")(tree),
            held("homie/5/deep/$description", '{"homie":"5.0","version":1,"root":"hall"}')(tree),
        )[-1],
        "parent-missing",
        "'deep'",
    ),
    "a root that is not there": (described(PIT, put(root="barn")), "parent-unknown", "'barn'"),
    "a parent that is not there": (described(PIT, put(parent="barn")), "parent-unknown", "'barn'"),
    "a child that is not there": (
        described(HALL, put(children=["pit", "well"])),
        "child-unknown",
        "'well'",
    ),
    "a child that is not named": (described(HALL, put(children=[])), "child-unnamed", "'hall'"),
    "a child that is named twice": (
        described(HALL, put(children=["pit", "pit"])),
        "child-twice",
        "named twice",
    ),
    "two that stand above each other": (
        described(HALL, put(root="pit", parent="pit")),
        "loop",
        "above itself",
    ),
    # The property.
    "a datatype of its own": (spec("name", datatype="text"), "datatype", "'text'"),
    "no datatype": (
        described(PIT, put(nodes={"water": {"properties": {"level": {}}}})),
        "field-missing",
        "'datatype'",
    ),
    "settable as text": (spec("name", settable="false"), "field-type", "'settable'"),
    "an enum without a format": (spec("name", datatype="enum"), "format-missing", "enum"),
    "an enum with an empty value": (spec("mode", format="on,off,"), "format-enum", "empty"),
    "an enum with a value twice": (spec("mode", format="on,off,on"), "format-enum", "twice"),
    "a color of four": (spec("paint", format="rgb,hsv,cmyk"), "format-color", "cmyk"),
    "a boolean with three labels": (spec("open", format="a,b,c"), "format-boolean", "two labels"),
    "a boolean with one label twice": (spec("open", format="a,a"), "format-boolean", "twice"),
    "a range with a dash": (spec("count", format="0-10"), "format-number", "'0-10'"),
    "a range of floats for an integer": (spec("count", format="0.5:10"), "format-number", "0.5"),
    "a step of 0": (spec("count", format="0:10:0"), "format-number", "above 0"),
    "a range upside down": (spec("count", format="10:0"), "format-number", "above the maximum"),
    "a schema as an object": (spec("all", format={"type": "object"}), "field-type", "'format'"),
    "a schema that is no JSON": (spec("all", format="{type: object}"), "format-json", "schema"),
    "a format of a text": (spec("name", format="[a-z]+"), "format-undefined", "string"),
    "another character for degrees": (spec("warmth", unit="ºC"), "unit", "written"),
    "no value": (gone(f"{PIT}/water/level"), "value-missing", "without a value"),
    "a target without a value": (gone(f"{ROOM}/count"), "target-missing", "without a value"),
    # Flags, alerts, log.
    "an event that is retained": (held(f"{ROOM}/bell", "true"), "event-retained", "retained"),
    "a command that is retained": (held(f"{ROOM}/mode/set", "on"), "set-retained", "retained"),
    "an alert below an alert": (held(f"{HALL}/$alert/a/b", "x"), "alert", "one level"),
    "an alert without an id": (held(f"{HALL}/$alert", "x"), "alert", "one level"),
    "an alert's id with a dot": (held(f"{HALL}/$alert/a.b", "x"), "alert-id", "'a.b'"),
    "a retained log": (held(f"{HALL}/$log/info", "x"), "log-retained", "retained"),
    "a log level of its own": (held(f"{HALL}/$log/notice", "x"), "log-level", "'notice'"),
    "a log below a level": (held(f"{HALL}/$log/info/x", "x"), "log", "one level"),
    "a retained broadcast": (held("homie/5/$broadcast/a", "x"), "broadcast-retained", "retained"),
    "a broadcast without a subtopic": (held("homie/5/$broadcast", "x"), "broadcast", "subtopic"),
}


def test_a_tree_that_keeps_every_rule_has_no_finding() -> None:
    assert check_tree(whole()) == []


def test_there_are_more_than_50_breaches() -> None:
    assert len(BREACHES) > 50


@pytest.mark.parametrize(("breach", "rule", "says"), BREACHES.values(), ids=BREACHES)
def test_a_breach_is_found_and_said(breach: Callable[[Tree], None], rule: str, says: str) -> None:
    tree = whole()
    breach(tree)
    found = [each for each in check_tree(tree) if each.rule == rule]
    assert found, check_tree(tree)
    assert says in found[0].wrong
    assert RULES[rule].mend in str(found[0])
    assert str(found[0]).isprintable()


def test_one_breach_is_one_finding() -> None:
    tree = whole()
    held(f"{ROOM}/mode", "up")(tree)
    assert [str(each) for each in check_tree(tree)] == [
        "homie/5/hall/room/mode: 'up' is none of 'on,off' (must; Enum)."
        " Send one of the values of the format, letter by letter."
    ]


def test_a_value_that_comes_later_is_not_missed() -> None:
    tree = whole()
    gone(f"{PIT}/water/level")(tree)
    assert check_tree(tree, later=[f"{PIT}/water/level"]) == []


def test_a_part_of_a_tree_is_not_asked_for_the_rest() -> None:
    part = {f"{HALL}/$alert/wet": b"x", f"{PIT}/$description": whole()[f"{PIT}/$description"]}
    assert check_tree(part, whole=False) == []


WILLS = {
    "of the root": (f"{HALL}/$state", b"lost", True, []),
    "of a child": (f"{PIT}/$state", b"lost", True, ["will"]),
    "another state": (f"{HALL}/$state", b"disconnected", True, ["will"]),
    "not retained": (f"{HALL}/$state", b"lost", False, ["will"]),
    "another topic": ("relayd/hall/gone", b"lost", True, ["will"]),
}


@pytest.mark.parametrize(("topic", "payload", "retain", "rules"), WILLS.values(), ids=WILLS)
def test_the_last_will_is_that_of_the_root(
    topic: str, payload: bytes, retain: bool, rules: list[str]
) -> None:
    assert [each.rule for each in check_will(topic, payload, retain, whole())] == rules


def test_no_tree_of_junk_raises() -> None:
    junk = [b"\0", b"{", b"[" * 5000, b'{"nodes": {"a": null}}', b'{"children": [1]}', b"9" * 9999]
    for topic in whole():
        for payload in junk:
            check_tree({**whole(), topic: payload})
