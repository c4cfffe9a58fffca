"""What is owed: tries, outcomes, withdrawals, and channels that fail."""

from dataclasses import replace

import pytest

from relayd.core.calling.outbox import retry_after
from relayd.core.effects import Tell, Withdraw
from relayd.core.events import Act, Outcome, Sent
from relayd.core.plan import HOUR, MINUTE, SECOND, CallList, Plan, Step
from relayd.core.state import NoticeKind, Send, SendState
from tests.core.world import LEVEL, World, plan, two_ways


def quiet() -> Plan:
    """Anna alone is told, once a day, so that one notice can be followed for long."""
    calls = CallList("night", (Step(0, ("anna",)),), repeat=24 * HOUR, slow=24 * HOUR)
    return replace(plan(), call_lists={"night": calls})


def owed(plan_: Plan | None = None, **deaf: bool) -> World:
    """A world at the moment a high level is raised; channels named by keyword never answer."""
    world = World(plan_ or quiet(), deaf={name.replace("_", ".") for name in deaf}).start().run(10)
    world.alarm(LEVEL)
    return world.run(10.05)


def tries(world: World, channel: str) -> list[float]:
    """When (s since the first) a channel was given something."""
    at = [
        when for when, each in world.effects if isinstance(each, Tell) and each.channel == channel
    ]
    return [(when - at[0]) / SECOND for when in at]


def answer(world: World, outcome: Outcome, detail: str = "", send: int | None = None) -> None:
    """An outcome for the send handed out last, or for that one."""
    world.give(Sent(send or world.tells()[-1].send, outcome, detail))


# Tries


@pytest.mark.parametrize("outcome", [Outcome.REFUSED, Outcome.FAILED], ids=str)
def test_a_failed_send_is_tried_again_after_five_seconds_doubled_up_to_five_minutes(
    outcome: Outcome,
) -> None:
    world = owed(anna_mail=True)
    pauses = []
    for _ in range(12):
        answer(world, outcome, "busy")
        failed = world.up
        while world.up == failed or not isinstance(world.effects[-1][1], Tell):
            assert world.due is not None
            world.run_to(world.due)
        pauses.append((world.up - failed) / SECOND)
    whole = [5, 10, 20, 40, 80, 160, 300, 300, 300, 300, 300, 300]
    # Up to a fifth less, so that many sends do not come back in step.
    assert all(0.8 * most <= pause <= most for pause, most in zip(pauses, whole, strict=True))


def test_every_try_keeps_its_ids() -> None:
    world = owed(anna_mail=True)
    for _ in range(6):
        answer(world, Outcome.FAILED)
        world.run(301)
    mails = [each for each in world.tells() if each.channel == "anna.mail"]
    assert len(mails) > 6
    assert len({(each.send, each.ref, each.title, each.body) for each in mails}) == 1
    assert mails[0].ref == f"creek-1.k3f9ab.{world.notices()[0].id}"


@pytest.mark.parametrize("number", range(1, 60))
def test_the_pause_is_the_same_for_the_same_send_and_spreads_over_others(number: int) -> None:
    send = Send(number, "anna.mail", tries=1)
    assert 4 * SECOND <= retry_after(send) == retry_after(send) <= 5 * SECOND


def test_pauses_of_different_sends_differ() -> None:
    assert len({retry_after(Send(each, "x", tries=3)) for each in range(50)}) > 40


def test_a_send_that_is_never_answered_is_tried_again_after_a_minute_and_its_pause() -> None:
    world = owed(anna_mail=True)
    send = world.tells()[-1].send
    world.run(59.9)
    assert tries(world, "anna.mail") == [0]
    world.run(6)
    first, second = tries(world, "anna.mail")
    assert (first, 64 <= second <= 65) == (0, True)
    assert [each.send for each in world.tells()] == [send, send]
    assert world.records("send failed")[0].body["detail"] == "no answer from the sender"


def test_a_slow_channel_holds_up_no_other() -> None:
    calls = CallList("night", (Step(0, ("ben",)),), repeat=24 * HOUR)
    world = owed(replace(plan(), call_lists={"night": calls}), ben_mail=True)
    taken = [each.body["channel"] for each in world.records("send taken")]
    assert taken == ["ben.push"]
    assert [each.state for each in world.notices()[0].sends] == [SendState.OUT, SendState.TAKEN]


# Outcomes


def test_a_notice_is_closed_when_every_channel_took_it() -> None:
    world = owed()
    assert world.state.notices == {}
    assert [each.state for each in world.notices()[0].sends] == [SendState.TAKEN]


def test_taken_although_it_had_been_given_up_waiting_for_is_taken() -> None:
    world = owed(anna_mail=True)
    world.run(61)
    answer(world, Outcome.TAKEN)
    assert world.state.notices == {}
    world.run(3600)
    assert tries(world, "anna.mail") == [0]


def test_a_late_failure_of_a_send_that_is_owed_again_changes_nothing() -> None:
    world = owed(anna_mail=True)
    world.run(61)
    before = world.state.notices
    answer(world, Outcome.FAILED, "too late")
    assert world.state.notices == before


def test_an_outcome_that_nobody_waits_for_is_recorded_and_changes_nothing() -> None:
    world = owed()
    before = (world.state.notices, world.state.subjects)
    answer(world, Outcome.TAKEN)
    assert (world.state.notices, world.state.subjects) == before
    assert world.records("late outcome")[0].body["outcome"] == "taken"


# Withdrawn


def test_a_newer_notice_takes_the_place_of_an_older_one_to_the_same_person() -> None:
    world = owed(two_ways(), anna_mail=True)
    world.run(180)
    about = [each for each in world.notices() if each.condition == "high-level"]
    old, new = (each for each in about if each.person == "anna")
    assert old.sends[0].state is SendState.LEAVING
    assert old.sends[0].detail == "a newer notice says what is true now"
    assert new.sends[0].state is SendState.OUT
    assert [each.send for _, each in world.effects if isinstance(each, Withdraw)] == [
        old.sends[0].id
    ]


def test_what_was_withdrawn_on_its_way_is_waited_for_and_never_repeated() -> None:
    world = owed(two_ways(), anna_mail=True)
    world.run(180)
    old = next(each for each in world.notices() if each.condition == "high-level")
    given = len([each for each in world.tells() if each.send == old.sends[0].id])
    world.run(70)
    assert world.made[old.id].sends[0].state is SendState.WITHDRAWN
    assert old.id not in world.state.notices
    assert len([each for each in world.tells() if each.send == old.sends[0].id]) == given


@pytest.mark.parametrize("outcome", list(Outcome), ids=str)
def test_the_outcome_of_a_withdrawn_send_still_tells_of_its_channel(outcome: Outcome) -> None:
    world = owed(anna_mail=True)
    send = world.tells()[-1].send
    world.ack("anna")
    assert next(iter(world.state.notices.values())).sends[0].state is SendState.LEAVING
    world.give(Sent(send, outcome, "mailbox full"))
    assert world.state.notices == {}
    failing = "channel-failing" in world.state.subjects["channel:anna.mail"].said
    assert failing == (outcome is not Outcome.TAKEN)


def test_what_waits_for_its_next_try_is_withdrawn_at_once() -> None:
    world = owed(anna_mail=True)
    answer(world, Outcome.FAILED)
    world.ack("anna")
    assert world.state.notices == {}
    assert world.notices()[0].sends[0].state is SendState.WITHDRAWN


@pytest.mark.parametrize(
    ("by", "act", "withdrawn"),
    [
        ("anna", Act.SEEN, ["anna"]),
        ("ben", Act.SEEN, ["ben"]),
        ("ben", Act.TAKEN, ["anna", "ben"]),
    ],
)
def test_who_has_answered_needs_no_older_notice(by: str, act: Act, withdrawn: list[str]) -> None:
    world = owed(plan(), anna_mail=True, ben_mail=True, ben_push=True)
    world.run(8 * 60)
    answered = world.up
    world.ack(by, act)
    gone = {
        each.person
        for each in world.notices(NoticeKind.RAISED)
        for send in each.sends
        if send.detail == "acknowledged"
    }
    assert sorted(gone) == withdrawn
    reasons = [each.body["why"] for each in world.records("send withdrawn")]
    assert reasons.count("acknowledged") == len(withdrawn) + withdrawn.count("ben")
    told = {(each.person, each.kind) for each in world.state.notices.values()}
    assert (("anna", NoticeKind.TAKEN) in told) == (act is Act.TAKEN)
    assert world.up == answered


def test_what_has_ended_is_withdrawn_and_the_stand_down_goes_out_alone() -> None:
    world = owed(plan(), anna_mail=True)
    world.alarm(LEVEL, False)
    world.run(90)
    first, over = (each for each in world.notices() if each.person == "anna")
    assert first.sends[0].detail in ("returned to normal", "no answer from the sender")
    assert world.records("send withdrawn")[0].body["why"] == "returned to normal"
    assert (over.kind, over.sends[0].state) == (NoticeKind.STAND_DOWN, SendState.OUT)


# Giving up


def test_a_stand_down_is_given_up_after_a_day() -> None:
    world = owed(anna_mail=True)
    world.alarm(LEVEL, False)
    world.run(70)
    over = world.notices(NoticeKind.STAND_DOWN)[0]
    world.run_to(over.made.up + 24 * HOUR)
    assert over.id in world.state.notices
    world.run(7 * 60)
    assert over.id not in world.state.notices
    assert [each.body["notice"] for each in world.records("send given up")] == [
        f"creek-1.k3f9ab.{over.id}"
    ]


def test_given_up_on_one_channel_the_other_goes_on() -> None:
    calls = CallList("night", (Step(0, ("ben",)),), repeat=24 * HOUR, slow=24 * HOUR)
    world = owed(replace(plan(), call_lists={"night": calls}), ben_mail=True, ben_push=True)
    world.alarm(LEVEL, False)
    world.run(70)
    over = world.notices(NoticeKind.STAND_DOWN)[0]
    world.run_to(over.made.up + 24 * HOUR + 10 * MINUTE)
    assert over.id not in world.state.notices
    assert len(world.records("send given up")) == 2


def test_the_first_notice_of_an_alarm_that_stands_is_never_given_up() -> None:
    world = owed(anna_mail=True)
    world.run(23.9 * 3600)
    assert [each.kind for each in world.state.notices.values()] == [NoticeKind.RAISED]
    world.run(24 * 3600)
    # The daily repeat has taken its place and is tried in its stead.
    assert [each.kind for each in world.state.notices.values()] == [NoticeKind.RAISED]
    assert world.records("send given up") == []


def test_a_first_notice_to_somebody_no_longer_called_is_owed_as_long_as_the_alarm_stands() -> None:
    world = owed(anna_mail=True)
    first = next(iter(world.state.notices))
    others = {"night": CallList("night", (Step(0, ("ben",)),), repeat=24 * HOUR, slow=24 * HOUR)}
    world.restart(plan=replace(plan(), call_lists=others), high_level=True)
    world.run(3 * 24 * 3600)
    assert first in world.state.notices
    assert world.records("send given up") == []


# A channel that fails


def failing(**deaf: bool) -> World:
    """Ben's mail refuses for two minutes; his push works."""
    calls = CallList("night", (Step(0, ("ben",)),), repeat=24 * HOUR, slow=24 * HOUR)
    world = owed(replace(plan(), call_lists={"night": calls}), ben_mail=True, **deaf)
    for _ in range(6):
        send = next(each.send for each in world.tells() if each.channel == "ben.mail")
        answer(world, Outcome.REFUSED, "mailbox full", send)
        world.run(20)
    return world


def test_a_failing_channel_is_an_alarm_of_its_own_told_over_the_others() -> None:
    world = failing()
    assert world.process("channel-failing", "channel:ben.mail") == "UNACK"
    about = [each for each in world.notices() if each.condition == "channel-failing"]
    assert [[send.channel for send in each.sends] for each in about] == [["ben.push"]]
    assert "mailbox full" in about[0].long


def test_one_refusal_is_no_failing_channel() -> None:
    world = owed()
    world.give(Sent(999, Outcome.REFUSED))
    world.run(600)
    assert "channel-failing" not in world.state.subjects["channel:anna.mail"].alarms


def test_it_is_over_when_the_channel_takes_something_again() -> None:
    world = failing()
    send = next(each.send for each in world.tells() if each.channel == "ben.mail")
    world.deaf.clear()
    world.give(Sent(send, Outcome.TAKEN))
    assert world.process("channel-failing", "channel:ben.mail") == "RTNUN"
    over = world.notices(NoticeKind.STAND_DOWN)[-1]
    assert (over.condition, over.sends[0].channel) == ("channel-failing", "ben.push")


def test_a_person_with_no_other_channel_cannot_be_told_and_that_is_recorded() -> None:
    world = owed(anna_mail=True)
    world.run(300)
    assert world.process("channel-failing", "channel:anna.mail") == "UNACK"
    assert [each.subject for each in world.records("no way to tell")] == ["channel:anna.mail"]
