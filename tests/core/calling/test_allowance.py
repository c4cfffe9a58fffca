"""A channel with a limit: never more than that, a part of it kept for high alarms, and no silence."""

from dataclasses import replace
from itertools import pairwise

from relayd.core.effects import Tell
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Input,
    Limit,
    Means,
    Plan,
    Priority,
    Step,
)
from relayd.core.state import NoticeKind
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

MEDIUM, HIGH = Priority.MEDIUM, Priority.HIGH


def other(number: int, priority: Priority) -> Input:
    """An alarm of the site's own, of that priority."""
    name = f"{priority.value}-{number}"
    return contact(Means.OTHER, name=name, priority=priority, text=f"Thing {number}", on_delay=0)


def limited(count: int, span: int = HOUR) -> Plan:
    """Anna alone, with one mail address that takes so much; eight medium alarms and eight high ones."""
    inputs = [other(each, priority) for priority in (MEDIUM, HIGH) for each in range(8)]
    calls = CallList("night", (Step(0, ("anna",)),), repeat=24 * HOUR, slow=24 * HOUR)
    limit = {"anna.mail": Limit(count, span)}
    return plan_of(panel("cabin", *inputs), call_lists={"night": calls}, at_most=limit)


def started(plan: Plan) -> World:
    return World(plan).start().run(30)


def went(world: World) -> list[int]:
    """When something went over Anna's mail (boot ns)."""
    return [at for at, each in world.effects if isinstance(each, Tell)]


def rise(world: World, *names: str, apart: float = 61) -> World:
    """These alarms come, far enough apart that no burst takes part."""
    for name in names:
        world.alarm(f"cabin.{name}")
        world.run(apart)
    return world


def test_what_is_not_high_leaves_a_quarter_of_the_limit_to_what_is() -> None:
    world = rise(started(limited(4)), *(f"medium-{each}" for each in range(6)))
    assert len(went(world)) == 3
    rise(world, "high-0")
    assert len(went(world)) == 4


def test_what_waits_for_room_goes_in_one_message_that_names_it_all() -> None:
    world = rise(started(limited(4)), *(f"medium-{each}" for each in range(6)))
    first = went(world)[0]
    world.run_to(first + HOUR + SECOND)
    at, last = [(at, each) for at, each in world.effects if isinstance(each, Tell)][-1]
    assert at == first + HOUR
    assert [number for number in range(6) if f"Thing {number}" in last.body] == [3, 4, 5]
    assert len(went(world)) == 4


def test_in_no_hour_is_more_given_than_the_limit_but_for_high_alarms() -> None:
    world = started(limited(4))
    for turn in range(5):
        rise(world, *(f"medium-{each}" for each in range(8)))
        for each in range(8):
            world.alarm(f"cabin.medium-{each}", False)
        world.run(400 + turn)
    given = went(world)
    assert len(given) == 6
    assert all(sum(at - HOUR < each <= at for each in given) <= 3 for at in given)


def test_a_high_alarm_goes_beyond_a_limit_that_is_used_up_once_a_minute_and_never_waits_longer() -> (
    None
):
    world = rise(started(limited(2)), *(f"medium-{each}" for each in range(3)))
    begins = world.up
    rise(world, *(f"high-{each}" for each in range(8)), apart=10)
    world.run(120)
    beyond = [at for at in went(world) if at >= begins]
    assert all(later - sooner >= MINUTE for sooner, later in pairwise(beyond))
    told = " ".join(each.body for each in world.tells(begins))
    assert all(f"Thing {each}" in told for each in range(8))
    raised = [at for at, each in world.effects if getattr(each, "kind", "") == "raised"][-8:]
    assert all(any(0 <= at - up <= MINUTE for at in beyond) for up in raised)


def test_a_channel_at_its_limit_holds_up_no_other() -> None:
    base = limited(1)
    anna = replace(base.people["anna"], channels=("anna.mail", "anna.push"))
    ways = {**base.channels, "anna.push": "anna"}
    world = started(replace(base, people={**base.people, "anna": anna}, channels=ways))
    rise(world, "high-0", "high-1")
    raised = [at for at, each in world.effects if getattr(each, "kind", "") == "raised"]
    pushed = [at for at, each in world.effects if getattr(each, "channel", "") == "anna.push"]
    assert pushed == raised


def test_waiting_for_room_is_recorded_once() -> None:
    world = rise(started(limited(4)), *(f"medium-{each}" for each in range(4)))
    world.run(600)
    waits = world.records("send waits")
    assert [(each.body["channel"], each.body["why"]) for each in waits] == [
        ("anna.mail", "the limit of this channel is used up")
    ]


def test_a_channel_without_a_limit_takes_all() -> None:
    world = rise(started(replace(limited(1), at_most={})), *(f"medium-{each}" for each in range(6)))
    assert len(went(world)) == 6
    assert not world.notices(NoticeKind.DIGEST)


def test_what_must_wait_a_second_time_is_recorded_once() -> None:
    world = rise(started(limited(2)), "medium-0", "medium-1")
    first = went(world)[0]
    world.run_to(first + HOUR - 20 * SECOND)
    rise(world, "high-0", apart=30)
    assert len(went(world)) == 2
    assert len(world.records("send waits")) == 1
    world.run_to(first + 2 * HOUR)
    assert "Thing 1" in [each for _, each in world.effects if isinstance(each, Tell)][-1].body
