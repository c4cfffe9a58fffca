"""What was held, in the morning: one item by itself, several as a digest, and none is lost.

March 2026 in Vienna: the 6th is a Friday, the 9th a Monday.
"""

from dataclasses import replace

import pytest

from relayd.core.calling import callout
from relayd.core.draft import Draft
from relayd.core.events import Act, JournalJudged, Now, PlanJudged
from relayd.core.life.alarm import Happening
from relayd.core.plan import HOUR, CallList, Plan, Priority, Step
from relayd.core.saying import texts
from relayd.core.state import Live, Mark, NoticeKind, Stamp
from tests.core.build import panel, plan_of
from tests.core.call_bench import CABIN, Bench
from tests.core.dst_table import ZONES, utc
from tests.core.world import World, plan as cabin_plan

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW


def plan(first: str = "anna") -> Plan:
    """Two panels; everything goes to Anna first, low ones to `first`."""
    cabin = panel("cabin", low_list="work", medium_list="day")
    return plan_of(
        cabin,
        panel("mill", low_list="work", medium_list="day"),
        zone="Europe/Vienna",
        offsets=ZONES["Europe/Vienna"],
        call_lists={
            "night": CallList("night", (Step(0, ("anna",)),)),
            "day": CallList("day", (Step(0, ("anna",)),)),
            "work": CallList("work", (Step(0, (first,)),)),
        },
    )


def test_one_held_item_is_an_ordinary_notice() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).run_to("2026-03-07 08:00")
    assert bench.told() == [("07 07:00", "anna", "raised", "low-level")]
    assert bench.alarm("low-level").told == ("anna",)
    assert bench.alarm("low-level").held == {}


def test_several_held_items_are_one_message_that_names_every_one() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM)
    bench.run_to("2026-03-07 04:00").rise("in-off", MEDIUM)
    bench.rise("low-level", MEDIUM, "panel:mill").run_to("2026-03-07 08:00")
    assert bench.told() == [("07 07:00", "anna", "digest", "")]
    digest = bench.made[0]
    assert (digest.subject, digest.occurrence, digest.priority) == ("unit", 0, MEDIUM)
    for name in ("Low level", "Switch in Off", "Panel cabin", "Panel mill"):
        assert name.lower() in digest.long.lower()


def test_who_was_told_by_a_digest_gets_the_stand_down() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).rise("in-off", MEDIUM)
    bench.run_to("2026-03-07 08:00").fall("in-off")
    assert bench.told()[-1] == ("07 08:00", "anna", "stand-down", "in-off")


def test_what_is_over_by_the_morning_is_told_all_the_same() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM)
    bench.run_to("2026-03-07 04:00").fall("low-level").run_to("2026-03-07 08:00")
    assert bench.told() == [("07 07:00", "anna", "digest", "low-level")]
    for time in ("03:00", "04:00"):
        assert time in bench.made[0].long


def test_what_was_raised_again_in_the_night_is_told_once_as_it_now_is() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM)
    bench.run_to("2026-03-07 04:00").fall("low-level").run_to("2026-03-07 05:00")
    bench.rise("low-level", MEDIUM).run_to("2026-03-07 08:00")
    assert bench.told() == [("07 07:00", "anna", "raised", "low-level")]


def test_what_waited_and_was_put_aside_meanwhile_is_recorded_and_not_told() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM)
    bench.run_to("2026-03-07 04:00").fall("low-level")
    mark = Mark("ben", Stamp(0, 0, True), bench.up + 9 * HOUR, bench.wall, "pump is out")
    bench.change("low-level", shelved=mark, morning=None).run_to("2026-03-07 08:00")
    assert bench.told() == []
    assert len(bench.why("not told")) == 1


def test_what_is_due_within_a_minute_goes_into_the_same_message() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).rise("in-off", MEDIUM)
    later = next(iter(bench.alarm("in-off").held.values())) + 59 * 1_000_000_000
    bench.change("in-off", held={"anna": later}).run_to("2026-03-07 08:00")
    assert [kind for _, _, kind, _ in bench.told()] == ["digest"]


def test_nothing_is_looked_for_while_nothing_is_due() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM)
    draft = Draft(bench.plan, bench.state, Now("boot", bench.up, bench.wall + bench.up, True))
    assert callout.release(draft) == ()
    draft.put_live(CABIN, Live(due=bench.up))
    assert callout.release(draft) == ()
    assert draft.effects == []


# Returned, and nobody answered


def test_trade_1_36_a_return_that_nobody_answered_is_a_low_item_of_the_next_working_morning() -> (
    None
):
    bench = Bench(plan("ben"), "2026-03-05 02:04").rise("high-level", HIGH)
    bench.run_to("2026-03-05 02:31").fall("high-level").run_to("2026-03-05 09:00")
    assert bench.told() == [
        ("05 02:04", "anna", "raised", "high-level"),
        ("05 02:19", "anna", "raised", "high-level"),
        ("05 02:31", "anna", "stand-down", "high-level"),
        ("05 08:00", "ben", "reminder", "high-level"),
    ]
    item = bench.made[-1]
    assert item.priority is LOW
    assert item.occurrence == bench.alarm("high-level").occurrence
    for words in ("high level", "02:04", "02:31"):
        assert words in item.long.lower()


def test_trade_1_36_it_is_said_on_three_working_mornings_at_most_until_somebody_answers() -> None:
    bench = Bench(plan(), "2026-03-06 02:04").rise("high-level", HIGH).fall("high-level")
    bench.run_to("2026-03-20 12:00")
    mornings = [at for at, _, kind, _ in bench.told() if kind == "reminder"]
    assert mornings == ["06 08:00", "09 08:00", "10 08:00"]
    assert bench.why("nobody answered") == [(None, "told on 3 mornings")]
    assert bench.alarm("high-level").process.value == "RTNUN"


@pytest.mark.parametrize("act", Act, ids=str)
def test_trade_1_36_whoever_answers_ends_it(act: Act) -> None:
    bench = Bench(plan(), "2026-03-06 02:04").rise("high-level", HIGH).fall("high-level")
    bench.run_to("2026-03-06 08:30").ack("high-level", "ben", act).run_to("2026-03-20 12:00")
    assert [at for at, _, kind, _ in bench.told() if kind == "reminder"] == ["06 08:00"]
    assert bench.alarm("high-level").process.value == "NORM"


def test_trade_1_36_what_is_raised_again_is_called_for_and_no_longer_a_morning_item() -> None:
    bench = Bench(plan(), "2026-03-06 02:04").rise("high-level", HIGH).fall("high-level")
    bench.run_to("2026-03-06 07:50").rise("high-level", HIGH).ack("high-level", "ben")
    bench.run_to("2026-03-06 08:30")
    assert [kind for _, _, kind, _ in bench.told()].count("reminder") == 0


def test_trade_1_36_a_latched_alarm_that_nobody_answered_is_one_too() -> None:
    bench = Bench(plan(), "2026-03-06 02:04").rise("high-level", HIGH)
    bench.fall("high-level", Happening.RETURNED_LATCHED).run_to("2026-03-06 08:30")
    assert bench.told()[-1] == ("06 08:00", "anna", "reminder", "high-level")
    bench.ack("high-level", "ben").run_to("2026-03-12 12:00")
    assert bench.told()[-1][0] == "06 08:00"


def test_an_answer_lets_go_what_waits_for_who_answered_alone() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).fall("low-level")
    bench.ack("low-level", "anna").run_to("2026-03-09 12:00")
    assert bench.told() == []
    assert bench.why("not told") == [("anna", "has answered it")]


def test_who_waited_hears_once_of_what_another_has_answered_after_its_end_and_who_did() -> None:
    bench = Bench(plan(), "2026-03-07 03:00").rise("low-level", MEDIUM).fall("low-level")
    bench.ack("low-level", "ben").run_to("2026-03-12 12:00")
    assert [(at, who) for at, who, *_ in bench.told()] == [("07 07:00", "anna")]
    (notice,) = bench.made
    assert "Answered by Ben." in notice.long
    assert "Nobody answered" not in notice.long


def test_who_waited_for_what_is_over_hears_of_it_once_that_morning() -> None:
    bench = Bench(plan(), "2026-03-05 23:00").rise("low-level", MEDIUM).fall("low-level")
    bench.run_to("2026-03-09 12:00")
    assert [at for at, *_ in bench.told()] == ["06 07:00", "09 08:00"]


def test_who_waited_is_told_beside_whoever_hears_of_the_unanswered() -> None:
    bench = Bench(plan("ben"), "2026-03-05 23:00").rise("low-level", MEDIUM).fall("low-level")
    bench.run_to("2026-03-06 12:00")
    assert bench.told() == [
        ("06 07:00", "anna", "digest", "low-level"),
        ("06 08:00", "ben", "reminder", "low-level"),
    ]


def test_held_and_unanswered_at_the_same_moment_is_one_item() -> None:
    bench = Bench(plan(), "2026-03-05 20:00").rise("seal-leak", LOW).fall("seal-leak")
    bench.run_to("2026-03-06 12:00")
    assert bench.told() == [("06 08:00", "anna", "digest", "seal-leak")]


def test_a_list_without_anybody_tells_the_first_person_of_the_plan() -> None:
    base = plan("ben")
    gone = replace(base, people={name: each for name, each in base.people.items() if name != "ben"})
    bench = Bench(gone, "2026-03-05 02:04").rise("high-level", HIGH).fall("high-level")
    bench.run_to("2026-03-05 12:00")
    assert bench.told()[-1] == ("05 08:00", "anna", "reminder", "high-level")


# Through the whole machine


def test_an_error_while_a_digest_is_made_is_told_and_what_was_held_is_not_lost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = World(cabin_plan())
    world.wall_offset = utc("2026-03-07 03:00") - world.up
    world.start()
    world.give(JournalJudged(True, "slow"))
    world.give(PlanJudged(True, "line 3"))
    real, calls = texts.digest, []

    def broken(*about: object) -> texts.Text:
        calls.append(about)
        if len(calls) == 1:
            raise ZeroDivisionError("a fault that was put in")
        return real(*about)  # type: ignore[arg-type]

    monkeypatch.setattr(texts, "digest", broken)
    world.run_to(utc("2026-03-07 06:59") - world.wall_offset)
    assert world.notices() == []
    world.run_to(utc("2026-03-07 07:02") - world.wall_offset)
    assert [each.body["what"] for each in world.records("fault in relayd")] == [
        "ZeroDivisionError: a fault that was put in"
    ]
    told = [
        (each.made.wall, each.kind, each.person, each.condition or "several")
        for each in world.notices()
    ]
    assert told == [
        (utc("2026-03-07 07:00"), NoticeKind.DIGEST, "ben", "several"),
        (utc("2026-03-07 07:00"), NoticeKind.RAISED, "anna", "fault-in-relayd"),
        (utc("2026-03-07 07:01"), NoticeKind.DIGEST, "anna", "several"),
    ]
    fault = world.notices(NoticeKind.RAISED)[0]
    assert "a message to anna: ZeroDivisionError: a fault that was put in" in fault.long


def test_an_error_that_stays_stops_no_other_person_s_message_and_does_not_spin(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = World(cabin_plan())
    world.wall_offset = utc("2026-03-07 03:00") - world.up
    world.start()
    world.give(JournalJudged(True, "slow"))
    world.give(PlanJudged(True, "line 3"))
    real = texts.digest

    def broken(*about: object) -> texts.Text:
        if "anna" in about:
            raise ZeroDivisionError("a fault that was put in")
        return real(*about)  # type: ignore[arg-type]

    monkeypatch.setattr(texts, "digest", broken)
    world.run_to(utc("2026-03-07 07:10") - world.wall_offset)
    assert 10 <= len(world.records("fault in relayd")) <= 11  # once a minute
    assert {each.person for each in world.notices(NoticeKind.DIGEST)} == {"ben"}
    calls = [each.person for each in world.notices(NoticeKind.RAISED)]
    assert calls == ["anna", "anna", "ben"]  # the fault's own call list goes on
    assert {each.condition for each in world.notices(NoticeKind.RAISED)} == {"fault-in-relayd"}
