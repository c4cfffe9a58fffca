"""Hours: who is told at any hour, who when awake, who at work, and what is recorded of the silence.

March 2026 in Vienna: the 2nd is a Monday. Anna and Ben wake from 07:00 to 22:00 and work Monday to
Friday from 08:00 to 17:00; Carla sleeps by day (waking 20:00 to 12:00).
"""

from dataclasses import replace

import pytest

from relayd.core.events import Act
from relayd.core.plan import HOUR, MINUTE, CallList, OnCall, Plan, Priority, Step, Turn
from relayd.core.state import Mark, Stamp, Visit
from tests.core.build import panel, plan_of
from tests.core.call_bench import CABIN, Bench
from tests.core.dst_table import ZONES, utc

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW


def plan(*steps: Step, **changes: object) -> Plan:
    """One panel whose lists for all priorities have these steps."""
    steps = steps or (
        Step(0, ("anna",)),
        Step(8 * MINUTE, ("ben",)),
        Step(15 * MINUTE, ("carla",)),
    )
    base = plan_of(
        panel("cabin"),
        zone="Europe/Vienna",
        offsets=ZONES["Europe/Vienna"],
        call_lists={"night": CallList("night", steps)},
    )
    carla = replace(base.people["carla"], waking=(20 * HOUR, 12 * HOUR))
    return replace(base, people={**base.people, "carla": carla}, **changes)  # type: ignore[arg-type]


# High, medium, low


def test_trade_5_high_goes_out_at_any_hour_to_everybody() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("high-level", HIGH).run_to("2026-03-07 03:20")
    assert bench.calls() == [("07 03:00", "anna"), ("07 03:08", "ben"), ("07 03:15", "carla")]
    assert bench.why("held") == []


def test_trade_5_medium_waits_for_waking_hours_and_says_so_and_climbs_to_who_is_awake() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).run_to("2026-03-07 07:30")
    assert bench.calls() == [("07 03:15", "carla"), ("07 07:00", "anna"), ("07 07:00", "ben")]
    assert bench.why("held") == [("anna", "until 07:00"), ("ben", "until 07:00")]


def test_decisions_k_medium_waits_for_working_hours_only_where_the_plan_says_so() -> None:
    bench = Bench(plan(medium_waits=True), "2026-03-07 03:00").rise("low-level", MEDIUM)
    bench.run_to("2026-03-09 08:30")
    assert bench.calls()[:3] == [("09 08:00", "anna"), ("09 08:00", "ben"), ("09 08:00", "carla")]


def test_trade_5_low_waits_for_working_hours_and_its_steps_are_a_working_day_apart() -> None:
    bench = Bench(plan(), "2026-03-06 18:00").rise("seal-leak", LOW).run_to("2026-03-11 12:00")
    assert bench.calls() == [("09 08:00", "anna"), ("10 08:00", "ben"), ("11 08:00", "carla")]


def test_low_in_working_hours_is_told_at_once_and_repeated_daily_and_not_at_the_weekend() -> None:
    bench = Bench(plan(Step(0, ("anna",))), "2026-03-05 10:00").rise("seal-leak", LOW)
    bench.run_to("2026-03-09 12:00")
    assert bench.calls() == [("05 10:00", "anna"), ("06 10:00", "anna"), ("09 08:00", "anna")]


def test_medium_is_repeated_in_the_evening_and_then_daily() -> None:
    bench = Bench(plan(Step(0, ("anna",))), "2026-03-03 23:00").rise("low-level", MEDIUM)
    bench.run_to("2026-03-06 06:00")
    assert bench.calls() == [("04 07:00", "anna"), ("04 20:00", "anna"), ("05 20:00", "anna")]


def test_medium_that_is_told_late_in_the_day_is_not_repeated_that_evening() -> None:
    bench = Bench(plan(Step(0, ("anna",))), "2026-03-03 18:30").rise("low-level", MEDIUM)
    bench.run_to("2026-03-05 06:00")
    assert bench.calls() == [("03 18:30", "anna"), ("04 18:30", "anna")]


def test_record_only_tells_nobody_and_says_why() -> None:
    bench = Bench(plan()).rise("panel-door", Priority.RECORD_ONLY).run_to("2026-03-05 10:00")
    bench.fall("panel-door").run_to("2026-03-07 10:00")
    assert bench.told() == []
    assert bench.why("not told") == [(None, "its priority is record-only")]
    assert bench.alarm("panel-door").morning is None


def test_a_clock_that_is_not_set_holds_nothing_back() -> None:
    bench = Bench(plan(), "2026-03-07 03:00", trusted=False).rise("seal-leak", LOW)
    assert bench.calls() == [("07 03:00", "anna")]


def test_more_urgent_than_before_the_list_begins_again_and_nobody_waits() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("site-outage", MEDIUM)
    bench.run_to("2026-03-07 03:30").change("site-outage", priority=HIGH)
    bench.run_to("2026-03-07 03:44")
    assert bench.calls() == [("07 03:15", "carla"), ("07 03:30", "anna"), ("07 03:38", "ben")]
    assert [why for _, why in bench.why("call list begins again")] == ["high, it was medium"]
    assert bench.alarm("site-outage").held == {}


# On call, and away


def on_call(*turns: tuple[str, str], **changes: object) -> Plan:
    """Anna first, then whoever is on duty."""
    steps = (Step(0, ("duty",)), Step(8 * MINUTE, ("anna",)))
    schedule = OnCall("duty", tuple(Turn(utc(begins), who) for begins, who in turns))
    return plan(*steps, on_call={"duty": schedule}, **changes)


def test_on_call_is_who_is_on_duty_when_it_is_told() -> None:
    """The rota changes on Friday 03:10 local, 02:10 UTC."""
    plan_ = on_call(("2026-03-01 00:00", "ben"), ("2026-03-06 02:10", "carla"))
    bench = Bench(plan_, "2026-03-06 03:00").rise("high-level", HIGH).run_to("2026-03-06 03:25")
    assert bench.calls() == [
        ("06 03:00", "ben"),
        ("06 03:08", "anna"),
        ("06 03:23", "carla"),
        ("06 03:23", "anna"),
    ]


def test_what_waits_goes_to_who_is_on_duty_when_hours_begin() -> None:
    plan_ = on_call(("2026-03-01 00:00", "ben"), ("2026-03-08 12:00", "carla"))
    bench = Bench(plan_, "2026-03-07 10:00").rise("seal-leak", LOW).run_to("2026-03-09 09:00")
    assert bench.calls() == [("09 08:00", "carla")]


def test_before_the_first_turn_everybody_on_the_schedule_is_told() -> None:
    plan_ = on_call(("2026-04-01 00:00", "ben"), ("2026-04-02 00:00", "carla"))
    bench = Bench(plan_, "2026-03-06 03:00").rise("high-level", HIGH)
    assert bench.calls() == [("06 03:00", "ben"), ("06 03:00", "carla")]


def test_the_stand_in_is_told_instead() -> None:
    bench = Bench(plan()).away(anna="carla").rise("high-level", HIGH).run_to("2026-03-03 10:10")
    assert bench.calls() == [("03 10:00", "carla"), ("03 10:08", "ben")]


def test_a_step_with_nobody_on_duty_goes_to_the_next_at_once_and_that_is_recorded() -> None:
    bench = Bench(plan()).away(anna="").rise("high-level", HIGH).run_to("2026-03-03 10:14")
    assert bench.calls() == [("03 10:00", "ben")]
    assert bench.why("not told") == [("anna", "nobody on duty")]


@pytest.mark.parametrize("priority", [HIGH, MEDIUM], ids=["high", "medium"])
def test_a_high_alarm_never_ends_in_nobody(priority: Priority) -> None:
    bench = Bench(plan()).away(anna="ben", ben="anna", carla="").rise("high-level", priority)
    bench.run_to("2026-03-03 10:16")
    everybody = [("03 10:00", "anna"), ("03 10:00", "ben"), ("03 10:00", "carla")]
    again = [("03 10:15", who) for _, who in everybody]
    assert bench.calls() == (everybody + again if priority is HIGH else [])
    assert ("anna", "nobody on duty") in bench.why("not told")


def test_what_was_held_for_somebody_who_left_meanwhile_goes_to_the_stand_in() -> None:
    bench = Bench(plan(), "2026-03-06 23:00").rise("low-level", MEDIUM).run_to("2026-03-07 01:00")
    bench.away(anna="ben", ben="").run_to("2026-03-07 07:30")
    assert [who for at, who in bench.calls() if at == "07 07:00"] == ["anna", "ben"]
    bench = Bench(plan(Step(0, ("anna",))), "2026-03-06 23:00").rise("low-level", MEDIUM)
    bench.away(anna="ben").run_to("2026-03-07 07:30")
    assert bench.calls() == [("07 07:00", "ben")]


# Put aside, and visited


def test_what_is_put_aside_is_told_to_nobody_and_begins_at_the_first_step_after_it() -> None:
    bench = Bench(plan()).rise("high-level", HIGH).run_to("2026-03-03 10:05")
    mark = Mark("ben", Stamp(0, 0, True), bench.up + HOUR, bench.wall + bench.up + HOUR, "test")
    bench.change("high-level", shelved=mark).run_to("2026-03-03 10:40")
    assert bench.calls() == [("03 10:00", "anna")]
    assert len(bench.why("not told")) == 1
    bench.change("high-level", update=bench.up + MINUTE).run_to("2026-03-03 10:42")
    assert len(bench.why("not told")) == 2
    bench.change("high-level", shelved=None).run_to("2026-03-03 10:50")
    assert bench.calls()[1:] == [("03 10:42", "anna"), ("03 10:50", "ben")]


def visited(bench: Bench, person: str, minutes: int) -> Bench:
    """Somebody is at the panel for that long."""
    until = bench.up + minutes * MINUTE
    visit = Visit(person, Stamp(bench.up, 0, True), until, bench.wall + until)
    bench.do(lambda draft: draft.put(replace(draft.subject(CABIN), visit=visit)))
    return bench


def test_trade_8_1_a_visitor_alone_is_told_at_once_and_the_list_begins_when_he_has_gone() -> None:
    bench = visited(Bench(plan()), "carla", 20).rise("seal-leak", MEDIUM)
    assert bench.calls() == [("03 10:00", "carla")]
    assert bench.why("not told") == [(None, "carla is at the panel")]
    bench.run_to("2026-03-03 10:20").do()
    bench.run_to("2026-03-03 10:29")
    assert bench.calls()[1:] == [("03 10:20", "anna"), ("03 10:28", "ben")]


def test_a_visitor_who_had_been_told_before_is_not_told_again() -> None:
    bench = Bench(plan()).rise("seal-leak", MEDIUM).run_to("2026-03-03 10:20")
    visited(bench, "anna", 30).run_to("2026-03-03 10:40")
    assert [who for _, who in bench.calls()].count("anna") == 1


# Seen, and taken, while it waits


def test_who_has_seen_it_is_not_told_in_the_morning() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).run_to("2026-03-07 03:10")
    bench.ack("low-level", "anna", Act.SEEN).run_to("2026-03-07 07:30")
    assert ("07 07:00", "anna") not in bench.calls()
    assert ("07 07:00", "ben") in bench.calls()
    assert ("anna", "has seen it already") in bench.why("not told")


def test_what_somebody_has_taken_wakes_nobody_in_the_morning_and_that_is_recorded() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).run_to("2026-03-07 03:20")
    bench.ack("low-level", "carla", within=20 * HOUR).run_to("2026-03-07 12:00")
    assert bench.calls() == [("07 03:15", "carla")]
    assert bench.why("not told") == [("anna", "carla has it"), ("ben", "carla has it")]


def test_those_told_by_day_hear_in_the_morning_who_took_it_at_night() -> None:
    bench = Bench(plan(), "2026-03-06 21:50").rise("low-level", MEDIUM).run_to("2026-03-06 23:00")
    bench.ack("low-level", "ben", within=20 * HOUR).run_to("2026-03-07 07:30")
    assert bench.told()[-1] == ("07 07:00", "anna", "taken", "low-level")
    assert ("06 23:00", "carla", "taken", "low-level") in bench.told()


def test_those_told_by_day_hear_in_the_morning_that_it_was_over_at_night() -> None:
    bench = Bench(plan(Step(0, ("anna",))), "2026-03-06 21:50").rise("low-level", MEDIUM)
    bench.ack("low-level", "anna", Act.SEEN).run_to("2026-03-06 23:00")
    bench.fall("low-level").run_to("2026-03-07 07:30")
    assert [(at, kind) for at, _, kind, _ in bench.told()] == [
        ("06 21:50", "raised"),
        ("07 07:00", "digest"),
    ]


def test_news_at_night_of_a_medium_alarm_waits() -> None:
    bench = Bench(plan(Step(0, ("anna",))), "2026-03-06 21:50").rise("low-level", MEDIUM)
    bench.run_to("2026-03-06 23:00").change("low-level", update=bench.up)
    bench.run_to("2026-03-07 07:30")
    assert bench.told()[1:] == [("07 07:00", "anna", "raised", "low-level")]
