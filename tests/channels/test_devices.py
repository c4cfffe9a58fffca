"""Properties by their datatype, each as the convention has it; and how a description is numbered."""

import json

import pytest

from relayd.channels import devices
from relayd.channels.devices import Device, Node, Property
from relayd.convention import check_tree

ROOT = "homie/5/well"
MADE: dict[str, tuple[Property, str, dict[str, object]]] = {
    "a text": (devices.text("Where", "behind the shed"), "behind the shed", {"datatype": "string"}),
    "no text": (devices.text("Where", ""), devices.EMPTY, {"datatype": "string"}),
    "a flag with its words": (
        devices.flag("Pump", True, "stands,runs"),
        "true",
        {"datatype": "boolean", "format": "stands,runs"},
    ),
    "a flag": (devices.flag("Pump", False), "false", {"datatype": "boolean"}),
    "one of several": (
        devices.choice("Contact", "open", ("closed", "open")),
        "open",
        {"datatype": "enum", "format": "closed,open"},
    ),
    "a count": (
        devices.count("Starts", 12),
        "12",
        {"datatype": "integer", "format": "0:", "unit": "#"},
    ),
    "a count with an end": (
        devices.count("Alarms", 100, 100),
        "100",
        {"datatype": "integer", "format": "0:100", "unit": "#"},
    ),
    "seconds": (
        devices.count("Run time", 0, unit="s"),
        "0",
        {"datatype": "integer", "format": "0:", "unit": "s"},
    ),
    "an instant": (
        devices.instant("Since", "2027-01-15T02:40:00-05:00"),
        "2027-01-15T02:40:00-05:00",
        {"datatype": "string"},
    ),
    "an instant that is not known": (
        devices.instant("Since", ""),
        devices.EMPTY,
        {"datatype": "string"},
    ),
}


def tree_of(prop: Property) -> dict[str, str]:
    device = Device("well", "Well", {"node": Node("Node", {"one": prop})}, {})
    topics = dict(devices.topics(device, devices.description(device, 1)))
    return {**topics, devices.state_topic("well"): "ready"}


def described(tree: dict[str, str]) -> dict[str, object]:
    said = json.loads(tree[f"{ROOT}/$description"])["nodes"]["node"]["properties"]["one"]
    return {key: value for key, value in said.items() if key != "name"}


def breaches(tree: dict[str, str]) -> list[str]:
    return [str(each) for each in check_tree({key: text.encode() for key, text in tree.items()})]


@pytest.mark.parametrize(("prop", "payload", "said"), MADE.values(), ids=MADE)
def test_a_property_has_a_value_of_its_datatype(
    prop: Property, payload: str, said: dict[str, object]
) -> None:
    tree = tree_of(prop)
    assert tree[f"{ROOT}/node/one"] == payload
    assert described(tree) == said
    assert breaches(tree) == []


LISTS: dict[str, tuple[Property, object, str]] = {
    "names": (devices.names("Told", ("anna", "ben")), ["anna", "ben"], "string"),
    "no names": (devices.names("Told", ()), [], "string"),
    "objects": (devices.listed("Loose", [{"key": "horn-wire"}]), [{"key": "horn-wire"}], "object"),
}


@pytest.mark.parametrize(("prop", "value", "items"), LISTS.values(), ids=LISTS)
def test_a_list_says_what_it_is_a_list_of(prop: Property, value: object, items: str) -> None:
    tree = tree_of(prop)
    assert json.loads(tree[f"{ROOT}/node/one"]) == value
    said = described(tree)
    assert said["datatype"] == "json"
    assert json.loads(str(said["format"])) == {"type": "array", "items": {"type": items}}
    assert breaches(tree) == []


def test_a_count_beyond_its_end_would_be_found() -> None:
    (found,) = breaches(tree_of(devices.count("Alarms", 101, 100)))
    assert "outside 0:100" in found


def test_a_description_that_stays_keeps_its_number_and_one_that_differs_has_the_next() -> None:
    first, kept = devices.risen("", "a")
    assert first == 1
    assert devices.risen(kept, "a") == (1, kept)
    second, after = devices.risen(kept, "b")
    assert (second, devices.risen(after, "b")) == (2, (2, after))
    assert devices.risen(after, "a")[0] == 3, "one that comes back is another change"


@pytest.mark.parametrize("kept", ["", "nonsense", "0:x", "abc:-4", "abc:", ":"])
def test_what_cannot_be_read_of_a_number_counts_as_nothing_kept(kept: str) -> None:
    assert devices.risen(kept, "a")[0] == 1
