"""One step: where each event goes, what an error in one subject does, and when to come again."""

from dataclasses import replace
from typing import Any

import pytest

from relayd.core import machine
from relayd.core.calling import callout, outbox
from relayd.core.draft import UNIT, Draft
from relayd.core.effects import Publish, Record
from relayd.core.events import (
    ChannelDown,
    ChannelUp,
    ClockJudged,
    EdgeSeen,
    Event,
    FaultFound,
    JournalJudged,
    LevelRead,
    Outcome,
    PlanJudged,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.findings import Site
from relayd.core.life import lifecycle
from relayd.core.machine import step
from relayd.core.plan import HOUR, MINUTE, SECOND, Panel, Plan, Priority
from relayd.core.saying import advice
from relayd.core.saying.hand import Matter
from relayd.core.state import NoticeKind, State
from tests.core.world import LEVEL, World, plan


def two_panels() -> Plan:
    """The cabin, and a barn with a contact of its own."""
    base = plan()
    cabin = base.panels["cabin"]
    inputs = tuple(
        replace(each, id=each.id.replace("cabin", "barn"), panel="barn") for each in cabin.inputs
    )
    barn = replace(cabin, id="barn", name="Barn sump", inputs=inputs)
    return replace(base, panels={"cabin": cabin, "barn": barn})


def started(plan_: Plan | None = None) -> World:
    world = World(plan_ or plan()).start()
    for each in world.plan.panels.values():
        for spec in each.inputs:
            world.give(LevelRead(spec.id, spec.in_alarm.value == "open", world.up))
    return world.run(10)


# The unit's own conditions


UNIT_NEWS: list[tuple[Event, Event | None, str, float, str]] = [
    (JournalJudged(True, "disk full"), JournalJudged(False), "journal-late", 0, "disk full"),
    (JournalJudged(True), JournalJudged(False), "journal-late", 0, "the disk does not answer"),
    (ChannelDown("sender", "exit 1"), ChannelUp("sender"), "sender-down", 20, "exit 1"),
    (ChannelDown("sender", ""), ChannelUp("sender"), "sender-down", 20, "down"),
    (ChannelDown("mqtt", "refused"), ChannelUp("mqtt"), "mqtt-down", 300, "refused"),
    (PlanJudged(True, "line 3: no"), PlanJudged(False), "plan-refused", 0, "line 3: no"),
    (PlanJudged(True), PlanJudged(False), "plan-refused", 0, "see relayd check"),
    (FaultFound("inbox", "dropped 7"), None, "fault-in-relayd", 0, "inbox: dropped 7"),
]


@pytest.mark.parametrize(
    ("bad", "good", "condition", "after", "why"),
    UNIT_NEWS,
    ids=[f"{each[2]}: {each[4]}" for each in UNIT_NEWS],
)
def test_what_the_unit_knows_of_itself_is_an_alarm_that_says_why(
    bad: Event, good: Event | None, condition: str, after: float, why: str
) -> None:
    world = started()
    world.give(bad)
    world.run(after - 0.1 if after else 0)
    assert world.process(condition, UNIT) == ("NORM" if after else "UNACK")
    world.run(0.2)
    assert world.process(condition, UNIT) == "UNACK"
    raised = next(each for each in world.notices() if each.condition == condition)
    assert why in raised.long
    if good is not None:
        world.give(good)
        world.run(3600)
        assert world.process(condition, UNIT) == "RTNUN"
        assert [each.kind for each in world.notices()][-1] is NoticeKind.STAND_DOWN


def test_the_same_news_twice_is_recorded_once() -> None:
    world = started()
    for _ in range(5):
        world.give(ChannelDown("mqtt", "refused"))
    assert len(world.records("unit judged")) == 1
    world.give(ChannelUp("mqtt"))
    world.give(ChannelUp("mqtt"))
    assert [each.body["why"] for each in world.records("unit judged")] == ["refused", "well again"]


def test_a_way_that_blinks_is_no_alarm() -> None:
    world = started()
    for _ in range(20):
        world.give(ChannelDown("mqtt", "refused"))
        world.run(60)
        world.give(ChannelUp("mqtt"))
        world.run(61)
    assert world.process("mqtt-down", UNIT) == "NORM"


def test_what_the_time_service_says_is_recorded_and_changes_nothing_else() -> None:
    world = started()
    before = world.state.subjects
    effects = world.give(ClockJudged(True))
    assert [each.kind for each in effects if isinstance(each, Record)] == ["clock judged"]
    assert world.state.subjects is before


def test_an_input_that_the_plan_does_not_know_is_recorded() -> None:
    world = started()
    world.give(EdgeSeen("cellar.high-level", True, world.up))
    assert world.records("unknown input")[0].body == {"input": "cellar.high-level"}


# Faults of relayd itself


def break_cabin(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every look at the cabin's steps of advice fails from now on."""
    real = advice.lines

    def lines(matter: Matter, priority: Priority) -> list[str]:
        if matter.panel.id == "cabin":
            raise ZeroDivisionError("a fault that was put in")
        return real(matter, priority)

    monkeypatch.setattr(advice, "lines", lines)


def test_a_fault_in_one_panel_stops_no_other_and_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    world = started(two_panels())
    break_cabin(monkeypatch)
    world.alarm(LEVEL)
    world.alarm("barn.high-level")
    world.run(20)
    assert world.process("high-level", "panel:barn") == "UNACK"
    assert world.process("high-level") == "NORM"
    assert world.process("fault-in-relayd", UNIT) == "UNACK"
    told = {each.condition: each.long for each in world.notices()}
    assert set(told) == {"high-level", "fault-in-relayd"}
    assert "panel:cabin: ZeroDivisionError: a fault that was put in" in told["fault-in-relayd"]


def test_a_fault_leaves_no_half_done_step_and_is_tried_again_after_a_minute(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    with monkeypatch.context() as patch:
        break_cabin(patch)
        world.alarm(LEVEL)
        world.run(20)
        assert world.process("high-level") == "NORM"
        assert all(each.subject == UNIT for each in world.state.notices.values())
    fault = next(
        at
        for at, each in world.effects
        if isinstance(each, Record) and each.kind == "fault in relayd"
    )
    world.run_to(fault + MINUTE - 1)
    assert world.process("high-level") == "NORM"
    world.run_to(fault + MINUTE)
    assert world.process("high-level") == "UNACK"


def test_a_fault_while_a_notice_was_closed_keeps_that_notice(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    world.deaf = {"anna.mail"}
    world.alarm(LEVEL)
    world.run(20)
    kept, call = next(iter(world.state.notices)), lifecycle.call

    def withdraw_and_fail(draft: Draft, subject: str) -> None:
        if subject == "panel:cabin":
            draft.close_notice(kept)
            raise ZeroDivisionError("a fault that was put in")
        call(draft, subject)

    monkeypatch.setattr(lifecycle, "call", withdraw_and_fail)
    world.give(TimePassed())
    world.alarm(LEVEL, False)
    assert kept in world.state.notices
    assert kept not in {each.id for each in world.state.closed}


def test_a_fault_in_the_unit_s_own_part_is_told_and_does_not_go_round(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    real = machine._judge

    def fail(draft: Draft, subject: str, where: Site) -> int | None:
        if subject == UNIT:
            raise ZeroDivisionError("a fault that was put in")
        return real(draft, subject, where)

    monkeypatch.setattr(machine, "_judge", fail)
    world.give(ChannelDown("mqtt", "refused"))
    assert [each.subject for each in world.records("fault in relayd")] == [UNIT]
    assert world.due == world.up + MINUTE
    world.run(9 * 60)
    assert len(world.records("fault in relayd")) == 10
    calls = world.notices(NoticeKind.RAISED)
    assert [(each.person, each.condition) for each in calls] == [
        ("anna", "fault-in-relayd"),
        ("anna", "fault-in-relayd"),
        ("ben", "fault-in-relayd"),
    ]
    assert "unit: ZeroDivisionError: a fault that was put in" in calls[0].long


def test_a_fault_in_the_telling_of_faults_is_recorded_and_the_others_go_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    real = lifecycle.settle

    def fail(draft: Draft, subject: str, *rest: Any) -> None:
        if subject == UNIT:
            raise ZeroDivisionError("a fault that was put in")
        real(draft, subject, *rest)

    monkeypatch.setattr(lifecycle, "settle", fail)
    world.give(ChannelDown("mqtt", "refused"))
    assert [each.subject for each in world.records("fault in relayd")] == [UNIT, UNIT]
    world.alarm(LEVEL)
    world.run(20)
    assert world.process("high-level") == "UNACK"


def test_a_command_that_relayd_fails_at_is_answered_and_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    world.alarm(LEVEL)
    world.run(20)
    acknowledged = callout.acknowledged

    def half(*about: Any) -> None:
        acknowledged(*about)
        raise ZeroDivisionError("a fault that was put in")

    monkeypatch.setattr(callout, "acknowledged", half)
    answer = world.ack("ben")
    assert (answer.ok, answer.code) == (False, "fault-in-relayd")
    assert answer.say == (
        "nothing was done: this program failed at it (ZeroDivisionError: a fault that was put in);"
        " it is recorded and told"
    )
    assert world.process("high-level") == "UNACK"
    assert world.process("fault-in-relayd", UNIT) == "UNACK"


def test_an_outcome_that_relayd_fails_at_is_told_and_its_send_is_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    world.deaf = {"anna.mail"}
    world.alarm(LEVEL)
    world.run(20)
    tell = world.tells()[0]
    with monkeypatch.context() as patch:
        patch.setattr(outbox, "_taken", lambda *_: 1 // 0)
        world.give(Sent(tell.send, Outcome.TAKEN))
    assert world.process("fault-in-relayd", UNIT) == "UNACK"
    assert f"send {tell.send}: ZeroDivisionError" in world.notices()[-1].long
    world.run(120)
    assert [each.send for each in world.tells()].count(tell.send) > 1


def test_a_notice_that_cannot_be_handed_out_stops_no_other_and_does_not_spin(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started(two_panels())
    world.deaf = {"anna.mail"}
    world.alarm(LEVEL)
    world.alarm("barn.high-level")
    world.run(20)
    bad, good = world.notices()[:2]
    real = outbox.hand_out

    def fail(draft: Draft, only: int) -> None:
        if only == bad.id:
            raise ZeroDivisionError("a fault that was put in")
        real(draft, only)

    monkeypatch.setattr(outbox, "hand_out", fail)
    world.run(150)
    faults = [each.body for each in world.records("fault in relayd")]
    assert 1 <= len(faults) <= 3
    sends = [each.send for each in world.tells()]
    assert sends.count(bad.sends[0].id) == 1
    assert sum(each.title == good.title for each in world.tells()) > 1
    assert world.process("fault-in-relayd", UNIT) == "UNACK"


def test_what_is_due_again_in_its_own_step_is_a_fault_and_does_not_spin(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    real = lifecycle.due

    def restless(draft: Draft, subject: str, spec: Panel | None) -> int | None:
        return draft.now.up if subject == "panel:cabin" else real(draft, subject, spec)

    monkeypatch.setattr(lifecycle, "due", restless)
    stuck = world.state.live["panel:cabin"]
    world.state = replace(
        world.state, live={**world.state.live, "panel:cabin": replace(stuck, due=world.up)}
    )
    world.give(TimePassed())
    faults = [(each.subject, each.body["what"]) for each in world.records("fault in relayd")]
    assert ("panel:cabin", machine.RESTLESS) in faults
    assert world.due is not None
    assert world.due > world.up
    assert world.open_alarm("fault-in-relayd", UNIT).told == ("anna",)


def test_a_subject_that_does_not_come_to_rest_ends_its_step_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = started()
    turns = []

    def restless(draft: Draft, subject: str, where: Site) -> None:
        turns.append(subject)
        draft.put(replace(draft.subject(subject), said={"turn": str(len(turns))}))

    monkeypatch.setattr(machine, "_judge", restless)
    world.give(ChannelDown("mqtt", "refused"))
    assert turns == [UNIT] * 4


# When to come again


def test_a_unit_at_rest_has_nothing_due() -> None:
    assert started().due is None


def test_nothing_is_due_before_the_first_event() -> None:
    world = World(plan())
    outcome = step(world.plan, world.state, TimePassed(), world.now())
    assert (outcome.due, outcome.effects) == (None, ())


@pytest.mark.parametrize("late", [1, 30, 90, 3600, 100_000], ids=lambda each: f"{each} s late")
def test_a_late_step_still_asks_for_a_time_to_come(late: int) -> None:
    world = started()
    for _ in range(5):
        world.alarm(LEVEL)
        world.up += late * SECOND
        world.alarm(LEVEL, False)
        world.up += late * SECOND
        world.give(TimePassed())
    world.run(200)
    assert world.due is None or world.due > world.up


def test_a_step_that_changes_nothing_gives_the_same_objects_back() -> None:
    world = started()
    before = world.state
    outcome = step(world.plan, before, TimePassed(), world.now())
    assert outcome.effects == ()
    assert outcome.state.subjects is before.subjects
    assert outcome.state.notices is before.notices
    assert outcome.state.stamp is before.stamp


def test_bounces_are_published_to_nobody() -> None:
    world = started()
    effects = [*world.move(LEVEL, True), *world.move(LEVEL, False), *world.move(LEVEL, True)]
    assert [each for each in effects if isinstance(each, Publish)] == []
    world.run(0.1)
    assert isinstance(world.effects[-1][1], Publish)


def test_numbers_are_given_once() -> None:
    world = started()
    for _ in range(4):
        world.alarm(LEVEL)
        world.run(600)
        world.alarm(LEVEL, False)
        world.run(100)
        world.ack("ben")
    numbers = [each.id for each in world.notices()]
    numbers += [send.id for each in world.notices() for send in each.sends]
    numbers += list({each.occurrence for each in world.notices()})
    assert len(numbers) == len(set(numbers))
    assert max(numbers) <= world.state.counter


def test_the_same_step_twice_gives_the_same_outcome() -> None:
    world = started()
    world.alarm(LEVEL)
    world.run(10)
    world.up += HOUR
    first = step(world.plan, world.state, TimePassed(), world.now())
    assert first == step(world.plan, world.state, TimePassed(), world.now())
    assert first.effects != ()


def test_a_start_before_any_level_tells_nothing_of_the_contacts() -> None:
    world = World(plan())
    world.give(Started(True))
    assert world.due is None
    assert world.row == ""


def test_a_new_state_owes_nothing() -> None:
    world = World(plan(), State("k3f9ab"))
    draft = Draft(world.plan, world.state, world.now())
    assert outbox.due_now(draft) == []
    outbox.hand_out(draft, 7)
    outbox.put_off(draft, 7, MINUTE)
    assert draft.effects == []
    assert outbox.due(draft) is None
