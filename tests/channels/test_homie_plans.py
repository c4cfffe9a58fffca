"""The trees of the plans in deploy/, in every kind of state, with nothing for the convention to find."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, strategies as st

from relayd.channels import devices, homie
from relayd.channels.branches import Branches
from relayd.channels.shown import Shown
from relayd.convention import Message, check_stream, check_tree, check_will
from relayd.core.conditions import CHANNEL_FAILING, character, of_panel, of_unit
from relayd.core.plan import HOUR, MINUTE, Plan
from relayd.core.state import (
    Alarm,
    Away,
    Belief,
    Call,
    CallStop,
    Fact,
    Horn,
    HornStanding,
    LooseEnd,
    Mark,
    Process,
    PumpLog,
    Stamp,
    State,
    Subject,
    Take,
    Tally,
    Visit,
)
from relayd.settings import load_away
from tests.channels import shown
from tests.settings.plans import WALL

pytestmark = pytest.mark.untraced

DEPLOY = Path(__file__).parents[2] / "deploy"
PLANS = ("plan.cabin.toml", "plan.manager.toml", "plan.integrator.toml")
UP = shown.NOW.up
AT = Stamp(UP - 20 * MINUTE, shown.WALL - 20 * MINUTE, True)
MARK = Mark("robin", AT, UP + HOUR, shown.WALL + HOUR, "new motor")
CALL = Call(AT.up, 1, UP + 3 * MINUTE)


@cache
def plan_of(name: str) -> Plan:
    """One of the plans, away from its unit."""
    return load_away(DEPLOY / name, wall=WALL).plan


def busy(plan: Plan, own: Mapping[str, Any], alarm: Mapping[str, Any]) -> State:
    """Every condition of every panel, of the unit and of its channels, each with these changes."""
    raised: dict[str, Any] = {
        "process": Process.UNACK,
        "row": "L1",
        "occurrence": 7,
        "raised": AT,
        "call": CALL,
    }

    def alarms(names: tuple[str, ...]) -> dict[str, Alarm]:
        return {
            each: replace(Alarm(each, character(each).priority), **{**raised, **alarm})
            for each in names
        }

    subjects = [Subject("unit", alarms(of_unit(plan)))]
    subjects += [Subject(f"channel:{each}", alarms((CHANNEL_FAILING,))) for each in plan.channels]
    for panel in plan.panels.values():
        made = Subject(f"panel:{panel.id}", alarms(of_panel(panel)))
        subjects.append(replace(made, **own))
    return replace(shown.quiet(), subjects={each.id: each for each in subjects}, stamp=AT)


STATES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "alarms stand": ({}, {}),
    "taken": (
        {"belief": Belief("L1", Fact.ALARM, was_alarm=True)},
        {
            "process": Process.ACKED,
            "taken": Take("robin", AT, UP + HOUR, shown.WALL + HOUR),
            "call": replace(CALL, due=None, stopped=CallStop.TAKEN),
        },
    ),
    "returned, nobody answered": ({}, {"process": Process.RTNUN, "returned": AT}),
    "shelved": ({}, {"shelved": MARK}),
    "suppressed by design": ({}, {"suppressed": "the alarm circuit is dead"}),
    "out of service": ({"out": MARK}, {"out": MARK}),
    "a visit": ({"visit": Visit("robin", AT, UP + HOUR, shown.WALL + HOUR)}, {}),
    "horn off": (
        {
            "horn": Horn(HornStanding.DISCONNECTED, AT, "robin", "declared", "H6"),
            "loose": {"horn-wire": LooseEnd("horn-wire", AT, "robin")},
        },
        {},
    ),
    "pumps ran": (
        {"pumps": {each: PumpLog(AT.up, last=AT, tally=Tally(AT, 3, 2)) for each in range(4)}},
        {"process": Process.NORM},
    ),
}


def states(plan: Plan) -> dict[str, State]:
    return {
        "quiet": shown.quiet(),
        **{name: busy(plan, own, alarm) for name, (own, alarm) in STATES.items()},
    }


def ticket(plan: Plan) -> list[str]:
    return [homie.command_topic(plan.unit, "ticket")] if plan.remote_commands else []


def held(tree: Mapping[str, str]) -> dict[str, bytes]:
    """What a broker holds of it once every device is ready."""
    ready = {devices.state_topic(each): "ready" for each in devices.devices(tree)}
    return {topic: text.encode() for topic, text in {**tree, **ready}.items()}


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("trusted", [True, False], ids=["clock set", "clock not set"])
def test_no_state_of_a_plan_in_deploy_gives_a_finding(name: str, trusted: bool) -> None:
    plan, now = plan_of(name), replace(shown.NOW, trusted=trusted)
    for about, state in states(plan).items():
        tree = homie.tree(state, plan, now)
        assert [str(each) for each in check_tree(held(tree), ticket(plan))] == [], about
        alerts = sum("/$alert/" in topic for topic in tree)
        standing = sum(
            each.process is not Process.NORM
            for subject in state.subjects.values()
            for each in subject.alarms.values()
        )
        assert alerts == standing, about


@pytest.mark.parametrize("name", PLANS)
def test_the_unit_and_its_panels_are_one_family_of_devices(name: str) -> None:
    plan = plan_of(name)
    tree = homie.tree(shown.quiet(), plan, shown.NOW)
    assert set(devices.devices(tree)) == {
        plan.unit,
        *(f"{plan.unit}-{each}" for each in plan.panels),
    }
    said = json.loads(tree[devices.description_topic(plan.unit)])
    assert set(said["children"]) == set(devices.devices(tree)) - {plan.unit}
    for panel in plan.panels.values():
        device = f"{plan.unit}-{panel.id}"
        nodes = json.loads(tree[devices.description_topic(device)])["nodes"]
        assert {each for each in nodes if each.startswith("alarm-")} == {
            f"alarm-{each}" for each in of_panel(panel)
        }
        wired = [each.id.partition(".")[2] for each in panel.inputs]
        assert list(nodes["inputs"]["properties"]) == wired
        assert list(nodes["facts"]["properties"]) == wired
        assert {"level", "horn", "work"} <= nodes.keys()


@pytest.mark.parametrize("name", PLANS)
def test_what_is_published_from_state_to_state_keeps_to_the_convention_in_its_order(
    name: str,
) -> None:
    plan = plan_of(name)
    unit = Shown(plan, lambda key: None, lambda key, value: None)
    told: Branches[str] = Branches()
    messages: list[Message] = []
    for state in states(plan).values():
        # The ticket is the client's own.
        wanted = unit.whole(state, shown.NOW).plus(dict.fromkeys(ticket(plan), "k7m2"))
        for topic, payload in devices.changes(told, wanted):
            messages.append(Message(topic, payload.encode(), retain=True, qos=1))
            if payload:
                told[topic] = payload
            else:
                del told[topic]
    assert [str(each) for each in check_stream(messages)] == []
    assert [str(each) for each in check_tree(held(told))] == []
    described = [each.topic for each in messages if each.topic.endswith("/$description")]
    assert len(described) == len(set(described)), "no state changes a description"


IDS = st.lists(st.from_regex(r"[ab1](-?[ab1]){0,3}", fullmatch=True), min_size=2, unique=True)


@given(IDS)
def test_no_two_things_of_a_plan_share_a_topic(ids: list[str]) -> None:
    plan = plan_of("plan.manager.toml")
    panel = next(iter(plan.panels.values()))
    panels = {each: replace(panel, id=each) for each in ids}
    ways = {f"{person}.{way}": "luz" for person in ids for way in ids[:2]}
    many = replace(plan, unit=ids[0], panels=panels, channels=ways, brokers=tuple(ids))
    family = list(homie.family(many))
    assert len({each.id for each in family}) == 1 + len(ids)
    unit = family[0]
    channels = [each for each in unit.nodes if each.startswith("channel-")]
    alarms = [each for each in unit.nodes if each.startswith("alarm-")]
    assert len(channels) == len(ways)
    assert len(alarms) == len(of_unit(many))
    assert len(unit.nodes["health"].properties) == 3 + len(ids)


@pytest.mark.parametrize("name", PLANS)
def test_the_last_will_is_that_of_the_unit(name: str) -> None:
    plan = plan_of(name)
    tree = held(homie.tree(shown.quiet(), plan, shown.NOW))
    assert check_will(devices.state_topic(plan.unit), b"lost", True, tree) == []
    (panel, *_) = plan.panels
    assert check_will(devices.state_topic(f"{plan.unit}-{panel}"), b"lost", True, tree) != []


def without_a_panel(plan: Plan) -> Plan:
    first = next(iter(plan.panels))
    return replace(plan, panels={first: plan.panels[first]})


def without_an_input(plan: Plan) -> Plan:
    first = next(iter(plan.panels.values()))
    return replace(plan, panels={**plan.panels, first.id: replace(first, inputs=first.inputs[:-1])})


@pytest.mark.parametrize("less", [without_a_panel, without_an_input])
def test_a_plan_that_has_less_takes_it_away_in_order(less: Callable[[Plan], Plan]) -> None:
    before = plan_of("plan.manager.toml")
    kept: dict[str, str] = {}
    told: Branches[str] = Branches()
    messages: list[Message] = []
    # There and back: what is new is told in order too.
    for plan in (before, less(before), before):
        wanted = Shown(plan, kept.get, kept.__setitem__).whole(shown.quiet(), shown.NOW)
        for topic, payload in devices.changes(told, wanted):
            messages.append(Message(topic, payload.encode(), retain=True, qos=1))
            told = Branches({**told, topic: payload} if payload else _without(told, topic))
        assert [str(each) for each in check_tree(held(told), ticket(plan))] == []
        assert {topic: told[topic] for topic in wanted} == dict(wanted)
        assert len(told) == len(wanted) + len(devices.devices(wanted))
    assert [str(each) for each in check_stream(messages)] == []


def _without(told: Mapping[str, str], topic: str) -> dict[str, str]:
    return {each: value for each, value in told.items() if each != topic}


def test_who_is_away_is_named_by_the_unit() -> None:
    plan = plan_of("plan.manager.toml")
    person = next(iter(plan.people))
    own = Subject("unit", away={person: Away(person, AT, UP + HOUR, shown.WALL + HOUR)})
    tree = homie.tree(replace(shown.quiet(), subjects={"unit": own}), plan, shown.NOW)
    assert json.loads(tree[f"homie/5/{plan.unit}/persons/away"]) == [person]
    assert check_tree(held(tree), ticket(plan)) == []
