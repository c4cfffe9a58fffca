"""Longer stories of pumps through the whole machine: what builds up over hours and days.

Delays and priorities are Trade 5's defaults, rows those of Trade 3: common practice, no source.
"""

from dataclasses import replace

import pytest

from relayd.core import conditions as c
from relayd.core.diagnosis.pump_rows import said
from relayd.core.events import AtPanel, Stage
from relayd.core.plan import HOUR, MINUTE, Means, Offset, Priority
from relayd.core.state import NoticeKind
from tests.core.build import contact
from tests.core.diagnosis.test_pump_world import (
    BOTH,
    DUPLEX,
    IN_HAND,
    IN_OFF,
    LEVEL,
    ONE,
    PUMP,
    RUNNING,
    move,
    raised,
    site,
    told,
)
from tests.core.world import World

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW
CIRCUIT = contact(Means.ALARM_POWER)


def cycle(at: World, *names: str, run: float = 60, rest: float = 240) -> World:
    """Those contacts once on and off."""
    move(at, *names).run(run)
    return move(at, *names, on=False).run(rest)


def level_returns(at: World, gap: float = HOUR / 10**9) -> World:
    """The level reaches the alarm for five minutes and falls again by itself."""
    return cycle(at, "high-level", run=300, rest=gap - 300)


def test_trade_1_22_one_of_two_pumps_out_is_medium_and_both_are_high() -> None:
    at = site(*DUPLEX, pumps=2)
    move(at, "overload-1").run(6)
    first = told(at, "overload-1")
    assert [(each.person, each.priority) for each in first] == [("anna", MEDIUM)]
    assert "High level will follow" not in first[0].long

    # 100 s later the second trips too: there is no pump left, so both are urgent.
    move(at.run(94), "overload-2").run(5.5)
    assert at.open_alarm("overload-1").priority is HIGH
    assert at.open_alarm("overload-2").priority is HIGH
    again = told(at, "overload-1")[1:]
    assert [(each.person, each.priority) for each in again] == [("anna", HIGH)]
    assert [each.priority for each in told(at, "overload-2")] == [HIGH]
    assert len(at.records("priority changed")) == 1
    # Its call list climbs from its first step: Ben 8 min after the second trip.
    at.run(8 * 60 - 2)
    assert [each.person for each in told(at, "overload-1")] == ["anna", "anna", "anna"]
    at.run(4)
    assert {each.person for each in told(at, "overload-1")[3:]} == {"ben"}
    assert raised(at) == ["overload-1", "overload-2"]


def test_trade_1_22_a_contact_that_flutters_at_the_other_pump_calls_nobody_again() -> None:
    at = site(*DUPLEX, pumps=2)
    move(at, "overload-1").run(6)
    for _ in range(20):
        cycle(at, "overload-2", run=1, rest=30)
    assert {each.priority for each in told(at, "overload-1")} == {MEDIUM}
    assert at.records("priority changed") == []
    assert raised(at) == ["overload-1"]


def test_trade_1_22_the_other_pump_switched_off_is_as_urgent_at_once() -> None:
    at = site(*DUPLEX, contact(Means.IN_OFF, 2), pumps=2)
    move(at, "overload-1").run(6)
    move(at, "in-off-2").run(1)
    assert [each.priority for each in told(at, "overload-1")] == [MEDIUM, HIGH]


def test_trade_1_22_with_one_pump_able_again_the_alarms_are_less_urgent_and_call_nobody_anew() -> (
    None
):
    at = site(*DUPLEX, pumps=2)
    move(at, "overload-1", "overload-2").run(6)
    assert at.open_alarm("overload-1").priority is HIGH
    before = len(told(at, "overload-1"))
    move(at, "overload-2", on=False).run(6)
    assert at.open_alarm("overload-1").priority is MEDIUM
    assert len(told(at, "overload-1")) == before


def test_trade_1_21_too_hot_three_times_in_a_day_is_high_at_once() -> None:
    at = site(contact(Means.OVER_TEMPERATURE))
    for _ in range(2):
        cycle(at, "over-temperature", run=600, rest=2 * 3600)
    move(at, "over-temperature").run(6)
    notices = told(at, c.OVER_TEMPERATURE)
    firsts = {each.occurrence: each for each in reversed(notices)}
    assert [each.priority for _, each in sorted(firsts.items())] == [MEDIUM, MEDIUM, HIGH]
    last = notices[-1]
    assert said("R18-repeats") in last.long
    assert "Still there" not in last.long
    assert raised(at) == [c.OVER_TEMPERATURE] * 3


def test_trade_1_21_too_hot_a_day_later_is_a_first_time_again() -> None:
    at = site(contact(Means.OVER_TEMPERATURE))
    for _ in range(3):
        cycle(at, "over-temperature", run=600, rest=15 * 3600)
    assert {each.priority for each in told(at, c.OVER_TEMPERATURE)} == {MEDIUM}


# From noon UTC on 15 January 2027 the site's clock is an hour ahead, before that five behind.
OFFSETS = (Offset(0, -5 * 3600, "EST"), Offset(1_800_014_400 * 10**9, 3600, "CET"))


def test_trade_1_24_the_third_return_in_a_day_is_told_once_with_its_local_times() -> None:
    at = site(LEVEL, CIRCUIT)
    at.plan = replace(at.plan, offsets=OFFSETS)
    for _ in range(2):
        level_returns(at, 3 * 3600)
    assert raised(at) == ["high-level"] * 2
    move(at, "high-level").run(300)
    assert raised(at) == ["high-level"] * 3, "it counts when it has gone by itself"
    move(at, "high-level", on=False).run(70)
    assert raised(at).count(c.KEEPS_REACHING) == 1
    alarm = at.open_alarm(c.KEEPS_REACHING)
    assert alarm.priority is MEDIUM
    assert alarm.detail == "at 15 Jan 03:07, 15 Jan 06:07, 15 Jan 15:07"
    notice = told(at, c.KEEPS_REACHING)[0]
    assert f"{said('keeps')} (at 15 Jan 03:07, 15 Jan 06:07, 15 Jan 15:07)" in notice.long
    # It is over when the first of them is a day old.
    at.run(19 * 3600)
    assert at.process(c.KEEPS_REACHING) == "RTNUN"


def test_trade_1_24_one_a_day_on_three_days_is_told() -> None:
    at = site(LEVEL, CIRCUIT)
    for _ in range(2):
        level_returns(at, 47 * 3600)
    assert c.KEEPS_REACHING not in raised(at)
    level_returns(at)
    assert c.KEEPS_REACHING in raised(at)
    assert at.run(4 * 86400).process(c.KEEPS_REACHING) == "RTNUN"


def test_trade_1_24_what_a_visitor_lifts_is_no_level_that_keeps_reaching() -> None:
    at = site(LEVEL, CIRCUIT)
    for _ in range(3):
        at.ask(AtPanel("cabin", Stage.BEGIN), "ben")
        level_returns(at, 1800)
        at.ask(AtPanel("cabin", Stage.END), "ben")
        at.run(1800)
    assert raised(at) == ["high-level"] * 3


def test_trade_1_23_no_start_is_low_at_first_and_medium_later() -> None:
    at = site(*PUMP)
    for _ in range(3):
        cycle(at, "pump-called", "pump-running", rest=4 * 3600 - 60)
    # The last start was four hours ago; twice the six hours that a gap counts for is twelve.
    at.run(8 * 3600 - 61)
    assert raised(at) == []
    at.run(62)
    assert raised(at) == [c.NO_CYCLE]
    assert at.open_alarm(c.NO_CYCLE).priority is LOW
    at.run(12 * 3600)
    assert at.open_alarm(c.NO_CYCLE).priority is MEDIUM
    assert raised(at) == [c.NO_CYCLE]
    assert said("R14") in at.notices()[-1].long
    cycle(at, "pump-called", "pump-running")
    assert at.process(c.NO_CYCLE) == "RTNUN"


def test_trade_1_23_two_starts_a_day_apart_teach_that_a_day_is_usual() -> None:
    at = site(*PUMP)
    for _ in range(2):
        cycle(at, "pump-called", "pump-running", rest=23 * 3600 - 60)
    told_then = raised(at)
    cycle(at, "pump-called", "pump-running", rest=45 * 3600)
    assert raised(at) == told_then, "twice 23 h are not over"
    assert raised(at.run(3600)) == [*told_then, c.NO_CYCLE]


def test_a_pump_that_is_off_is_told_as_such_and_not_as_one_that_does_not_start() -> None:
    at = site(*PUMP, IN_OFF)
    cycle(at, "pump-called", "pump-running")
    move(at, "in-off").run(20 * 3600)
    assert raised(at) == [c.IN_OFF]


def test_too_many_starts_in_an_hour_are_told_once_and_over_two_hours_after() -> None:
    at = site(RUNNING, starts_limit=4)
    for _ in range(4):
        cycle(at, "pump-running")
    assert raised(at) == []
    move(at, "pump-running").run(1)
    assert raised(at) == [c.STARTS]
    alarm = at.open_alarm(c.STARTS)
    assert (alarm.priority, alarm.row) == (LOW, "R13")
    assert said("R13") in told(at, c.STARTS)[0].long
    move(at, "pump-running", on=False)
    # The first of the five is 20 min old: 40 min until it leaves the hour, then the off-delay.
    at.run(100 * 60 - 10)
    assert at.process(c.STARTS) == "UNACK"
    assert at.run(20).process(c.STARTS) == "RTNUN"


def test_r17_five_starts_of_one_pump_of_a_pair_that_takes_turns() -> None:
    at = site(*DUPLEX, pumps=2, alternates=True)
    for pair in (ONE, BOTH, ONE, ONE, ONE, ONE):
        cycle(at, *pair, rest=1800)
    assert raised(at) == []
    move(at, *ONE).run(1)
    assert raised(at) == [c.ALTERNATION]
    notice = told(at, c.ALTERNATION)[0]
    assert notice.priority is LOW
    assert f"{said('R17')} (pump 1)" in notice.long
    move(at, *ONE, on=False).run(60)
    move(at, *BOTH).run(1)
    assert at.process(c.ALTERNATION) == "RTNUN"


def test_r17_where_the_other_is_known_to_be_out_that_is_told_alone() -> None:
    at = site(*DUPLEX, pumps=2, alternates=True)
    move(at, "overload-2").run(10)
    for _ in range(6):
        cycle(at, *ONE, rest=1800)
    assert raised(at) == ["overload-2"]


def test_an_alarm_circuit_that_was_off_alone_makes_no_high_level_expected() -> None:
    at = site(LEVEL, CIRCUIT, *PUMP)
    move(at, "alarm-power").run(300)
    move(at, "alarm-power", on=False).run(120)
    move(at, "high-level").run(11)
    assert said("R8") not in told(at, c.HIGH_LEVEL)[0].long


def test_trade_1_16_after_the_power_came_back_a_high_level_is_said_to_be_expected() -> None:
    at = site(LEVEL, CIRCUIT, *PUMP)
    move(at, "pump-power").run(300)
    move(at, "pump-power", on=False).run(120)
    move(at, "high-level", "pump-called", "pump-running").run(11)
    assert said("R8") in told(at, c.HIGH_LEVEL)[0].long
    at.run(2 * 3600)
    assert "R8" not in at.open_alarm().notes


def test_r6_the_second_pump_that_comes_changes_the_text_and_raises_nothing() -> None:
    at = site(*DUPLEX, pumps=2)
    move(at, *ONE, "high-level").run(11)
    assert at.open_alarm().notes == ("R6-2",)
    move(at, *BOTH).run(11)
    assert at.open_alarm().notes == ("R7",)
    assert raised(at) == [c.HIGH_LEVEL]


@pytest.mark.parametrize(
    ("name", "row"), [("in-off", "R1-off"), ("in-hand", "R1-hand")], ids=["Off", "Hand"]
)
def test_a_switch_found_out_of_auto_is_news_to_those_who_were_told(name: str, row: str) -> None:
    at = site(LEVEL, CIRCUIT, *PUMP, IN_OFF, IN_HAND)
    move(at, "high-level").run(30)
    assert at.notices(NoticeKind.UPDATE) == []
    move(at, name).run(59)
    assert at.notices(NoticeKind.UPDATE) == []
    at.run(2)
    updates = at.notices(NoticeKind.UPDATE)
    assert [(each.person, each.condition) for each in updates] == [("anna", c.HIGH_LEVEL)]
    assert said(row) in updates[0].long
    assert raised(at) == [c.HIGH_LEVEL]


def test_the_second_pump_s_switch_is_news_after_the_first_s() -> None:
    switches = (contact(Means.IN_OFF, 1), contact(Means.IN_OFF, 2))
    at = site(LEVEL, CIRCUIT, *switches, pumps=2)
    move(at, "in-off-1", "high-level").run(70)
    assert at.notices(NoticeKind.UPDATE) == []
    move(at, "in-off-2").run(61)
    assert [said("R1-off-2") in each.long for each in at.notices(NoticeKind.UPDATE)] == [True]


def test_one_contact_of_all_pumps_counts_their_starts_together() -> None:
    at = site(LEVEL, RUNNING, pumps=2, alternates=True, starts_limit=3, run_limit=20 * MINUTE)
    for _ in range(4):
        cycle(at, "pump-running")
    assert raised(at) == [c.STARTS]
    assert at.open_alarm(c.STARTS).row == "R13-0"
    for _ in range(3):
        cycle(at, "pump-running")
    assert raised(at) == [c.STARTS], "one contact tells nothing of taking turns"
    at.run(24 * 3600)
    assert raised(at) == [c.STARTS, c.NO_CYCLE]
    assert "One of the pumps has not started for too long" in told(at, c.NO_CYCLE)[0].long


def test_one_contact_of_all_pumps_that_is_off_tells_that_none_runs() -> None:
    at = site(LEVEL, RUNNING, pumps=2)
    move(at, "high-level").run(700)
    assert raised(at) == [c.HIGH_LEVEL]
    move(at, "pump-running").run(601)
    assert raised(at) == [c.HIGH_LEVEL, c.NOT_FALLING]
    assert at.open_alarm().notes == ("R4-0",)


def test_a_level_that_cannot_be_seen_is_not_said_not_to_fall() -> None:
    at = site(LEVEL, CIRCUIT, *PUMP)
    move(at, "high-level").run(30)
    move(at, "pump-called", "pump-running").run(5 * 60)
    move(at, "alarm-power").run(20 * 60)
    assert at.open_alarm().row == "L5"
    assert at.process(c.NOT_FALLING) == "NORM"


def test_trade_1_24_a_level_that_an_outage_explains_is_no_pump_that_grows_weak() -> None:
    at = site(LEVEL, CIRCUIT, *PUMP)
    for _ in range(3):
        move(at, "pump-power").run(300)
        move(at, "pump-power", on=False).run(120)
        level_returns(at)
    assert at.state.subjects["panel:cabin"].highs == ()
    assert c.KEEPS_REACHING not in raised(at)


def test_trade_1_24_a_level_that_a_switch_explains_is_no_pump_that_grows_weak() -> None:
    at = site(LEVEL, CIRCUIT, *PUMP, IN_OFF)
    for _ in range(3):
        move(at, "in-off").run(60)
        move(at, "high-level").run(300)
        move(at, "in-off", on=False).run(60)
        move(at, "high-level", on=False).run(3600)
    assert c.KEEPS_REACHING not in raised(at)
