"""The weekly message: on its day and hour, over every channel, in waking hours, never twice.

Common practice, no source: the day, the hour and the quarter. 1970-01-05 was a Monday.
"""

from dataclasses import replace
from itertools import pairwise

import pytest

from relayd.core.events import ClockJudged, Outcome, Sent
from relayd.core.overseen import AllWell
from relayd.core.plan import DAY, HOUR, SECOND, Plan, Priority
from relayd.core.state import Notice, NoticeKind
from relayd.core.upkeep import all_well
from tests.core.dst_table import ZONES, utc
from tests.core.world import LEVEL, World, plan

MONDAY = AllWell(0, 9 * HOUR)
SUNDAY_NOON = utc("2026-02-01 12:00")


def planned(well: AllWell | None = MONDAY, **changes: object) -> Plan:
    return replace(plan(), all_well=well, **changes)  # type: ignore[arg-type]


def begun(plan_: Plan, wall: int = SUNDAY_NOON, trusted: bool = True) -> World:
    world = World(plan_, trusted=trusted)
    world.wall_offset = wall - world.up
    return world.start()


def weekly(world: World) -> list[Notice]:
    return world.notices(NoticeKind.ALL_WELL)


def moments(world: World, person: str = "anna") -> list[int]:
    """UTC of each message to that person."""
    return [each.made.wall for each in weekly(world) if each.person == person]


def test_it_comes_on_its_day_at_its_hour_each_week() -> None:
    world = begun(planned()).run(22 * 86400)
    days = ("2026-02-02 09:00", "2026-02-09 09:00", "2026-02-16 09:00", "2026-02-23 09:00")
    assert moments(world) == [utc(each) for each in days]
    assert moments(world, "ben") == moments(world)


def test_without_it_in_the_plan_nothing_comes() -> None:
    world = begun(planned(None)).run(22 * 86400)
    assert weekly(world) == []
    assert world.state.subjects["unit"].well is None


def test_it_goes_over_every_channel_also_those_kept_for_graver_alarms() -> None:
    world = begun(planned(least={"ben.push": Priority.HIGH})).run(86400)
    ways = {each.channel for each in world.tells()}
    assert ways == {"anna.mail", "ben.mail", "ben.push"}
    assert {each.priority for each in world.tells()} == {"low"}


def test_it_waits_for_waking_hours() -> None:
    people = plan().people
    late = replace(people["ben"], waking=(11 * HOUR, 22 * HOUR))
    world = begun(planned(people={**people, "ben": late})).run(86400)
    assert moments(world) == [utc("2026-02-02 09:00")]
    assert moments(world, "ben") == [utc("2026-02-02 11:00")]


def test_a_keeper_hears_each_week_and_everybody_once_a_quarter() -> None:
    world = begun(planned(AllWell(0, 9 * HOUR, "anna"))).run(26 * 7 * 86400)
    assert len(moments(world)) == 26
    assert len(moments(world, "ben")) == 2
    first, second = moments(world, "ben")
    assert second - first == 13 * 7 * DAY


def test_all_is_well_only_where_no_alarm_stands() -> None:
    world = begun(planned()).run(86400)
    assert weekly(world)[0].title == "All is well - Creek"
    assert "Cabin tank: The level is below the alarm float" in weekly(world)[0].long
    world.run(6 * 86400 - 7200)
    world.alarm(LEVEL)
    world.run(86400)
    last = weekly(world)[-1]
    assert last.title == "Weekly message: not all is well - Creek"
    assert "These alarms stand: High level (Cabin tank)." in last.long
    assert "All is well" not in last.short


def test_a_channel_that_does_not_take_it_is_told_over_the_others() -> None:
    world = begun(planned())
    world.deaf = {"ben.push"}
    world.run(86400 - 3 * 3600 + 1)
    (lost,) = [each for each in world.tells() if each.channel == "ben.push"]
    world.give(Sent(lost.send, Outcome.REFUSED, "no such address"))
    world.run(3600)
    raised = [each for each in world.notices() if each.condition == "channel-failing"]
    assert {each.subject for each in raised} == {"channel:ben.push"}
    assert all(send.channel != "ben.push" for each in raised for send in each.sends)
    assert {each.person for each in raised} == {"anna", "ben"}


@pytest.mark.parametrize("zone", ZONES)
def test_a_change_of_the_clocks_moves_it_with_the_local_hour(zone: str) -> None:
    where = planned(AllWell(6, 9 * HOUR), offsets=ZONES[zone], zone=zone)
    world = begun(where, utc("2026-02-20 00:00")).run(300 * 86400)
    local = [
        divmod(at + next(o.seconds for o in reversed(ZONES[zone]) if o.begins <= at) * SECOND, DAY)
        for at in moments(world)
    ]
    assert {time for _, time in local} == {9 * HOUR}
    days = [day for day, _ in local]
    assert [b - a for a, b in pairwise(days)] == [7] * (len(days) - 1)
    assert len(days) == 43


@pytest.mark.parametrize("step", [-3600, 3600, -10 * 365 * 86400, 10 * 365 * 86400])
def test_a_step_of_the_wall_clock_brings_none_twice_and_loses_none(step: int) -> None:
    world = begun(planned()).run(9 * 86400)
    ups = [each.made.up for each in weekly(world) if each.person == "anna"]
    world.wall_offset += step * SECOND
    world.run(60 * 86400)
    ups = [each.made.up for each in weekly(world) if each.person == "anna"]
    gaps = [b - a for a, b in pairwise(ups)]
    assert min(gaps) >= 6 * DAY
    assert max(gaps) <= 13 * DAY
    # The first deadline after the step was reckoned before it; every later one is the clock's.
    assert gaps[3:] == [7 * DAY] * (len(gaps) - 3)


def test_without_a_clock_it_comes_every_seven_days() -> None:
    world = begun(planned(), trusted=False).run(30 * 86400)
    ups = [each.made.up for each in weekly(world) if each.person == "anna"]
    assert [b - a for a, b in pairwise(ups)] == [7 * DAY] * 4
    world.trusted = True
    world.give(ClockJudged(True))
    world.run(14 * 86400)
    last = moments(world)[-1]
    assert last in (utc("2026-03-09 09:00"), utc("2026-03-16 09:00"))


def test_a_restart_brings_none_twice_and_loses_none() -> None:
    world = begun(planned()).run(2 * 86400)
    world.restart(3600, boot="boot-2").run(4 * 86400)
    assert len(moments(world)) == 1
    # Down over the very hour: it comes with the start.
    world.restart(48 * 3600, boot="boot-3").run(60)
    assert len(moments(world)) == 2


def test_who_waits_for_waking_hours_and_is_no_longer_in_the_plan_is_not_told() -> None:
    people = plan().people
    late = replace(people["ben"], waking=(11 * HOUR, 22 * HOUR))
    world = begun(planned(people={**people, "ben": late})).run(21 * 3600 + 60)
    assert set(world.state.subjects["unit"].wells) == {"ben"}
    alone = replace(planned(people={"anna": people["anna"]}), channels={"anna.mail": "anna"})
    world.restart(60, plan=alone).run(86400)
    assert moments(world, "ben") == []


def test_taken_out_of_the_plan_it_is_forgotten() -> None:
    world = begun(planned()).run(86400)
    world.restart(60, plan=planned(None)).run(9 * 86400)
    assert len(moments(world)) == 1
    assert world.state.subjects["unit"].well is None


def test_only_the_unit_has_it() -> None:
    world = begun(planned())
    last = world.state.subjects["unit"].well
    assert last is not None
    assert world.state.subjects["panel:cabin"].well is None
    assert all_well.next_round(planned(None), last, world.now()) == last.up + 7 * DAY
