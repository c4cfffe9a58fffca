"""What the tree counts and knows of itself: pumps, alarms of the day, messages, ways out, who is away."""

import json
from collections.abc import Mapping
from dataclasses import replace

import pytest

from relayd.channels import devices, homie
from relayd.channels.shown import Shown
from relayd.core.conditions import JOURNAL_LATE, MQTT_DOWN, SENDER_DOWN
from relayd.core.events import Outcome
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Input, Means, Plan, Position, Priority
from relayd.core.state import (
    Away,
    Belief,
    Call,
    CallStop,
    Fact,
    Notice,
    NoticeKind,
    Process,
    PumpLog,
    Send,
    SendState,
    Stamp,
    State,
    Subject,
    Tally,
)
from tests.channels import shown
from tests.channels.shown import faults

UNIT = "homie/5/pumphouse"
CABIN = f"{UNIT}-cabin"
HIGH = f"{CABIN}/alarm-high-level"
TICKET = frozenset({f"{UNIT}/commands/ticket"})
AT = Stamp(shown.NOW.up - 20 * MINUTE, shown.WALL - 20 * MINUTE, True)


def tree(state: State, plan: Plan | None = None) -> Mapping[str, str]:
    """The whole tree, which keeps every rule of the convention."""
    whole = homie.tree(state, plan or shown.plan(), shown.NOW)
    assert faults(whole, TICKET) == []
    return whole


def node(state: State, base: str, plan: Plan | None = None) -> dict[str, str]:
    whole = tree(state, plan)
    return {
        topic.removeprefix(f"{base}/"): value
        for topic, value in whole.items()
        if topic.startswith(f"{base}/")
    }


def said(state: State, device: str, name: str, plan: Plan | None = None) -> dict[str, object]:
    """What the description says of a property, but for its name."""
    document = json.loads(tree(state, plan)[f"{device}/$description"])
    of, _, key = name.partition("/")
    found = dict(document["nodes"][of]["properties"][key])
    found.pop("name")
    return found


def unit(**changes: object) -> State:
    subject = replace(Subject("unit"), **changes)  # type: ignore[arg-type]
    return replace(shown.quiet(), subjects={"unit": subject}, stamp=AT)


# ---- pumps ------------------------------------------------------------------------------------


def pumped(*numbers: int, pumps: int = 1) -> Plan:
    """The cabin with a running contact for each of these pumps."""
    plan = shown.plan()
    inputs = [
        Input(f"cabin.run-{each}", "cabin", Means.PUMP_RUNNING, Position.CLOSED, pump=each)
        for each in numbers
    ]
    cabin = plan.panels["cabin"]
    cabin = replace(cabin, pumps=pumps, inputs=(*cabin.inputs, *inputs))
    return replace(plan, panels={**plan.panels, "cabin": cabin})


def logged(log: PumpLog, number: int = 1) -> State:
    subject = Subject("panel:cabin", pumps={number: log})
    return replace(shown.quiet(), subjects={subject.id: subject})


def test_a_pump_shows_its_starts_its_runs_and_those_of_the_day() -> None:
    tally = Tally(
        since=AT,
        starts=1204,
        cycles=1203,
        ran=90 * MINUTE + SECOND // 2,
        day=20_468,
        day_starts=9,
        day_cycles=8,
        day_ran=37 * SECOND,
    )
    state = logged(PumpLog(last=AT, running=AT.up, tally=tally))
    assert node(state, f"{CABIN}/pump-1", pumped(1)) == {
        "running": "true",
        "last-start": "2027-01-15T02:40:00-05:00",
        "counted-since": "2027-01-15T02:40:00-05:00",
        "starts": "1204",
        "runs": "1203",
        "run-time": "5400",
        "day": "2026-01-15",
        "day-starts": "9",
        "day-runs": "8",
        "day-run-time": "37",
    }


def test_a_pump_of_which_nothing_is_known_shows_zeros_and_no_day() -> None:
    values = node(shown.quiet(), f"{CABIN}/pump-1", pumped(1))
    assert values["running"] == "false"
    assert {values[each] for each in ("last-start", "counted-since", "day")} == {devices.EMPTY}
    assert {values[each] for each in ("starts", "runs", "run-time", "day-starts")} == {"0"}


def test_counters_are_numbers_with_their_units() -> None:
    plan = pumped(1)
    assert said(shown.quiet(), CABIN, "pump-1/run-time", plan) == {
        "datatype": "integer",
        "format": "0:",
        "unit": "s",
    }
    assert said(shown.quiet(), CABIN, "pump-1/starts", plan)["unit"] == "#"
    assert said(shown.quiet(), CABIN, "pump-1/running", plan) == {
        "datatype": "boolean",
        "format": "stands,runs",
    }


WATCHED = {
    "two pumps, each with its contact": (pumped(1, 2, pumps=2), {"pump-1", "pump-2"}),
    "one contact for two pumps": (pumped(0, pumps=2), {"pump-all"}),
    "the only pump, its number not said": (pumped(0), {"pump-1"}),
    "no contact": (shown.plan(), set()),
}


@pytest.mark.parametrize(("plan", "wanted"), WATCHED.values(), ids=WATCHED)
def test_only_pumps_that_are_watched_are_shown(plan: Plan, wanted: set[str]) -> None:
    found = {topic.split("/")[3] for topic in tree(shown.quiet(), plan) if topic.startswith(CABIN)}
    assert {each for each in found if each.startswith("pump-")} == wanted


# ---- the unit's own ---------------------------------------------------------------------------


def notice(number: int, *sends: Send) -> Notice:
    return Notice(
        number,
        "panel:cabin",
        "high-level",
        12,
        "anna",
        NoticeKind.RAISED,
        Priority.HIGH,
        "",
        "",
        "",
        AT,
        sends,
    )


def test_raisings_of_the_last_day_are_counted_and_a_burst_is_said() -> None:
    state = unit(day=(AT.up - DAY, AT.up - DAY + 1, AT.up), burst=AT.up)
    values = node(state, f"{UNIT}/counters")
    assert (values["raised"], values["burst"]) == ("2", "true")
    assert said(state, UNIT, "counters/raised")["format"] == "0:100"


def test_messages_that_wait_and_sends_that_failed_are_counted() -> None:
    taken = Send(1, "anna-mail", SendState.TAKEN, last=Outcome.TAKEN)
    owed = Send(2, "ben-push", SendState.OWED)
    again = Send(3, "anna-mail", SendState.OUT, tries=3, last=Outcome.FAILED)
    leaving = Send(4, "ben-push", SendState.LEAVING, last=Outcome.FAILED)
    state = replace(
        shown.quiet(),
        notices={
            1: notice(1, taken, owed),
            2: notice(2, again, replace(again, id=5, last=Outcome.REFUSED)),
            3: notice(3, leaving),
        },
    )
    values = node(state, f"{UNIT}/counters")
    assert (values["waiting"], values["failed"]) == ("2", "2")


HEALTH = {
    "all well": ({}, {"journal": "true", "sender": "true", "mqtt": "true", "mqtt-office": "true"}),
    "journal late": (
        {JOURNAL_LATE: "the disk does not answer"},
        {"journal": "false", "sender": "true", "mqtt": "true", "mqtt-office": "true"},
    ),
    "ways down": (
        {SENDER_DOWN: "no answer", f"{MQTT_DOWN}-office": "is not reached"},
        {"journal": "true", "sender": "false", "mqtt": "true", "mqtt-office": "false"},
    ),
}


@pytest.mark.parametrize(("why", "wanted"), HEALTH.values(), ids=HEALTH)
def test_the_unit_shows_its_journal_and_each_way_out(
    why: dict[str, str], wanted: dict[str, str]
) -> None:
    plan = replace(shown.plan(), brokers=("office",))
    assert node(unit(said=why), f"{UNIT}/health", plan) == wanted


# ---- what is known of the level ---------------------------------------------------------------


def test_the_belief_of_the_level_is_shown_part_by_part() -> None:
    belief = Belief("L1", contact=Fact.ALARM, was_alarm=True, circuit_lost=True)
    subject = Subject("panel:cabin", belief=belief)
    values = node(replace(shown.quiet(), subjects={subject.id: subject}), f"{CABIN}/level")
    says = values.pop("says")
    assert values == {"row": "L1", "contact": "alarm", "reached": "true", "circuit-lost": "true"}
    assert says not in ("", devices.EMPTY)


# ---- the call list ----------------------------------------------------------------------------

CALLED = ("present", "call", "call-step", "call-round", "call-next", "call-tells")
CALLS = {
    "climbing": (
        shown.high(call=Call(AT.up, 1, shown.NOW.up + 5 * MINUTE, round=2)),
        ("true", "calling", "1", "2", "2027-01-15T03:05:00-05:00", '["ben"]'),
    ),
    "past its last step: everybody": (
        shown.high(call=Call(AT.up, 2, shown.NOW.up + 5 * MINUTE)),
        ("true", "calling", "2", "1", "2027-01-15T03:05:00-05:00", '["anna", "ben"]'),
    ),
    "who has seen it is left alone": (
        shown.high(
            call=Call(AT.up, 2, shown.NOW.up + 5 * MINUTE), seen={"anna": shown.NOW.up + HOUR}
        ),
        ("true", "calling", "2", "1", "2027-01-15T03:05:00-05:00", '["ben"]'),
    ),
    "waiting for a mark to end": (
        shown.high(call=Call(AT.up, 1)),
        ("true", "waiting", "1", "1", devices.EMPTY, "[]"),
    ),
    "stopped, somebody has it": (
        shown.high(Process.ACKED, call=Call(AT.up, 1, stopped=CallStop.TAKEN)),
        ("true", "taken", "1", "1", devices.EMPTY, "[]"),
    ),
    "stopped, it returned": (
        shown.high(Process.RTNUN, call=Call(AT.up, 2, stopped=CallStop.RETURNED)),
        ("false", "returned", "2", "1", devices.EMPTY, "[]"),
    ),
    "over": (
        shown.high(Process.NORM, call=Call(AT.up, 2, stopped=CallStop.ENDED)),
        ("false", "none", "0", "0", devices.EMPTY, "[]"),
    ),
}


@pytest.mark.parametrize(("state", "wanted"), CALLS.values(), ids=CALLS)
def test_an_alarm_shows_where_its_call_list_stands(state: State, wanted: tuple[str, ...]) -> None:
    values = node(state, HIGH)
    assert tuple(values[each] for each in CALLED) == wanted


def test_who_goes_away_is_shown_and_is_no_longer_named_as_next() -> None:
    climbing = shown.high(call=Call(AT.up, 2, shown.NOW.up + 5 * MINUTE))
    gone = Away("ben", AT, shown.NOW.up + DAY, shown.WALL + DAY)
    own = Subject("unit", away={"ben": gone})
    now_away = replace(climbing, subjects={**climbing.subjects, "unit": own})
    made = Shown(shown.plan(), lambda key: None, lambda key, value: None)
    assert made.whole(climbing, shown.NOW)[f"{HIGH}/call-tells"] == '["anna", "ben"]'
    after = made.after(["unit"], now_away, shown.NOW)
    assert after[f"{UNIT}/persons/away"] == '["ben"]'
    assert after[f"{HIGH}/call-tells"] == '["anna"]'
    assert dict(after) == dict(homie.tree(now_away, shown.plan(), shown.NOW))
    back = made.after(["unit"], climbing, shown.NOW)
    assert back[f"{HIGH}/call-tells"] == '["anna", "ben"]'


def test_a_step_that_changes_one_panel_makes_only_that_branch_anew() -> None:
    made = Shown(shown.plan(), lambda key: None, lambda key, value: None)
    before = made.whole(shown.quiet(), shown.NOW)
    after = made.after(["panel:cabin"], shown.high(), shown.NOW)
    assert [each for each in after.names() if not after.shares(before, each)] == ["pumphouse-cabin"]
    moved = {topic for topic, _ in devices.changes(before, after, before) if "$state" not in topic}
    assert moved
    assert all(topic.startswith(CABIN) for topic in moved)
    assert all(before.get(topic) != after[topic] for topic in moved)
