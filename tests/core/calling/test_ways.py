"""A person's ways: all at once for what is high, one after the other for the rest, and none at all."""

from dataclasses import replace
from itertools import pairwise

import pytest

from relayd.core.calling import outbox, ways
from relayd.core.conditions import CHANNEL_FAILING
from relayd.core.draft import Draft
from relayd.core.effects import Tell
from relayd.core.events import Act, Outcome, Sent
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Means,
    Person,
    Plan,
    Priority,
    Step,
    seconds,
)
from relayd.core.state import NoticeKind, SendState, State
from tests.core import world as worlds
from tests.core.build import contact
from tests.core.world import LEVEL, World, circuit_input, level_input

HATCH = "cabin.hatch"


def two_ways(*steps: Step) -> Plan:
    """Anna and Ben have two ways each, Dora one; the list of these steps is everybody's."""
    hatch = contact(Means.OTHER, name="hatch", priority=Priority.MEDIUM)
    base = worlds.two_ways(level_input(), circuit_input(), hatch)
    people = {**base.people, "dora": Person("dora", "Dora", ("dora.mail",))}
    channels = {name: each.id for each in people.values() for name in each.channels}
    night = CallList("night", steps or (Step(0, ("anna",)), Step(8 * MINUTE, ("ben",))))
    return replace(base, people=people, channels=channels, call_lists={"night": night})


def started(plan_: Plan, *deaf: str) -> World:
    return World(plan_, deaf=set(deaf)).start().run(10)


def given(world: World) -> list[tuple[str, float]]:
    """Channel and time (s) of what went out, from the first on."""
    tells = [(at, each.channel) for at, each in world.effects if isinstance(each, Tell)]
    return [(channel, (at - tells[0][0]) / SECOND) for at, channel in tells]


def refuse(world: World, channel: str) -> None:
    """The service refuses what it was last given."""
    last = [each for each in world.tells() if each.channel == channel][-1]
    world.give(Sent(last.send, Outcome.REFUSED, "550 no such user"))


# Which way first


def test_trade_5_of_a_high_alarm_every_way_goes_at_once() -> None:
    world = started(two_ways())
    world.alarm(LEVEL)
    world.run(11)
    assert [channel for channel, _ in given(world)] == ["anna.mail", "anna.push"]


def test_of_a_medium_alarm_the_second_way_goes_after_a_minute_where_the_first_is_silent() -> None:
    world = started(two_ways(), "anna.mail")
    world.alarm(HATCH)
    world.run(71)
    assert given(world) == [("anna.mail", 0), ("anna.push", 60)]


def test_what_one_way_has_taken_does_not_go_over_the_next() -> None:
    world = started(two_ways())
    world.alarm(HATCH)
    world.run(300)
    assert given(world) == [("anna.mail", 0)]
    (first, *_) = world.notices()
    assert [each.state for each in first.sends] == [SendState.TAKEN, SendState.WITHDRAWN]
    assert first.sends[1].detail == "another way has taken it"


def test_a_way_that_fails_is_followed_at_once_by_the_next() -> None:
    world = started(two_ways(), "anna.mail")
    world.alarm(HATCH)
    world.run(11)
    refuse(world, "anna.mail")
    world.run(1)
    assert given(world)[1][0] == "anna.push"
    assert given(world)[1][1] < 2


def test_a_way_that_is_known_to_fail_is_not_waited_for() -> None:
    world = started(two_ways(), "anna.mail")
    world.alarm(HATCH)
    world.run(80)
    assert CHANNEL_FAILING in world.state.subjects["channel:anna.mail"].said
    began = world.up
    world.alarm(HATCH, False)
    world.run(70)
    over = [each for each in world.notices(NoticeKind.STAND_DOWN) if each.person == "anna"]
    assert [each.made.up for each in over] == [over[0].made.up]
    assert {each.channel for each in world.tells(began)} >= {"anna.mail", "anna.push"}


def test_a_send_that_stands_by_keeps_its_time_through_a_restart() -> None:
    world = started(two_ways(), "anna.mail")
    world.alarm(HATCH)
    world.run(20)
    (notice,) = world.notices()
    due = notice.sends[1].due
    world.restart(5)
    assert world.state.notices[notice.id].sends[1].due == due


# None works: the next step at once


def test_the_next_step_comes_at_once_where_no_way_to_this_one_works() -> None:
    world = started(two_ways(), "anna.mail", "anna.push")
    world.alarm(LEVEL)
    world.run(11)
    refuse(world, "anna.mail")
    assert not [each for each in world.tells() if each.channel.startswith("ben")]
    refuse(world, "anna.push")
    world.run(0.1)
    assert {each.channel for each in world.tells() if each.channel.startswith("ben")} == {
        "ben.mail",
        "ben.push",
    }
    (record,) = world.records("next step at once")
    assert record.body["persons"] == ["anna"]


def test_ways_that_are_known_to_fail_are_tried_and_the_next_step_comes_in_the_same_moment() -> None:
    world = started(two_ways(), "anna.mail", "anna.push")
    world.alarm(LEVEL)
    world.run(80)
    world.alarm(LEVEL, False)
    world.run(3600)
    began = world.up
    world.alarm(LEVEL)
    world.run(11)
    first = {each.channel for each in world.tells(began)}
    assert first >= {"anna.mail", "anna.push", "ben.mail", "ben.push"}


def test_where_another_of_the_step_is_reached_the_list_keeps_its_pace() -> None:
    steps = (Step(0, ("anna", "dora")), Step(8 * MINUTE, ("ben",)))
    world = started(two_ways(*steps), "anna.mail", "anna.push")
    world.alarm(LEVEL)
    world.run(90)
    assert not [each for each in world.tells() if each.channel.startswith("ben")]
    assert world.records("next step at once") == []


def test_where_nobody_can_be_reached_each_step_is_tried_once_and_the_list_goes_on() -> None:
    everyone = ("anna.mail", "anna.push", "ben.mail", "ben.push")
    world = started(two_ways(), *everyone)
    world.alarm(LEVEL)
    world.run(HOUR / SECOND)
    raised = [each.person for each in world.notices(NoticeKind.RAISED) if each.occurrence == 1]
    assert raised[:2] == ["anna", "ben"]
    assert len(world.records("next step at once")) < 24, "the list does not turn round and round"


def test_what_somebody_has_taken_meanwhile_calls_nobody_sooner() -> None:
    world = started(two_ways(), "anna.mail", "anna.push")
    world.alarm(LEVEL)
    world.run(11)
    world.ack("ben", Act.TAKEN)
    refuse(world, "anna.mail")
    refuse(world, "anna.push")
    world.run(1)
    assert world.records("next step at once") == []


@pytest.mark.parametrize("person", ["anna", "gone"])
def test_who_has_no_way_that_works_is_unreachable(person: str) -> None:
    draft = Draft(two_ways(), State("k"), World(two_ways()).now())
    assert ways.unreachable(draft, person, Priority.HIGH) is (person == "gone")


def test_a_message_that_is_no_call_and_reaches_nobody_hurries_nothing() -> None:
    world = started(two_ways(), "anna.mail", "anna.push")
    world.alarm(LEVEL)
    world.run(11)
    world.alarm(LEVEL, False)
    world.run(65)
    before = len(world.records("next step at once"))
    for channel in ("anna.mail", "anna.push"):
        refuse(world, channel)
    assert len(world.records("next step at once")) == before


def test_what_is_withdrawn_on_its_way_and_then_fails_closes_its_message() -> None:
    world = started(two_ways(), "anna.mail", "anna.push", "ben.mail", "ben.push")
    world.alarm(LEVEL)
    world.run(11)
    world.alarm(LEVEL, False)
    world.run(200)
    assert all(
        any(send.due is not None for send in each.sends) for each in world.state.notices.values()
    )


# A service that asks to be left alone


def limited(world: World, channel: str, again: float = 30) -> None:
    """Its service has had enough of it."""
    last = [each for each in world.tells() if each.channel == channel][-1]
    world.give(Sent(last.send, Outcome.FAILED, "answered 429", seconds(again)))


def requests(world: World, channel: str, again: float, length: float) -> list[float]:
    """Let time pass over a service that answers each try so; when it was tried (s)."""
    end, known = world.up + seconds(length), 0
    while True:
        tells = [each for each in world.tells() if each.channel == channel]
        if len(tells) > known:
            known = len(tells)
            limited(world, channel, again)
        elif world.due is None or world.due > end:
            break
        else:
            world.run_to(world.due)
    return [at for name, at in given(world) if name == channel]


@pytest.mark.parametrize(
    ("again", "gaps"),
    [(0, [5, 10, 20, 40, 80, 160]), (30, [30, 30, 30, 40, 80, 160]), (3600, [300])],
    ids=["it does not say when", "30 s", "an hour, and 5 min are the most"],
)
def test_a_limited_service_is_tried_no_sooner_than_it_asked(again: float, gaps: list[int]) -> None:
    world = started(two_ways(), "anna.mail")
    world.alarm(HATCH)
    world.run(11)
    tried = requests(world, "anna.mail", again, 600)
    print(f"\nasked to wait {again} s: tried {len(tried)} times in 10 min, at {tried}")
    waited = [later - sooner for sooner, later in pairwise(tried)]
    assert len(waited) >= len(gaps)
    for gap, least in zip(waited, gaps, strict=False):
        assert least * 0.8 <= gap <= least * 1.01 + 1
    assert all(gap >= min(again, 300) for gap in waited)
    others = [at for name, at in given(world) if name == "anna.push"]
    assert others[0] < 1, "her other way went the moment this one had failed"


def test_what_comes_meanwhile_waits_for_that_service_alone() -> None:
    world = started(two_ways(), "anna.mail")
    world.alarm(HATCH)
    world.run(11)
    limited(world, "anna.mail")
    before, rested = world.up, world.up + 30 * SECOND
    world.alarm(LEVEL)
    world.run(29)
    sent = [each.channel for each in world.tells(before)]
    assert "anna.push" in sent
    assert "anna.mail" not in sent
    assert [each.body["why"] for each in world.records("send waits")] == [outbox.RESTS]
    world.deaf.clear()
    world.run(2)
    assert "anna.mail" in {each.channel for each in world.tells(rested)}
    assert world.state.rests == {}


def test_a_high_alarm_is_tried_once_where_every_way_of_that_person_rests() -> None:
    world = started(two_ways(Step(0, ("dora",))), "dora.mail")
    world.alarm(HATCH)
    world.run(11)
    limited(world, "dora.mail", 300)
    before = world.up
    world.alarm(LEVEL)
    world.run(15)
    assert [each.channel for each in world.tells(before)] == ["dora.mail"]
    limited(world, "dora.mail", 300)
    world.run(200)
    assert len(world.tells(before)) == 1


def test_after_a_start_a_service_is_tried_at_once() -> None:
    world = started(two_ways(Step(0, ("dora",))), "dora.mail")
    world.alarm(HATCH)
    world.run(11)
    limited(world, "dora.mail", 300)
    world.restart(5)
    assert world.state.rests == {}
