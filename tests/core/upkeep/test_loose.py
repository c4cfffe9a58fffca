"""Loose ends: how they begin and end, and when and whom they remind (Trade 1.32, 5 'Horn off')."""

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from relayd.core.conditions import SITE_OUTAGE
from relayd.core.draft import Draft
from relayd.core.events import Wire
from relayd.core.plan import DAY, HOUR, SECOND, Means, Offset, Priority
from relayd.core.state import Alarm, Mark, NoticeKind, Process, Stamp
from relayd.core.upkeep import loose
from relayd.core.upkeep.loose_ends import how, standing
from tests.core.at_panel import (
    CABIN,
    DOOR,
    OFF,
    A,
    World,
    arrive,
    ends,
    gone,
    owner,
    plan,
    put_off,
    raised,
    settle,
    wire,
    world,
)

CHICAGO = ZoneInfo("America/Chicago")


def at_local(year: int, month: int, day: int, hour: int, minute: int = 0) -> World:
    """The cabin in a zone that changes its clocks, started at that local time."""
    summer = int(datetime(2026, 3, 8, 8, tzinfo=UTC).timestamp()) * SECOND
    offsets = (Offset(0, -6 * 3600, "CST"), Offset(summer, -5 * 3600, "CDT"))
    begin = int(datetime(year, month, day, hour, minute, tzinfo=CHICAGO).timestamp()) * SECOND
    made = World(replace(plan(A), zone="America/Chicago", offsets=offsets))
    made.wall_offset = begin - made.up
    return made.start()


def reminders(at: World) -> list[tuple[str, str]]:
    """(local time, person) of each reminder."""
    return [
        (
            datetime.fromtimestamp(each.made.wall / SECOND, CHICAGO).strftime("%d %H:%M"),
            each.person,
        )
        for each in at.notices(NoticeKind.REMINDER)
    ]


# When and whom


def test_trade_5_a_week_of_reminders_over_a_change_of_the_clocks() -> None:
    at = at_local(2026, 3, 5, 2)
    wire(at, Wire.OFF)
    at.run(6.5 * 86400)
    days = ["05", "06", "07"]
    assert reminders(at)[:3] == [(f"{day} 09:00", "carla") for day in days]
    # After three that nobody answered also the next step; 8 March has 23 hours.
    later = [(f"{day} 09:00", who) for day in ("08", "09", "10", "11") for who in ("carla", "ben")]
    assert reminders(at)[3:] == later


@pytest.mark.parametrize(
    ("hour", "minute", "first"),
    [(2, 0, "05 09:00"), (3, 0, "05 09:00"), (3, 1, "06 09:00"), (15, 0, "06 09:00")],
    ids=str,
)
def test_trade_5_the_first_reminder_is_the_next_0900_at_least_six_hours_away(
    hour: int, minute: int, first: str
) -> None:
    at = at_local(2026, 3, 5, hour, minute)
    wire(at, Wire.OFF)
    at.run(2 * 86400)
    assert reminders(at)[0] == (first, "carla")


def test_trade_5_reminders_never_climb_beyond_the_low_list_and_never_call_the_nights() -> None:
    at = at_local(2026, 3, 1, 2)
    wire(at, Wire.OFF)
    at.run(12 * 86400)
    assert {who for _, who in reminders(at)} == {"carla", "ben"}
    assert all(each.priority.value == "low" for each in at.notices(NoticeKind.REMINDER))
    assert all(time.endswith("09:00") for time, _ in reminders(at))


def test_a_loose_end_of_the_unit_reminds_the_units_first_person() -> None:
    at = world(A)
    draft = Draft(at.plan, at.state, at.now())
    assert loose.keepers(draft, "unit") == ("anna",)


@pytest.mark.parametrize("answer", ["visit", "put-off"])
def test_an_answer_begins_the_count_anew(answer: str) -> None:
    at = at_local(2026, 3, 5, 2)
    wire(at, Wire.OFF)
    at.run(2.5 * 86400)
    assert ends(at)["horn-wire"].reminded == 3
    assert (arrive(at) if answer == "visit" else put_off(at, "horn-wire", HOUR)) is None
    assert ends(at)["horn-wire"].reminded == 0


def test_without_a_clock_reminders_come_all_the_same() -> None:
    at = World(plan(A), trusted=False).start()
    wire(at, Wire.OFF)
    at.run(3 * 86400)
    assert 2 <= len(at.notices(NoticeKind.REMINDER)) <= 5


# Put off and settled


def test_trade_5_put_off_with_a_reason_until_the_first_0900_after_its_end() -> None:
    at = at_local(2026, 3, 5, 2)
    wire(at, Wire.OFF)
    assert put_off(at, "horn-wire", 3 * DAY) is None
    mark = ends(at)["horn-wire"].put_off
    assert mark is not None
    assert (mark.by, mark.why) == ("ben", "part on order")
    at.run(4 * 86400)
    assert reminders(at) == [("08 09:00", "carla"), ("08 09:00", "ben")]
    assert ends(at)["horn-wire"].put_off is None


@pytest.mark.parametrize(
    ("key", "length", "why", "code"),
    [
        ("horn-wire", DAY, " ", "no-reason"),
        ("horn-wire", 0, "part", "bad-time"),
        ("horn-wire", 7 * DAY + 1, "part", "too-long"),
        ("in-off", DAY, "part", "not-open"),
    ],
)
def test_trade_5_what_cannot_be_put_off_is_refused(
    key: str, length: int, why: str, code: str
) -> None:
    at = world(A)
    wire(at, Wire.OFF)
    before = ends(at)
    refused = put_off(at, key, length, why)
    assert refused is not None
    assert (refused.code, ends(at)) == (code, before)


def test_a_wire_is_settled_by_a_word_about_the_wire_alone() -> None:
    at = world(A)
    wire(at, Wire.OFF)
    refused = settle(at, "horn-wire")
    assert refused is not None
    assert (refused.code, "horn-wire back" in refused.say) == ("still-there", True)


def test_a_question_about_the_wire_is_settled_by_saying_which() -> None:
    at = world(A)
    draft = Draft(at.plan, at.state, at.now())
    loose.begin(draft, CABIN, "horn-unknown")
    refused = loose.settled(draft, CABIN, "horn-unknown", "ben")
    assert refused is not None
    assert refused.code == "say-which"


def test_what_only_a_person_can_know_stays_until_a_person_says_so() -> None:
    at = world(A)
    draft = Draft(at.plan, at.state, at.now())
    loose.begin(draft, CABIN, "valve-closed", "ben", "while the line is mended")
    loose.begin(draft, CABIN, "valve-closed", "anna")
    at.state, _ = draft.finished()
    at.run(3600)
    assert ends(at)["valve-closed"].by == "ben", "the first word stands"
    assert settle(at, "valve-closed") is None
    assert not ends(at)
    refused = settle(at, "valve-closed")
    assert refused is not None
    assert refused.code == "not-open"
    assert how("valve-closed") == "say that it is settled"


# What a contact, a mark or an alarm shows


def test_trade_1_32_a_switch_left_in_off_is_a_loose_end_until_it_is_back_in_auto() -> None:
    at = world(A, Means.IN_OFF)
    at.alarm(OFF)
    at.run(29 * 60)
    assert not ends(at)
    raised(at, "in-off", OFF).run(120)
    assert set(ends(at)) == {"in-off"}
    refused = settle(at, "in-off")
    assert refused is not None
    assert (refused.code, "back to Auto" in refused.say) == ("still-there", True)
    gone(at, "in-off", OFF)
    assert not ends(at)
    assert at.records("loose end done")[0].body["why"] == "seen to be gone"


def test_a_door_is_a_loose_end_after_fifteen_minutes_a_lid_at_once() -> None:
    at = world(Means.PANEL_DOOR, Means.TANK_LID)
    raised(at, "panel-door", DOOR)
    raised(at, "tank-lid", "cabin.tank-lid").run(30)
    assert set(ends(at)) == {"tank-lid"}
    at.run(15 * 60)
    assert set(ends(at)) == {"tank-lid", "panel-door"}
    gone(at, "panel-door", DOOR)
    assert not ends(gone(at, "tank-lid", "cabin.tank-lid"))


@pytest.mark.parametrize("visited", [True, False])
def test_a_dead_pump_is_a_left_breaker_only_where_somebody_was_at_work(visited: bool) -> None:
    at = world(A, Means.PUMP_POWER)
    if visited:
        arrive(at)
    at.alarm("cabin.pump-power")
    at.run(300)
    assert at.process("pump-power") == "UNACK"
    assert set(ends(at)) == ({"pump-breaker"} if visited else set())


def test_a_supply_that_an_outage_took_is_nobodys_breaker() -> None:
    at = world(A, Means.PUMP_POWER)
    at.alarm("cabin.pump-power")
    at.run(1)
    draft = Draft(at.plan, at.state, at.now())
    cabin = at.plan.panels["cabin"]
    assert set(standing(draft, CABIN, cabin)) == {"pump-breaker"}
    out = Alarm(SITE_OUTAGE, Priority.MEDIUM, Process.UNACK)
    draft.put(replace(draft.subject("unit"), alarms={SITE_OUTAGE: out}))
    assert not standing(draft, CABIN, cabin)


@pytest.mark.parametrize("what", ["shelved", "out", "panel"])
def test_marks_are_loose_ends_with_their_name_and_reason(what: str) -> None:
    at = world(A, Means.IN_OFF)
    raised(at, "in-off", OFF)
    now = at.up
    mark = Mark("ben", Stamp(now, at.wall_offset + now, True), now + HOUR, 0, "line mended")
    made = owner(at)
    alarm = made.alarms["in-off"]
    changed = {
        "shelved": {"alarms": {**made.alarms, "in-off": replace(alarm, shelved=mark)}},
        "out": {"alarms": {**made.alarms, "in-off": replace(alarm, out=mark)}},
        "panel": {"out": mark},
    }[what]
    draft = Draft(at.plan, at.state, at.now())
    draft.put(replace(made, **changed))  # type: ignore[arg-type]
    loose.watch(draft, CABIN, at.plan.panels["cabin"])
    key = {"shelved": "paused:in-off", "out": "out-of-service:in-off", "panel": "out-of-service"}
    end = draft.subject(CABIN).loose[key[what]]
    assert (end.by, end.why) == ("ben", "line mended")
    draft.put(replace(draft.subject(CABIN), alarms=made.alarms, out=None))
    loose.watch(draft, CABIN, at.plan.panels["cabin"])
    assert key[what] not in draft.subject(CABIN).loose


def test_the_unit_itself_can_have_loose_ends() -> None:
    at = world(A)
    draft = Draft(at.plan, at.state, at.now())
    loose.begin(draft, "unit", "spare-key")
    loose.watch(draft, "unit", None)
    assert loose.due(draft, "unit") is not None
    loose.done(draft, "unit", "nothing")
    assert set(draft.subject("unit").loose) == {"spare-key"}
