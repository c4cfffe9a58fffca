"""Who is told and when: the call list, the two acts of acknowledging, re-alarm, stand-down."""

from dataclasses import replace

import pytest

from relayd.core.calling.callout import list_of
from relayd.core.events import Acknowledge, Act, ChannelDown, TimePassed
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, CallList, Person, Plan, Step
from relayd.core.state import NoticeKind
from tests.core.world import CIRCUIT, LEVEL, WALL, World, plan

RAISED = 10.05
"""Filter and on-delay: from the edge to the alarm, in seconds."""


def high(world: World | None = None) -> World:
    """A world at the very moment at which high level is raised."""
    world = world or World(plan()).start().run(10)
    world.alarm(LEVEL)
    return world.run(RAISED)


def family(*steps: Step, repeat: int = 15 * MINUTE) -> Plan:
    """Anna and Ben, and Cora who also responds, with a call list of their own."""
    base = plan()
    cora = Person("cora", "Cora", ("cora.call",), responds=True)
    calls = CallList("night", steps, repeat)
    return replace(
        base,
        people={**base.people, "cora": cora},
        channels={**base.channels, "cora.call": "cora"},
        call_lists={"night": calls},
    )


def calls(world: World, since: int) -> list[tuple[float, str]]:
    """(minutes since, person) of every call, each person once a moment."""
    told = [
        (at / 60, who) for at, who, title in world.told(since) if title.split(" - ")[0].isupper()
    ]
    return list(dict.fromkeys(told))


# The call list


def test_each_step_is_told_at_exactly_its_time_and_then_everybody_again_and_again() -> None:
    world = high()
    raised = world.up
    world.run(4 * 3600)
    both = [(at, who) for at in (23, 38, 53, 68, 83, 98, 113, 128) for who in ("anna", "ben")]
    slow = [(at, who) for at in (158, 188, 218) for who in ("anna", "ben")]
    assert calls(world, raised) == [(0, "anna"), (3, "anna"), (8, "ben"), *both, *slow]


def test_the_slow_repeats_begin_after_two_hours_on_the_minute() -> None:
    world = high(World(family(Step(0, ("anna",)))).start())
    raised = world.up
    world.run(3 * 3600 + 1)
    assert [at for at, _ in calls(world, raised)] == [*range(0, 121, 15), 150, 180]


def test_the_second_person_is_told_at_the_second_step_and_not_a_moment_before() -> None:
    plan_ = family(Step(0, ("anna",)), Step(7 * MINUTE, ("ben",)), Step(9 * MINUTE, ("cora",)))
    world = high(World(plan_).start())
    raised = world.up
    world.run_to(raised + 7 * MINUTE - 1)
    assert calls(world, raised) == [(0, "anna")]
    world.run_to(raised + 7 * MINUTE)
    assert calls(world, raised) == [(0, "anna"), (7, "ben")]


def test_a_first_step_that_waits_waits() -> None:
    world = high(World(family(Step(2 * MINUTE, ("anna", "ben")))).start())
    raised = world.up
    world.run(600)
    assert calls(world, raised)[:2] == [(2, "anna"), (2, "ben")]


def test_every_channel_of_a_person_is_used_at_once() -> None:
    world = high()
    world.run(8 * 60)
    sent = [each.channel for each in world.tells()]
    assert sent == ["anna.mail", "anna.mail", "ben.mail", "ben.push"]


def test_an_alarm_below_high_is_repeated_daily_and_not_through_the_night() -> None:
    world = World(plan()).start().run(10)
    world.give(ChannelDown("mqtt", "refused"))
    world.run(300)
    raised = world.up
    assert world.process("mqtt-down", "unit") == "UNACK"
    world.run(49 * 3600)
    evening = (20 * HOUR - (WALL + raised) % DAY) / MINUTE
    days = [(evening + day * 24 * 60, who) for day in (0, 1) for who in ("anna", "ben")]
    assert calls(world, raised) == [(0, "anna"), (3, "anna"), (8, "ben"), *days]


def test_steps_that_were_slept_through_are_all_due_at_once_and_everybody_hears() -> None:
    world = high()
    world.up += 20 * MINUTE
    slept = world.up
    world.give(TimePassed())
    assert {who for _, who, _ in world.told(slept)} == {"anna", "ben"}
    assert world.due is not None
    assert world.due > slept


# Seen


def test_seen_does_not_stop_the_call_list() -> None:
    world = high()
    raised = world.up
    world.run(60)
    assert world.ack("anna").code == "seen"
    assert world.process("high-level") == "ACKED"
    world.run(8 * 60)
    assert (8, "ben") in calls(world, raised)


def test_who_has_seen_it_is_left_alone_for_half_an_hour_and_that_is_recorded() -> None:
    world = high()
    raised = world.up
    world.run(60)
    world.ack("anna")
    seen = world.up
    world.run(59 * 60)
    anna = [at for at, who in calls(world, seen) if who == "anna"]
    # 3 and 23 min are skipped, and 31 min are over at 38.
    assert anna == [37, 52]
    skipped = [each.body["person"] for each in world.records("not told")]
    assert skipped == ["anna", "anna"]
    at = [
        (when - raised) / MINUTE
        for when, each in world.effects
        if each in world.records("not told")
    ]
    assert at == [3, 23]


def test_the_half_hour_ends_on_the_second() -> None:
    world = high(World(family(Step(0, ("anna",)), repeat=MINUTE)).start())
    world.run(60)
    world.ack("anna")
    seen = world.up
    world.run(31 * 60)
    assert round(calls(world, seen + 1)[0][0], 6) == 30


def test_seen_by_the_second_person_leaves_the_re_alarm_where_it_was() -> None:
    world = high()
    world.run(60)
    world.ack("anna")
    due = world.open_alarm().realarm
    world.run(600)
    world.ack("ben", Act.SEEN)
    assert world.open_alarm().realarm == due == world.up - 600 * SECOND + HOUR


def test_what_was_only_seen_is_an_alarm_again_after_an_hour() -> None:
    """Re-alarm of OPC 10000-9 B.1.5 (Sources 1.2, read): unacknowledged 'as if it had just occurred'."""
    world = high()
    world.ack("anna")
    seen = world.up
    world.run_to(seen + HOUR - 1)
    assert world.process("high-level") == "ACKED"
    world.run_to(seen + HOUR)
    assert world.process("high-level") == "UNACK"
    assert world.told(seen + HOUR)[0][1] == "anna"
    assert "Still there" in world.notices()[-1].long


def test_a_re_alarm_leaves_nobody_alone_who_had_seen_it_before() -> None:
    world = high()
    world.ack("anna")
    seen = world.up
    world.run(50 * 60)
    world.ack("anna")
    world.run_to(seen + HOUR)
    assert world.told(seen + HOUR)[0][1] == "anna"
    assert world.open_alarm().seen == {}


# Taken


def test_taken_stops_the_call_list_and_tells_those_already_told() -> None:
    world = high()
    world.run(10 * 60)
    taken = world.up
    answer = world.ack("ben")
    assert (answer.ok, answer.code) == (True, "taken")
    assert "Ben has it until" in answer.say
    assert "told: Anna" in answer.say
    assert world.told(taken) == [(0, "anna", "High level: somebody has it - Cabin tank")]
    world.run(89 * 60)
    assert len(world.told(taken)) == 1
    assert [each.body["why"] for each in world.records("call list stopped")] == ["ben has it"]


def test_taken_before_anybody_else_was_told_tells_nobody() -> None:
    world = high(World(family(Step(0, ("ben",)), Step(MINUTE, ("anna",)))).start())
    taken = world.up
    assert "nobody else had been told" in world.ack("ben").say
    world.run(600)
    assert world.told(taken + 1) == []


def test_taken_by_occurrence_takes_that_one_and_no_other() -> None:
    world = high()
    world.alarm(CIRCUIT)
    world.run(30)
    level, circuit = world.open_alarm(), world.open_alarm("alarm-power")
    ref = f"creek-1.{world.state.epoch}.{circuit.occurrence}"
    assert world.ask(Acknowledge(occurrence=ref)).code == "taken"
    assert (world.process("high-level"), world.process("alarm-power")) == ("UNACK", "ACKED")
    assert world.open_alarm().call == level.call


def test_taken_by_panel_takes_all_that_is_open_there() -> None:
    world = high()
    world.alarm(CIRCUIT)
    world.run(30)
    world.ack("ben")
    assert (world.process("high-level"), world.process("alarm-power")) == ("ACKED", "ACKED")


def test_not_done_half_an_hour_after_the_promise_it_calls_again_from_the_first_step() -> None:
    world = high()
    world.run(10 * 60)
    world.ack("ben", within=45 * MINUTE)
    again = world.up + 75 * MINUTE
    world.run_to(again - 1)
    assert world.process("high-level") == "ACKED"
    world.run_to(again)
    assert world.process("high-level") == "UNACK"
    world.run(20 * 60)
    assert calls(world, again)[:3] == [(0, "anna"), (3, "anna"), (8, "ben")]
    assert world.open_alarm().taken is None


def test_a_second_promise_takes_the_place_of_the_first() -> None:
    world = high()
    world.run(10 * 60)
    world.ack("ben", within=20 * MINUTE)
    world.run(10 * 60)
    world.ack("ben", within=3 * HOUR)
    world.run(3.4 * 3600)
    assert world.process("high-level") == "ACKED"
    world.run(0.2 * 3600)
    assert world.process("high-level") == "UNACK"


def test_seen_after_taken_lets_the_promise_stand() -> None:
    world = high()
    world.run(10 * 60)
    world.ack("ben", within=3 * HOUR)
    promise = world.open_alarm().realarm
    world.ack("anna")
    world.run(2 * 3600)
    assert world.open_alarm().realarm == promise
    assert world.process("high-level") == "ACKED"


def test_seen_and_then_taken_by_the_same_person_stops_it() -> None:
    world = high()
    world.ack("anna")
    world.ack("anna", Act.TAKEN)
    stopped = world.up
    world.run(80 * 60)
    assert world.told(stopped + 1) == []


# Stand-down


def over(world: World) -> list[str]:
    """Who got the stand-down, in order."""
    return [each.person for each in world.notices(NoticeKind.STAND_DOWN)]


@pytest.mark.parametrize(
    ("minutes", "told"),
    [(1, ["anna"]), (9, ["anna", "ben"]), (60, ["anna", "ben"])],
    ids=["first step", "second step", "after repeats"],
)
def test_the_stand_down_reaches_exactly_those_told(minutes: float, told: list[str]) -> None:
    world = high()
    world.run(minutes * 60 - 30)
    world.alarm(LEVEL, False)
    world.run(90)
    assert over(world) == told
    assert world.process("high-level") == "RTNUN"
    went = world.up
    world.run(48 * 3600)
    assert world.told(went) == []


def test_nobody_told_nobody_stood_down() -> None:
    world = high(World(family(Step(5 * MINUTE, ("anna",)))).start())
    world.alarm(LEVEL, False)
    world.run(600)
    assert world.process("high-level") == "RTNUN"
    assert world.told() == []


def test_who_was_skipped_because_he_had_seen_it_is_stood_down_if_he_was_told_once() -> None:
    world = high()
    world.ack("anna")
    world.run(600)
    world.alarm(LEVEL, False)
    world.run(90)
    assert over(world) == ["anna", "ben"]


def test_a_stand_down_names_what_remains() -> None:
    world = high()
    world.run(10)
    world.alarm(CIRCUIT)
    world.run(100)
    world.alarm(LEVEL, False)
    world.alarm(CIRCUIT, False)
    world.run(31)
    over_circuit = world.notices(NoticeKind.STAND_DOWN)[0]
    assert over_circuit.condition == "alarm-power"
    assert "still open here: high level" in over_circuit.long.lower()


def test_acknowledged_and_returned_is_over_and_unacknowledged_stays_visible() -> None:
    world = high()
    world.ack("ben")
    world.alarm(LEVEL, False)
    world.run(90)
    assert world.process("high-level") == "NORM"
    assert len(world.records("occurrence ended")) == 1
    world.alarm(LEVEL)
    world.run(30)
    world.alarm(LEVEL, False)
    world.run(24 * 3600)
    assert world.process("high-level") == "RTNUN"
    world.ack("anna")
    assert world.process("high-level") == "NORM"
    assert len(world.records("occurrence ended")) == 2


def test_raised_again_after_an_unacknowledged_return_is_a_new_occurrence_and_calls_anew() -> None:
    world = high()
    world.run(10 * 60)
    first = world.open_alarm()
    world.alarm(LEVEL, False)
    world.run(90)
    assert world.process("high-level") == "RTNUN"
    high(world)
    second = world.open_alarm()
    raised = world.up
    assert world.process("high-level") == "UNACK"
    assert second.occurrence > first.occurrence
    # Ben was called there a quarter of an hour ago: he hears of it with the first step.
    assert second.told == ("anna", "ben")
    world.run(9 * 60)
    assert calls(world, raised) == [(0, "anna"), (0, "ben"), (3, "anna"), (8, "ben")]


def test_a_person_whom_no_channel_reaches_is_recorded() -> None:
    base = family(Step(0, ("anna",)))
    lonely = replace(base.people["anna"], channels=())
    world = high(World(replace(base, people={**base.people, "anna": lonely})).start())
    assert [each.body["person"] for each in world.records("no way to tell")] == ["anna"]
    assert world.state.notices == {}


def test_a_panel_s_own_call_list_serves_its_alarms_and_the_unit_s_the_others() -> None:
    base = plan(call_list="own")
    own = CallList("own", (Step(0, ("ben",)),))
    plan_ = replace(base, call_lists={**base.call_lists, "own": own})
    assert list_of(plan_, "panel:cabin").id == "own"
    assert list_of(plan_, "panel:gone").id == "night"
    assert list_of(plan_, "unit").id == "night"
    assert list_of(plan_, "channel:cabin").id == "night"
