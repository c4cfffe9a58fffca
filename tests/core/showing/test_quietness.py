"""Why it is quiet: each reason for silence has its own sentence, and says what ends it.

The panel stands in UTC; a world begins at 08:01:40 on Friday, 15 January 2027, and each case has
run for 100 s before it begins, so that its first minute is 08:03.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest

from relayd.core.conditions import LEVEL_ALARMS
from relayd.core.events import (
    AtPanel,
    GoAway,
    HornWire,
    InputLost,
    OutOfService,
    PutOff,
    Reset,
    Shelve,
    Stage,
    Started,
    Wire,
)
from relayd.core.plan import HOUR, MINUTE, SECOND, Means, OnCall, Plan, Priority, Turn
from relayd.core.showing import quietness, view
from relayd.core.showing.quietness import NOBODY, reads
from relayd.core.state import InputState
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

LEVEL, OVERLOAD, SEAL = "cabin.high-level", "cabin.overload-1", "cabin.seal-1"
INPUTS = (
    contact(Means.HIGH_LEVEL),
    contact(Means.OVERLOAD, pump=1, name="overload-1"),
    contact(Means.ALARM_POWER),
    contact(Means.SEAL_LEAK, pump=1, name="seal-1", latch=True),
    contact(Means.OTHER, name="gate", text="Gate open", priority=Priority.RECORD_ONLY),
)
STOPPED = "it returned to normal and was never acknowledged; the call list has stopped."
ANNA_IN_2 = "the next step of the call list comes in 2 min: Anna."


def site(**changes: object) -> Plan:
    return plan_of(panel("cabin", *INPUTS), **changes)


def world(plan: Plan | None = None) -> World:
    return World(plan or site()).start().run(100)


def why(at: World) -> list[str]:
    return view.why(at.plan, at.state, "cabin", at.now())


def said(at: World) -> list[str]:
    """What is said beside the inputs, which come first, and the level, which comes last."""
    return why(at)[len(INPUTS) : -1]


def up(at: World, name: str, seconds: float) -> World:
    at.alarm(name)
    return at.run(seconds)


def over(at: World, name: str, seconds: float) -> World:
    at.alarm(name, False)
    return at.run(seconds)


Scene = Callable[[World], object]


def paused(at: World) -> None:
    up(at, OVERLOAD, 60)
    assert at.ask(Shelve("cabin", "overload-1", within=HOUR, why="new motor")).ok


def paused_at_rest(at: World) -> None:
    assert at.ask(Shelve("cabin", "overload-1", within=HOUR)).ok


def alarm_out(at: World) -> None:
    assert at.ask(OutOfService("cabin", "overload-1", within=HOUR)).ok
    up(at, OVERLOAD, 60)


def panel_out(at: World) -> None:
    assert at.ask(OutOfService("cabin", within=HOUR, why="tank is empty")).ok
    up(at, LEVEL, 60)


def held(at: World) -> None:
    """Low alarms wait for working hours; at 18:03 on a Friday that is Monday."""
    at.run(10 * 3600)
    up(at, SEAL, 120)


def seen(at: World) -> None:
    up(at, LEVEL, 60)
    assert at.ack("anna").ok


def taken(at: World) -> None:
    up(at, LEVEL, 60)
    assert at.ack("ben", within=90 * MINUTE).ok


def visit(at: World) -> None:
    assert at.ask(AtPanel("cabin", Stage.BEGIN)).ok
    up(at, LEVEL, 60)


def chattering(at: World) -> None:
    for _ in range(4):
        up(at, OVERLOAD, 14)
        over(at, OVERLOAD, 6)


def latched(at: World) -> None:
    up(at, SEAL, 120)
    over(at, SEAL, 20 * 60)


def latched_and_seen(at: World) -> None:
    latched(at)
    assert at.ack("anna").ok


def answered(at: World) -> None:
    up(at, LEVEL, 60)
    at.ack("anna")
    over(at, LEVEL, 120)


def away(at: World) -> None:
    assert at.ask(GoAway("anna", within=5 * HOUR, stand_in="carla")).ok
    up(at, LEVEL, 60)


def nobody_there(at: World) -> None:
    for person in ("anna", "ben"):
        assert at.ask(GoAway(person, within=5 * HOUR)).ok
    up(at, LEVEL, 60)


def put_off(at: World) -> None:
    assert at.ask(HornWire("cabin", Wire.OFF)).ok
    assert at.ask(PutOff("cabin", "horn-wire", within=HOUR, why="part on order")).ok


SILENCES: dict[str, tuple[Scene, list[str]]] = {
    "on-delay running": (
        lambda at: up(at, OVERLOAD, 3),
        ["Overload tripped: there for 2 s, its on-delay is still running."],
    ),
    "the next step has not come": (
        lambda at: up(at, LEVEL, 60),
        ["High level stands as UNACK; told: Anna.", f"High level: {ANNA_IN_2}"],
    ),
    "paused until, while it stands": (
        paused,
        [
            "Overload tripped stands as UNACK; told: Anna.",
            "Overload tripped: paused until 09:04 by Ben (new motor).",
        ],
    ),
    "paused until, while nothing is wrong": (
        paused_at_rest,
        ["Overload tripped: paused until 09:03 by Ben."],
    ),
    "out of service until": (
        alarm_out,
        [
            "Overload tripped stands as UNACK; told: nobody yet.",
            "Overload tripped: out of service until 09:03 by Ben.",
        ],
    ),
    "the whole panel is out of service until": (
        panel_out,
        [
            "High level stands as UNACK; told: nobody yet.",
            "High level: its panel is out of service until 09:03 by Ben (tank is empty).",
        ],
    ),
    "not shown because": (
        lambda at: up(at, "cabin.alarm-power", 90),
        [
            "High level: not shown because the alarm circuit is dead.",
            "Alarm circuit lost stands as UNACK; told: Anna.",
            f"Alarm circuit lost: {ANNA_IN_2}",
        ],
    ),
    "held for hours": (
        held,
        [
            "Seal leak stands as UNACK; told: nobody yet.",
            "Seal leak: held for Anna until 18 Jan 08:00.",
            "Seal leak: the next step of the call list comes in 3 d 13 h: Anna.",
        ],
    ),
    "seen": (
        seen,
        [
            "High level stands as ACKED; told: Anna.",
            "High level: Anna has seen it and is left alone for 30 min.",
            f"High level: the next step of the call list comes in 2 min: {NOBODY}.",
        ],
    ),
    "taken": (
        taken,
        [
            "High level stands as ACKED; told: Anna, Ben.",
            "High level: Ben has it until 09:34; until then nobody else is told.",
        ],
    ),
    "visit": (
        visit,
        [
            "High level stands as UNACK; told: Ben.",
            "Ben is at the panel until 10:03: its alarms go to Ben alone,"
            " until water has stood for too long.",
        ],
    ),
    "chattering": (
        chattering,
        [
            "Overload tripped stands as RTNUN; told: Anna.",
            "Overload tripped: it comes and goes, for 34 s: repeats are recorded and not told.",
            "Overload tripped: it is normal at this moment; the call list waits until it is back.",
        ],
    ),
    "record-only": (
        lambda at: up(at, "cabin.gate", 90),
        [
            "Gate open stands as UNACK; told: nobody yet.",
            "Gate open: it is recorded and never told.",
        ],
    ),
    "away": (
        away,
        [
            "High level stands as UNACK; told: Carla.",
            "High level: the next step of the call list comes in 2 min: Carla.",
            "Anna is away until 13:03; Carla is told instead.",
        ],
    ),
    "nobody of the list is there: then everybody is told": (
        nobody_there,
        [
            "High level stands as UNACK; told: Anna, Ben.",
            "High level: the next step of the call list comes in 14 min: Anna, Ben.",
            "Anna is away until 13:03; nobody stands in.",
            "Ben is away until 13:03; nobody stands in.",
        ],
    ),
    "returned and not acknowledged": (
        lambda at: over(up(at, LEVEL, 60), LEVEL, 120),
        ["High level stands as RTNUN; told: Anna.", f"High level: {STOPPED}"],
    ),
    "returned and acknowledged: it is over": (answered, []),
    "it stays until it is reset": (
        latched,
        [
            "Seal leak stands as LATUN; told: Anna.",
            "Seal leak: it stays until it is reset; the call list has stopped.",
        ],
    ),
    "it stays until it is reset, and was acknowledged": (
        latched_and_seen,
        [
            "Seal leak stands as LATAK; told: Anna.",
            "Seal leak: Anna has seen it and is left alone for 30 min.",
            "Seal leak: it stays until it is reset; the call list has stopped.",
        ],
    ),
    "a loose end's reminders are put off": (
        put_off,
        [
            "the horn's wire is disconnected: the next alarm will be silent at the panel: reminders"
            " put off until 09:03 by Ben (part on order)."
        ],
    ),
    "nothing is wrong": (lambda at: at, []),
}


@pytest.mark.parametrize(("scene", "lines"), SILENCES.values(), ids=SILENCES)
def test_each_reason_for_silence_has_its_sentence(scene: Scene, lines: list[str]) -> None:
    at = world()
    scene(at)
    assert said(at) == lines


def test_a_latched_alarm_that_was_reset_is_silent_for_no_reason() -> None:
    at = world()
    latched_and_seen(at)
    assert at.ask(Reset("cabin")).ok
    assert said(at) == []


def test_a_mark_that_has_ended_is_no_reason_any_more() -> None:
    at = world()
    paused_at_rest(at)
    at.run_to(at.up + HOUR)
    assert said(at) == []


def test_who_is_on_call_but_away_is_not_named_as_next() -> None:
    duty = OnCall("duty", (Turn(0, "anna"),))
    base = site()
    steps = tuple(
        replace(each, persons=("duty",)) if "anna" in each.persons else each
        for each in base.call_lists["night"].steps
    )
    lists = {"night": replace(base.call_lists["night"], steps=steps)}
    at = world(replace(base, on_call={"duty": duty}, call_lists=lists))
    up(at, LEVEL, 60)
    assert said(at)[-1] == f"High level: {ANNA_IN_2}"
    assert at.ask(GoAway("anna", within=5 * HOUR)).ok
    assert said(at)[-2:] == [
        f"High level: the next step of the call list comes in 2 min: {NOBODY}.",
        "Anna is away until 13:04; nobody stands in.",
    ]


def test_a_visit_that_is_over_is_no_reason() -> None:
    at = world()
    assert at.ask(AtPanel("cabin", Stage.BEGIN)).ok
    visit = at.state.subjects["panel:cabin"].visit
    assert visit is not None
    at.up = visit.until
    assert said(at) == []


def test_water_that_stands_for_too_long_under_a_visit_is_told_to_the_others() -> None:
    at = world()
    visit(at)
    at.run(31 * 60)
    lines = said(at)
    assert lines[0] == "High level stands as UNACK; told: Ben, Anna."
    assert any("the next step of the call list comes in" in each for each in lines)


# Inputs


def contact_line(at: World, name: str = LEVEL) -> str:
    return next(each for each in why(at) if each.startswith(f"{name} "))


def test_a_contact_that_has_not_settled_is_said() -> None:
    at = World(site())
    at.give(Started(True))
    assert contact_line(at) == f"{LEVEL} has not settled yet."


def test_what_the_filter_holds_back_is_said() -> None:
    at = up(world(), LEVEL, 0.02)
    assert contact_line(at) == (
        f"{LEVEL} reads open, normal, for 1 min; now closed, which the filter has not passed yet."
    )
    over(at, LEVEL, 1)
    assert "filter" not in contact_line(at)


def test_what_is_back_and_not_believed_yet_is_said() -> None:
    at = over(up(world(), LEVEL, 30), LEVEL, 1)
    assert contact_line(at) == (
        f"{LEVEL} reads open, alarm (back, but not long enough to be believed), for 0 s."
    )


def test_a_contact_that_cannot_be_read_is_said_with_its_reason() -> None:
    at = world()
    at.give(InputLost(LEVEL, "the line is busy"))
    assert contact_line(at) == f"{LEVEL} cannot be read: the line is busy."


@pytest.mark.parametrize(
    ("state", "word"), [(InputState(), "settling"), (InputState(lost="gone"), "lost")]
)
def test_a_contact_without_a_value_is_said_so(state: InputState, word: str) -> None:
    assert reads(state) == word


# The unit itself


def test_why_the_unit_is_quiet() -> None:
    at = world(site(inputs=(contact(Means.UNIT_POWER, panel="unit"),)))
    assert view.why_unit(at.plan, at.state, at.now()) == [
        "unit.unit-power reads closed, normal, for 1 min."
    ]
    assert at.ask(GoAway("anna", within=HOUR)).ok
    assert at.ask(Shelve("creek-1", "mqtt-down", within=HOUR)).ok
    assert view.why_unit(at.plan, at.state, at.now())[1:] == [
        "MQTT broker not reached: paused until 09:03 by Ben.",
        "Anna is away until 09:03; nobody stands in.",
    ]


def test_an_alarm_burst_is_said() -> None:
    at = world()
    unit = at.state.subjects["unit"]
    burst = replace(unit, burst=at.up - 90 * SECOND)
    at.state = replace(at.state, subjects={**at.state.subjects, "unit": burst})
    line = "An alarm burst has gone on for 1 min."
    assert said(at) == [line]
    assert view.why_unit(at.plan, at.state, at.now()) == [line]


def test_before_anything_is_known_nothing_is_claimed() -> None:
    at = World(site())
    assert view.why_unit(at.plan, at.state, at.now()) == []
    assert said(at) == []


def test_who_is_no_longer_in_the_plan_is_named_by_id() -> None:
    at = world()
    paused_at_rest(at)
    people = {name: each for name, each in at.plan.people.items() if name != "ben"}
    at.plan = replace(at.plan, people=people)
    assert said(at) == ["Overload tripped: paused until 09:03 by ben."]


def test_trade_1_37_an_alarm_about_water_that_stands_is_never_hidden_by_another() -> None:
    """The circuit dies while the level is high: the high level keeps its state and its calls."""
    at = up(world(), LEVEL, 60)
    up(at, "cabin.alarm-power", 90)
    assert "high-level" in LEVEL_ALARMS
    assert not [each for each in said(at) if each.startswith("High level: not shown")]
    assert said(at)[0].startswith("High level stands as UNACK")


def test_every_panel_is_answered_for_and_the_unit_last() -> None:
    at = World(plan_of(panel("cabin", contact(Means.HIGH_LEVEL)))).start().run(60)
    every = quietness.lines(at.plan, at.state, at.now(), "")
    one = quietness.lines(at.plan, at.state, at.now(), "cabin")
    assert {each["panel"] for each in one} == {"cabin"}
    assert every[: len(one)] == one
    assert [each["say"] for each in every[len(one) :]] == view.why_unit(at.plan, at.state, at.now())


def test_whom_the_next_step_tells_is_whoever_is_on_duty_then() -> None:
    base, begun = site(), world().now()
    turns = (Turn(0, "anna"), Turn(begun.wall + 2 * MINUTE, "ben"))
    steps = tuple(
        replace(each, persons=("duty",)) if "anna" in each.persons else each
        for each in base.call_lists["night"].steps
    )
    lists = {"night": replace(base.call_lists["night"], steps=steps)}
    at = world(replace(base, on_call={"duty": OnCall("duty", turns)}, call_lists=lists))
    up(at, LEVEL, 60)
    alarm = at.open_alarm()
    assert alarm.call is not None
    assert alarm.call.due is not None
    now, due = at.now(), alarm.call.due
    then = replace(now, up=due, wall=now.wall + due - now.up)
    assert quietness.told_next(at.plan, {}, "panel:cabin", alarm, now) == ("anna",)
    assert quietness.told_next(at.plan, {}, "panel:cabin", alarm, then) == ("ben",)
    over = replace(alarm, call=None)
    assert quietness.told_next(at.plan, {}, "panel:cabin", over, then) == ()
