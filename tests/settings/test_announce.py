"""[[mqtt.announce]]: what is filled in, what is refused, and where it is told."""

import json
from pathlib import Path

import pytest

from relayd.channels import homie
from relayd.core.conditions import of_panel, of_unit
from relayd.core.events import Now
from relayd.core.state import State
from relayd.errors import PlanRefused
from relayd.rig import Announcement
from tests.settings.plans import WALL, changed, loaded

MQTT = '[mqtt]\nhost = "broker.example.org"\n'


def announced(folder: Path, *tables: str) -> tuple[Announcement, ...]:
    text = "\n".join(f"[[mqtt.announce]]\n{each}" for each in tables)
    return loaded(folder, changed((MQTT, f"{MQTT}\n{text}\n"))).rig.announcements


def test_one_for_the_unit_names_it_and_its_base_topic(tmp_path: Path) -> None:
    (made,) = announced(tmp_path, 'topic = "hub/$unit"\npayload = "$unit_name at $base"')
    assert made == Announcement("hub/cabin", "Cabin at homie/5/cabin")


def test_one_for_each_panel_is_json_whatever_its_name_holds(tmp_path: Path) -> None:
    quoted = changed(
        (MQTT, f"{MQTT}\n[[mqtt.announce]]\nper = \"panel\"\ntopic = \"hub/$panel\"\n"
         "payload = '{\"label\": \"$panel_name\"}'\n"),
        ('name = "Tank"', "name = 'The \"old\" tank \\ well'"),
    )  # fmt: skip
    (made,) = loaded(tmp_path, quoted).rig.announcements
    assert made.topic == "hub/tank"
    assert json.loads(made.payload) == {"label": 'The "old" tank \\ well'}


def test_one_for_each_alarm_names_its_topics_the_unit_s_own_too(tmp_path: Path) -> None:
    table = 'per = "alarm"\ntopic = "hub/$panel/$condition"\npayload = "$name: $node/state"'
    plan = loaded(tmp_path, changed((MQTT, f"{MQTT}\n[[mqtt.announce]]\n{table}\n")))
    told = {each.topic: each.payload for each in plan.rig.announcements}
    assert told["hub/tank/high-level"] == "High level: homie/5/cabin-tank/alarm-high-level/state"
    assert told["hub/unit/unit-power"].endswith(": homie/5/cabin/alarm-unit-power/state")
    tank = plan.plan.panels["tank"]
    assert set(told) == {
        *(f"hub/tank/{each}" for each in of_panel(tank)),
        *(f"hub/unit/{each}" for each in of_unit(plan.plan)),
    }


def test_one_for_each_input_names_its_topics_the_unit_s_own_too(tmp_path: Path) -> None:
    inputs = announced(
        tmp_path, 'per = "input"\ntopic = "hub/$input"\npayload = "$means $contact $fact"'
    )
    told = {each.topic: each.payload for each in inputs}
    assert told == {
        f"hub/{name}": f"{name} homie/5/{device}/inputs/{name} homie/5/{device}/facts/{name}"
        for name, device in (
            ("high-level", "cabin-tank"),
            ("alarm-power", "cabin-tank"),
            ("pump-running", "cabin-tank"),
            ("unit-power", "cabin"),
            ("wetting-supply", "cabin"),
        )
    }


def test_every_topic_that_is_named_is_one_of_the_tree(tmp_path: Path) -> None:
    plan = loaded(
        tmp_path,
        changed(
            (
                MQTT,
                f'{MQTT}\n[[mqtt.announce]]\nper = "alarm"\ntopic = "a/$panel/$condition"\n'
                'payload = "$node/state"\n[[mqtt.announce]]\nper = "input"\n'
                'topic = "i/$input"\npayload = "$contact"\n[[mqtt.announce]]\nper = "input"\n'
                'topic = "f/$input"\npayload = "$fact"\n[[mqtt.announce]]\nper = "panel"\n'
                'topic = "p/$panel"\npayload = "$device/level/says"\n',
            )
        ),
    )
    tree = homie.tree(State("k7m2"), plan.plan, Now("boot-1", 0, WALL, True))
    payloads = [each.payload for each in plan.rig.announcements]
    assert len(payloads) > 20
    assert [each for each in payloads if each not in tree] == []


def test_it_is_told_to_the_broker_that_it_names_and_kept_or_not(tmp_path: Path) -> None:
    office = 'topic = "hub/x"\npayload = "y"\nretain = false\non = "office"'
    text = f'{MQTT}\n[[mqtt.also]]\nname = "office"\nhost = "b.example.org"\n'
    plan = changed((MQTT, f"{text}\n[[mqtt.announce]]\n{office}\n"))
    assert loaded(tmp_path, plan).rig.announcements == (
        Announcement("hub/x", "y", retain=False, on="office"),
    )


BROKEN = {
    "no such name": (
        'topic = "hub/$panle"\npayload = "x"\nper = "panel"',
        "mqtt.announce.topic: names $panle; for each panel there are $base, $device, $panel,"
        " $panel_name, $unit, $unit_name, $where; did you mean panel?",
    ),
    "a name of something else": (
        'topic = "hub"\npayload = "$condition"',
        "mqtt.announce.payload: names $condition; for each unit there are $base, $unit, $unit_name",
    ),
    "a dollar alone": (
        'topic = "hub"\npayload = "5 $"',
        "mqtt.announce.payload: holds a '$' that begins no name (write '$$' for a dollar sign)",
    ),
    "a wildcard": (
        'topic = "hub/+/x"\npayload = "x"',
        "mqtt.announce.topic: \"hub/+/x\" is no topic to publish to: no '+', no '#', and not empty",
    ),
    "the broker's own": (
        'topic = "$$SYS/x"\npayload = "x"',
        'mqtt.announce.topic: "$SYS/x" belongs to the broker: begin with another letter',
    ),
    "ours": (
        'topic = "$base/level"\npayload = "x"',
        'mqtt.announce.topic: "homie/5/cabin/level" is within this unit\'s own topics; choose another',
    ),
    "the events": (
        'topic = "relayd/$unit/events"\npayload = "x"',
        'mqtt.announce.topic: "relayd/cabin/events" is within this unit\'s own topics; choose another',
    ),
    "no JSON": (
        'topic = "hub"\npayload = \'{"label": $unit}\'',
        "mqtt.announce.payload: begins as JSON does and is none: Expecting value: line 1 column 11"
        " (char 10); mend it, or begin it otherwise",
    ),
    "two tables, one topic": (
        'topic = "hub/$unit"\npayload = "x"\n[[mqtt.announce]]\ntopic = "hub/cabin"\npayload = "y"',
        'mqtt.announce.topic: "hub/cabin" is announced twice to mqtt; put an id into the topic',
    ),
    "nothing left of the payload": (
        'topic = "hub/$panel"\npayload = "$where"\nper = "panel"',
        'mqtt.announce.payload: is empty for "hub/tank", and an empty payload clears a topic;'
        " add a word of your own",
    ),
    "the commands": (
        'topic = "$base/commands/acknowledge/set"\npayload = "x"',
        'mqtt.announce.topic: "homie/5/cabin/commands/acknowledge/set" is within this unit\'s own'
        " topics; choose another",
    ),
    "one topic twice": (
        'per = "input"\ntopic = "hub/$unit"\npayload = "x"',
        'mqtt.announce.topic: "hub/cabin" is announced twice to mqtt; put an id into the topic',
    ),
    "no such broker": (
        'topic = "hub"\npayload = "x"\non = "ofice"',
        'mqtt.announce.on: there is no broker "ofice"; one of "mqtt", "all"',
    ),
    "too long": (
        f'topic = "{"x" * 201}"\npayload = "x"',
        f'mqtt.announce.topic: "{"x" * 40}…" is longer than 200 bytes; shorten it',
    ),
    "no topic": (
        'payload = "x"',
        'mqtt.announce.topic: is missing; a topic with $names, such as "hub/$unit/$panel"',
    ),
    "for what there is not": (
        'topic = "hub"\npayload = "x"\nper = "tank"',
        'mqtt.announce.per: "tank" is not known; one of "unit", "panel", "alarm", "input"',
    ),
}


@pytest.mark.parametrize(("table", "says"), BROKEN.values(), ids=BROKEN)
def test_what_cannot_be_told_is_refused_with_what_to_write(
    tmp_path: Path, table: str, says: str
) -> None:
    with pytest.raises(PlanRefused) as refused:
        announced(tmp_path, table)
    assert [each.partition(": ")[2] for each in refused.value.problems] == [says]
