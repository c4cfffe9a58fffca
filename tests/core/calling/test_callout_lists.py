"""Which list, how fast, over which channels, how soon again; and who would be told now."""

from dataclasses import replace

import pytest

from relayd.core.calling import callout, lists, realarm, ways
from relayd.core.events import Act, Now
from relayd.core.plan import (
    HOUR,
    MINUTE,
    CallList,
    Kind,
    OnCall,
    Panel,
    Person,
    Plan,
    Priority,
    Step,
)
from relayd.core.state import Alarm, Away, Stamp, Subject
from tests.core.build import panel, plan_of
from tests.core.call_bench import CABIN, Bench
from tests.core.dst_table import ZONES

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW
FOUR = tuple(
    Step(after * MINUTE, (who,))
    for after, who in ((0, "anna"), (3, "anna"), (8, "ben"), (15, "carla"))
)


def plan(cabin: Panel | None = None, *steps: Step, **changes: object) -> Plan:
    """One panel with Trade 5's list of four steps, or these."""
    made = plan_of(
        cabin or panel("cabin"),
        zone="Europe/Vienna",
        offsets=ZONES["Europe/Vienna"],
        call_lists={"night": CallList("night", steps or FOUR)},
    )
    return replace(made, **changes)  # type: ignore[arg-type]


# Which list


@pytest.mark.parametrize(
    ("medium", "low", "names"),
    [
        ("", "", ("own", "own", "own", "own")),
        ("day", "", ("own", "day", "day", "day")),
        ("", "work", ("own", "own", "work", "work")),
        ("day", "work", ("own", "day", "work", "work")),
    ],
    ids=["one for all", "medium", "low", "each its own"],
)
def test_a_panel_s_list_by_priority(medium: str, low: str, names: tuple[str, ...]) -> None:
    cabin = panel("cabin", call_list="own", medium_list=medium, low_list=low)
    calls = {name: CallList(name, FOUR) for name in ("night", "own", "day", "work")}
    plan_ = plan(cabin, call_lists=calls)
    assert tuple(lists.list_of(plan_, CABIN, each).id for each in Priority) == names
    for other in ("unit", "panel:gone", "channel:anna.mail"):
        assert {lists.list_of(plan_, other, each).id for each in Priority} == {"night"}


# How fast


@pytest.mark.parametrize(
    ("cabin", "condition", "minutes"),
    [
        (panel("cabin"), "high-level", (0, 3, 8, 15)),
        (panel("cabin", reserve=2 * HOUR), "high-level", (0, 3, 8, 15)),
        (panel("cabin", reserve=2 * HOUR - 1), "high-level", (0, 2, 4, 6)),
        (panel("cabin", reserve=HOUR), "pump-power", (0, 2, 4, 6)),
        (panel("cabin", kind=Kind.SUMP), "high-level", (0, 2, 4, 6)),
        (panel("cabin", kind=Kind.SUMP, reserve=9 * HOUR), "high-level", (0, 3, 8, 15)),
        (panel("cabin", reserve=9 * HOUR), "high-high-level", (0, 2, 4, 6)),
    ],
    ids=[
        "not known",
        "2 h",
        "under 2 h",
        "any high alarm",
        "sump, not known",
        "sump, known",
        "high-high",
    ],
)
def test_trade_5_the_fast_list(cabin: Panel, condition: str, minutes: tuple[int, ...]) -> None:
    bench = Bench(plan(cabin)).rise(condition, HIGH).run_to("2026-03-03 10:20")
    assert [at for at, _ in bench.calls()][:4] == [f"03 10:{each:02d}" for each in minutes]


def test_trade_5_the_fast_list_is_never_later_than_the_list_itself() -> None:
    steps = tuple(Step(each * MINUTE, ("anna",)) for each in (0, 1, 9, 9, 20, 40))
    fast = lists.calls_for(plan(panel("cabin", reserve=HOUR), *steps), CABIN, "high-level", HIGH)
    assert [each.after // MINUTE for each in fast.steps] == [0, 1, 4, 6, 6, 6]


def test_only_what_is_high_is_fast_and_only_a_panel_has_a_reserve() -> None:
    plan_ = plan(panel("cabin", reserve=HOUR))
    for subject, priority in ((CABIN, MEDIUM), ("unit", HIGH)):
        calls = lists.calls_for(plan_, subject, "pump-power", priority)
        assert [each.after // MINUTE for each in calls.steps] == [0, 3, 8, 15]


# Over which channels


@pytest.mark.parametrize(
    ("priority", "about", "names"),
    [
        (HIGH, "", ("mail", "push", "call")),
        (MEDIUM, "", ("mail", "push")),
        (LOW, "", ("mail",)),
        (LOW, "mail", ("push",)),
        (HIGH, "push", ("mail", "call")),
    ],
    ids=["high", "medium", "low", "least reserved of the others", "never the one it is about"],
)
def test_trade_8_10_only_the_bad_ones_over_that_channel(
    priority: Priority, about: str, names: tuple[str, ...]
) -> None:
    dora = Person("dora", "Dora", ("mail", "push", "call"))
    plan_ = plan(people={"dora": dora}, least={"call": HIGH, "push": MEDIUM})
    assert ways.channels_of(plan_, "dora", priority, about) == names


def test_a_person_always_keeps_one_channel() -> None:
    dora = Person("dora", "Dora", ("push", "call"))
    plan_ = plan(people={"dora": dora}, least={"call": HIGH, "push": HIGH})
    assert ways.channels_of(plan_, "dora", LOW) == ("push",)
    assert ways.channels_of(plan_, "dora", LOW, "push") == ("call",)
    lonely = replace(plan_, people={"dora": replace(dora, channels=())})
    assert ways.channels_of(lonely, "dora", HIGH) == ()


def test_trade_5_high_uses_all_channels_of_the_person_at_once() -> None:
    bench = Bench(plan(panel("cabin"), Step(0, ("ben",)))).rise("high-level", HIGH)
    assert [each.channel for each in bench.made[0].sends] == ["ben.mail", "ben.push"]


# How soon again


def again_after(cabin: Panel, condition: str, priority: Priority = HIGH) -> float:
    """Minutes until an alarm that was only seen calls again."""
    alarm = Alarm(condition, priority, raised=Stamp(0, 0, True))
    return realarm.after_seen(plan(cabin), CABIN, alarm, 0) / MINUTE


@pytest.mark.parametrize(
    ("cabin", "condition", "priority", "minutes"),
    [
        (panel("cabin"), "high-level", HIGH, 60),
        (panel("cabin"), "common-alarm", HIGH, 60),
        (panel("cabin"), "high-high-level", HIGH, 15),
        (panel("cabin"), "pump-power", HIGH, 240),
        (panel("cabin"), "overload-2", HIGH, 24 * 60),
        (panel("cabin"), "seal-leak", LOW, 7 * 24 * 60),
        (panel("cabin", reserve=10 * HOUR), "high-level", HIGH, 60),
        (panel("cabin", reserve=HOUR), "high-level", HIGH, 30),
        (panel("cabin", reserve=HOUR), "pump-power", HIGH, 30),
        (panel("cabin", reserve=10 * MINUTE), "high-level", HIGH, 15),
        (panel("cabin", reserve=HOUR), "seal-leak", LOW, 7 * 24 * 60),
        (panel("cabin", realarm={"high-level": 3 * HOUR}), "high-level", HIGH, 60),
        (
            panel("cabin", reserve=10 * HOUR, realarm={"high-level": 3 * HOUR}),
            "high-level",
            HIGH,
            180,
        ),
        (panel("cabin", realarm={"pump-power": MINUTE}), "pump-power", HIGH, 15),
    ],
    ids=[
        "water, reserve not known",
        "common alarm",
        "high-high",
        "power",
        "a pump's",
        "low",
        "long reserve",
        "short reserve",
        "any high alarm of a short reserve",
        "never below a quarter",
        "low does not mind the reserve",
        "not known: within the hour",
        "the panel's own",
        "the panel's own, too short",
    ],
)
def test_trade_5_re_alarm_of_what_was_only_seen(
    cabin: Panel, condition: str, priority: Priority, minutes: float
) -> None:
    assert again_after(cabin, condition, priority) == minutes


def test_re_alarm_of_the_unit_s_own_is_the_condition_s() -> None:
    alarm = Alarm("sender-down", HIGH)
    assert realarm.after_seen(plan(), "unit", alarm, 0) == HOUR


@pytest.mark.parametrize(
    ("reserve", "now", "until", "minutes"),
    [
        (None, 10, 480, 510),
        (24 * HOUR, 10, 480, 510),
        (4 * HOUR, 10, 480, 120),
        (4 * HOUR, 118, 480, 133),
        (4 * HOUR, 10, 30, 60),
    ],
    ids=["not known", "long", "half of it gone", "never below a quarter", "the promise is first"],
)
def test_trade_5_taken_until_it_calls_again_half_an_hour_later_or_at_half_the_reserve(
    reserve: int | None, now: int, until: int, minutes: int
) -> None:
    alarm = Alarm("high-level", HIGH, raised=Stamp(0, 0, True))
    plan_ = plan(panel("cabin", reserve=reserve))
    found = realarm.after_taken(plan_, CABIN, alarm, until * MINUTE, now * MINUTE)
    assert found / MINUTE == minutes


def test_taken_without_a_known_raising_holds_until_the_promise() -> None:
    plan_ = plan(panel("cabin", reserve=HOUR))
    assert realarm.after_taken(plan_, CABIN, Alarm("high-level", HIGH), HOUR, 0) == 90 * MINUTE


def test_trade_5_who_took_it_for_eight_is_not_woken_at_three_where_the_reserve_allows() -> None:
    """'wakes, at 03:00, the person who took it for 08:00': not with a reserve of 20 h."""
    bench = Bench(plan(panel("cabin", reserve=20 * HOUR)), "2026-03-06 23:00")
    bench.rise("high-level", HIGH).ack("high-level", "anna", within=9 * HOUR)
    bench.run_to("2026-03-07 08:29")
    assert bench.calls() == [("06 23:00", "anna")]
    bench.run_to("2026-03-07 08:30")
    assert bench.calls()[1:] == [("07 08:30", "anna")]


def test_decisions_k_the_re_alarm_starts_at_the_first_step() -> None:
    bench = Bench(plan()).rise("pump-power", HIGH).run_to("2026-03-03 10:20")
    bench.ack("pump-power", "ben", Act.TAKEN, 30 * MINUTE).run_to("2026-03-03 11:30")
    assert [each for each in bench.calls() if each[0] > "03 11:00"][:3] == [
        ("03 11:20", "anna"),
        ("03 11:23", "anna"),
        ("03 11:28", "ben"),
    ]


def test_a_re_alarm_below_high_waits_for_hours_too() -> None:
    bench = Bench(plan(), "2026-03-06 12:00").rise("redundant-off", MEDIUM)
    bench.ack("redundant-off", "anna", Act.TAKEN, 11 * HOUR).run_to("2026-03-07 07:30")
    assert [each for each in bench.calls() if each[0] > "06 12:00"] == [
        ("07 07:00", "anna"),
        ("07 07:00", "ben"),
        ("07 07:00", "carla"),
    ]


# Who would be told


def foreseen(
    plan_: Plan, priority: Priority, at: str, away: tuple[str, ...] = (), condition: str = ""
) -> list[tuple[float, tuple[str, ...], dict[str, str]]]:
    """(minutes, persons, who waits until when) of each step."""
    bench = Bench(plan_, at)
    now = Now("boot", bench.up, bench.wall + bench.up, True)
    stamp = Stamp(0, 0, True)
    gone = {each: Away(each, stamp, bench.up + 24 * HOUR, 0) for each in away}
    found = callout.foreseen(
        plan_, {"unit": Subject("unit", away=gone)}, CABIN, priority, now, condition
    )
    return [
        (
            each.after / MINUTE,
            each.persons,
            {who: bench.there(bench.wall + until) for who, until in each.held.items()},
        )
        for each in found
    ]


def test_who_would_be_told_of_a_high_alarm_now_and_next() -> None:
    assert foreseen(plan(), HIGH, "2026-03-07 03:00") == [
        (0, ("anna",), {}),
        (3, ("anna",), {}),
        (8, ("ben",), {}),
        (15, ("carla",), {}),
    ]


def test_who_would_be_told_of_water_that_does_not_wait() -> None:
    minutes = [
        after
        for after, *_ in foreseen(plan(), HIGH, "2026-03-07 03:00", condition="high-high-level")
    ]
    assert minutes == [0, 2, 4, 6]


def test_who_would_have_to_wait_and_until_when() -> None:
    steps = (Step(0, ("anna",)), Step(5 * MINUTE, ("ben", "carla")))
    assert foreseen(plan(None, *steps), MEDIUM, "2026-03-07 03:00") == [
        (0, ("anna",), {"anna": "07 07:00"}),
        (5, ("ben", "carla"), {"ben": "07 07:00", "carla": "07 07:00"}),
    ]
    assert foreseen(plan(None, *steps), LOW, "2026-03-06 18:00") == [
        (0, ("anna",), {"anna": "09 08:00"}),
        (86 * 60, ("ben", "carla"), {}),
    ]


def test_foreseen_is_what_then_happens() -> None:
    for priority, at in ((HIGH, "2026-03-07 03:00"), (LOW, "2026-03-04 09:00")):
        seen = foreseen(plan(), priority, at)
        bench = Bench(plan(), at).rise("overload", priority).run_to("2026-03-11 12:00")
        began = bench.made[0].made.up
        happened = [
            ((each.made.up - began) / MINUTE, (each.person,)) for each in bench.made[: len(seen)]
        ]
        assert [(after, who) for after, who, _ in seen] == happened


def test_foreseen_without_anybody_there_is_everybody_at_once() -> None:
    away = ("anna", "ben", "carla")
    assert foreseen(plan(), HIGH, "2026-03-07 03:00", away) == [(0, away, {})]
    assert all(not who for _, who, _ in foreseen(plan(), MEDIUM, "2026-03-06 09:00", away))


def test_nobody_would_be_told_of_what_is_recorded_only() -> None:
    assert foreseen(plan(), Priority.RECORD_ONLY, "2026-03-07 03:00") == []


@pytest.mark.parametrize("priority", [LOW, MEDIUM], ids=str)
def test_a_schedule_without_turns_is_nobody_and_is_asked_again_a_day_later(
    priority: Priority,
) -> None:
    steps = (Step(0, ("duty",)), Step(MINUTE, ("duty",)))
    plan_ = plan(None, *steps, on_call={"duty": OnCall("duty", ())})
    bench = Bench(plan_).rise("seal-leak", priority).run_to("2026-03-05 12:00")
    assert bench.calls() == []
    assert ("duty", "nobody on duty") in bench.why("not told")
    bench.fall("seal-leak").run_to("2026-03-06 12:00")
    assert bench.told() == [("06 08:00", "anna", "reminder", "seal-leak")]
