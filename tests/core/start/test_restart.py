"""Begin again: in the same boot, in another one, with and without a clock, with another plan."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from relayd.core.draft import UNIT
from relayd.core.effects import Tell
from relayd.core.events import (
    AtPanel,
    ChannelDown,
    FaultFound,
    HornWire,
    InputLost,
    LevelRead,
    Looked,
    Outcome,
    Sent,
    Stage,
    Started,
    Wire,
)
from relayd.core.plan import HOUR, MINUTE, SECOND, Priority, Unpowered
from relayd.core.state import NoticeKind, SendState
from tests.core.world import CIRCUIT, LEVEL, World, circuit_input, high, level_input, plan, two_ways

Restart = Callable[..., World]


WAYS: dict[str, dict[str, object]] = {
    "same boot": {},
    "another boot, clock trusted": {"boot": "boot-2"},
}
UNKNOWN = {"boot": "boot-2", "trusted": False}
"""Another boot, and nobody knows how long the unit was off."""


# What is owed


@pytest.mark.parametrize("how", [*WAYS.values(), UNKNOWN], ids=[*WAYS, "clock not trusted"])
def test_what_was_out_is_owed_again_under_its_old_ids(how: dict[str, object]) -> None:
    world = high(two_ways(), deaf=frozenset({"anna.mail"}))
    world.run(181)  # the next step is Ben's
    before = [each for each in world.tells() if each.channel == "anna.mail"][-1]
    out = [send for each in world.state.notices.values() for send in each.sends]
    assert (before.send, SendState.OUT) in {(send.id, send.state) for send in out}
    world.crash(5, how.get("boot"), how.get("trusted"), None)  # type: ignore[arg-type]
    began = world.up
    world.start(planned=False, high_level=True)
    first = [each for each in world.tells(began) if each.channel == "anna.mail"]
    assert len(first) == 1, (
        "what is due over a way that fails is tried one by one, the first at once"
    )
    world.run(150)
    again = [each for each in world.tells(began) if each.send == before.send]
    assert again[:1] == [before]


def test_what_was_taken_is_not_sent_again() -> None:
    world = high()
    began = len(world.tells())
    world.restart(high_level=True)
    world.run(100)
    assert len(world.tells()) == began


@pytest.mark.parametrize("boot", [None, "boot-2"], ids=["same boot", "another boot"])
def test_a_send_that_waited_for_its_pause_is_due_at_once(boot: str | None) -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    world.give(Sent(world.tells()[-1].send, Outcome.FAILED))
    (mine,) = world.state.notices.values()
    assert mine.sends[0].state is SendState.OWED
    world.restart(0.1, boot, high_level=True)
    assert world.state.notices[mine.id].sends[0].state is SendState.OUT


# Deadlines


@pytest.mark.parametrize("how", WAYS.values(), ids=WAYS)
def test_the_call_list_goes_on_at_its_own_times(how: dict[str, object]) -> None:
    world = high()
    raised = world.now().wall
    world.run(60)
    world.restart(30, high_level=True, **how)  # type: ignore[arg-type]
    world.run(8 * 60)
    at = [
        ((when - world.up) + world.now().wall - raised) / SECOND
        for when, each in world.effects
        if isinstance(each, Tell) and each.channel == "ben.mail"
    ]
    assert [round(each, 3) for each in at] == [480]


@pytest.mark.parametrize("how", WAYS.values(), ids=WAYS)
def test_a_step_that_came_while_the_unit_was_down_is_due_at_the_start(
    how: dict[str, object],
) -> None:
    world = high()
    world.crash(3600, how.get("boot"), None, None)  # type: ignore[arg-type]
    began = world.up
    world.start(planned=False, high_level=True)
    assert {who for _, who, _ in world.told(began)} == {"anna", "ben"}
    assert world.process("high-level") == "UNACK"


def test_a_step_is_due_now_where_nobody_knows_how_long_the_unit_was_off() -> None:
    world = high()
    world.run(4 * 60)  # the next step is Ben's, in four minutes
    world.crash(1, "boot-2", False, None)
    began = world.up
    world.start(planned=False, high_level=True)
    assert {who for _, who, title in world.told(began) if "HIGH LEVEL" in title} == {"ben"}


@pytest.mark.parametrize("how", WAYS.values(), ids=WAYS)
def test_who_has_seen_it_is_left_alone_for_what_remains(how: dict[str, object]) -> None:
    world = high()
    world.run(1)
    world.ack("anna")
    world.restart(9 * 60, high_level=True, **how)  # type: ignore[arg-type]
    quiet = world.open_alarm().seen["anna"]
    assert quiet - world.up == 21 * MINUTE


def test_who_has_seen_it_is_left_alone_no_longer_where_the_clock_does_not_tell() -> None:
    world = high()
    world.run(1)
    world.ack("anna")
    world.restart(9 * 60, high_level=True, **UNKNOWN)  # type: ignore[arg-type]
    assert world.open_alarm().seen == {}
    assert world.process("high-level") == "ACKED"


@pytest.mark.parametrize("how", WAYS.values(), ids=WAYS)
def test_a_promise_holds_across_a_restart(how: dict[str, object]) -> None:
    world = high()
    world.run(60)
    world.ack("ben", within=2 * HOUR)
    promised = world.now().wall + 2 * HOUR
    world.restart(600, high_level=True, **how)  # type: ignore[arg-type]
    taken = world.open_alarm().taken
    assert taken is not None
    assert (taken.until_wall, taken.until - world.up) == (promised, 110 * MINUTE)
    world.run(139.9 * 60)
    assert world.process("high-level") == "ACKED"
    world.run(10)
    assert world.process("high-level") == "UNACK"


def test_a_re_alarm_counts_from_this_boot_where_the_clock_does_not_tell() -> None:
    world = high()
    world.run(60)
    world.ack("ben", within=10 * HOUR)
    world.restart(600, high_level=True, **UNKNOWN)  # type: ignore[arg-type]
    assert world.open_alarm().realarm == world.up + HOUR
    world.run(3601)
    assert world.process("high-level") == "UNACK"


def test_a_clock_that_went_back_moves_no_deadline_back() -> None:
    world = high()
    world.run(60)
    world.crash(10, "boot-2", None, None)
    world.wall_offset -= 100 * 24 * HOUR
    world.start(planned=False, high_level=True)
    call = world.open_alarm().call
    assert call is not None
    assert call.due is not None
    assert 0 < call.due - world.up <= 8 * MINUTE


@pytest.mark.parametrize(
    ("how", "down"),
    [
        ({}, "at most 1 h 00 min"),
        ({"boot": "boot-2"}, "at most 1 h 00 min"),
        (UNKNOWN, "not known"),
        ({"boot": "boot-2", "planned": True}, "at most 1 h 00 min"),
    ],
    ids=["same boot", "another boot", "clock not trusted", "planned"],
)
def test_a_start_is_recorded_with_how_long_it_was_down(how: dict[str, object], down: str) -> None:
    world = high()
    world.restart(3600, high_level=True, **how)  # type: ignore[arg-type]
    body = world.records("started")[-1].body
    assert (body["planned"], body["down"]) == (how.get("planned", False), down)
    assert "was not seen" in str(body["missed"])


def test_quiet_days_before_are_not_called_time_off() -> None:
    # Nothing was written meanwhile, so that nobody knows when it went: 'at most' is all there is.
    world = World(plan()).start().run(5 * 24 * 3600)
    world.restart(5)
    assert world.records("started")[-1].body["down"] == "at most 5 d 0 h"


def test_the_first_start_of_all_knows_of_no_time_before() -> None:
    world = World(plan()).start()
    assert world.records("started")[0].body["down"] == "not known"


# What the contacts then say


@pytest.mark.parametrize("how", [*WAYS.values(), UNKNOWN], ids=[*WAYS, "clock not trusted"])
def test_an_open_alarm_is_kept_under_its_occurrence(how: dict[str, object]) -> None:
    world = high()
    before = world.open_alarm()
    world.restart(60, high_level=True, **how)  # type: ignore[arg-type]
    world.run(3600)
    after = world.open_alarm()
    assert (after.occurrence, after.process) == (before.occurrence, before.process)
    raised = [each.body["condition"] for each in world.records("raised")]
    assert raised.count("high-level") == 1


LONG, SHORT = 6 * 60, 4 * 60


@pytest.mark.parametrize(
    ("length", "planned", "is_told"),
    [(SHORT, False, False), (LONG, False, True), (LONG, True, False), (61 * 60, True, True)],
)
def test_a_time_without_a_watch_is_told_by_day(length: int, planned: bool, is_told: bool) -> None:
    world = World(plan()).start()
    world.run(60)
    world.crash(length, None, None, None)
    world.start(planned=planned)
    world.run(2)
    assert (world.process("unwatched", UNIT) == "UNACK") is is_told
    world.run(2 * 3600)
    notices = world.notices(NoticeKind.RAISED)
    assert [each.person for each in notices] == (["anna"] if is_told else [])
    assert all("was not seen. (at most " in each.long for each in notices)
    assert world.process("unwatched", UNIT) == ("RTNUN" if is_told else "NORM")


def test_a_long_time_without_a_watch_in_an_open_alarm_is_told_at_once_to_the_high_list() -> None:
    world = high()
    world.restart(LONG, high_level=True)
    world.run(2)
    notice = next(each for each in world.notices() if each.condition == "unwatched")
    assert (notice.person, notice.priority) == ("anna", Priority.HIGH)


def test_the_first_start_of_all_and_a_crash_loop_tell_no_more_than_once_an_hour() -> None:
    world = World(plan()).start()
    assert world.records("raised") == []
    for _ in range(8):
        world.crash(LONG, None, None, None)
        world.start(planned=False)
    assert len(world.records("raised")) == 1


@pytest.mark.parametrize("how", [*WAYS.values(), UNKNOWN], ids=[*WAYS, "clock not trusted"])
def test_a_return_while_it_was_down_is_found_and_told_to_those_told(how: dict[str, object]) -> None:
    world = high()
    world.run(9 * 60)
    world.restart(600, **how)  # type: ignore[arg-type]
    world.run(59)
    assert world.process("high-level") == "UNACK"
    world.run(5)
    assert world.process("high-level") == "RTNUN"
    assert [each.person for each in world.notices(NoticeKind.STAND_DOWN)] == ["anna", "ben"]


def test_an_alarm_that_came_while_it_was_down_is_found() -> None:
    world = World(plan()).start().run(10)
    world.restart(600, high_level=True)
    world.run(10.2)
    assert world.process("high-level") == "UNACK"


def test_an_on_delay_that_ran_is_begun_anew_and_lost_by_no_restart() -> None:
    world = World(plan()).start().run(10)
    world.alarm(LEVEL)
    world.run(9)
    world.restart(1, high_level=True)
    world.run(10.2)
    assert world.process("high-level") == "UNACK"


def test_high_level_is_held_when_the_circuit_is_found_dead() -> None:
    world = high()
    world.restart(600, boot="boot-2", alarm_power=False)
    world.run(7200)
    assert (world.row, world.process("high-level")) == ("L5", "UNACK")
    assert world.process("alarm-power") == "UNACK"


def test_a_circuit_that_died_while_it_was_down_raises_no_high_level() -> None:
    world = World(plan(level_input(unpowered=Unpowered.CLOSED), circuit_input())).start().run(10)
    world.restart(600, high_level=True, alarm_power=False)
    world.run(7200)
    assert (world.row, world.process("high-level")) == ("L4", "NORM")
    assert world.process("alarm-power") == "UNACK"


def test_an_input_that_can_not_be_read_after_the_start_holds_the_alarm() -> None:
    world = high()
    world.crash(60, None, None, None)
    world.give(Started(planned=False))
    world.give(InputLost(LEVEL, "no such chip"))
    world.give(LevelRead(CIRCUIT, True, world.up))
    world.run(7200)
    assert (world.row, world.process("high-level")) == ("L12", "UNACK")


# What the unit knew of itself


def test_a_broker_that_was_down_is_judged_anew() -> None:
    world = World(plan()).start()
    world.give(ChannelDown("mqtt", "refused"))
    world.run(400)
    assert world.process("mqtt-down", "unit") == "UNACK"
    world.restart()
    world.run(10)
    assert world.process("mqtt-down", "unit") == "RTNUN"


def test_a_failing_channel_is_failing_until_it_takes_something() -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    world.run(200)
    assert world.process("channel-failing", "channel:anna.mail") == "UNACK"
    world.restart(high_level=True)
    world.run(60)
    assert world.process("channel-failing", "channel:anna.mail") == "UNACK"
    assert world.notices(NoticeKind.STAND_DOWN) == []
    world.deaf.clear()
    world.run(600)
    assert world.process("channel-failing", "channel:anna.mail") == "RTNUN"


def test_a_notice_whose_sends_were_lost_goes_again_over_every_way_under_its_id() -> None:
    """A damaged journal may give a notice without its sends: that person is owed word all the same."""
    world = high(deaf=frozenset({"ben.mail", "ben.push"})).run(8 * 60)
    (owed,) = [each for each in world.state.notices.values() if each.person == "ben"]
    world.crash(5, None, None, None)
    world.state = replace(world.state, notices={owed.id: replace(owed, sends=())})
    world.deaf.clear()
    before = world.up
    world.start(planned=False, high_level=True)
    assert {each.channel for each in world.tells(before)} >= {"ben.mail", "ben.push"}
    assert {each.ref for each in world.tells(before)} >= {f"creek-1.k3f9ab.{owed.id}"}
    (record,) = world.records("sends lost")
    assert record.body == {"notice": f"creek-1.k3f9ab.{owed.id}"}
    assert owed.id not in world.state.notices, "taken"


def test_a_notice_without_sends_to_somebody_the_plan_no_longer_has_is_over() -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    (owed,) = world.state.notices.values()
    world.crash(5, None, None, None)
    gone = replace(owed, sends=(), person="carla")
    world.state = replace(world.state, notices={owed.id: gone})
    world.start(planned=False, high_level=True)
    assert owed.id not in world.state.notices
    assert world.records("sends lost") == []


@pytest.mark.parametrize("trusted", [True, False], ids=["clock trusted", "clock not trusted"])
def test_what_waits_for_its_turn_goes_soon_in_another_boot_too(trusted: bool) -> None:
    """The old boot's clock had run for days: a turn kept in its time would be days away."""
    world = World(plan()).start().run(5 * 24 * 3600)
    world.ask(HornWire("cabin", Wire.OFF), "anna")
    world.ask(AtPanel("cabin", Stage.BEGIN), "anna")
    world.alarm(LEVEL)
    world.run(11)
    world.ask(Looked("cabin", normal=False), "ben")
    for number in range(4):
        world.give(FaultFound("inbox", f"dropped {number}"))
    waiting = [each for each in world.state.notices.values() if each.person == "anna"]
    assert any(send.tries == 0 for each in waiting for send in each.sends), "nothing waits"
    world.restart(5, boot="boot-2", trusted=trusted, high_level=True)
    world.run(60)
    owed = [
        send
        for each in world.state.notices.values()
        for send in each.sends
        if send.state is SendState.OWED
    ]
    assert owed == []
