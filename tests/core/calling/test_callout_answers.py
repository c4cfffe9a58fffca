"""Answers: who took it without having been told, and who looked."""

from dataclasses import replace

import pytest

from relayd.core.calling import callout
from relayd.core.draft import Draft
from relayd.core.events import Act
from relayd.core.plan import MINUTE, CallList, Priority, Step
from relayd.core.saying.sentences import GONE
from tests.core.build import panel, plan_of
from tests.core.call_bench import CABIN, Bench
from tests.core.dst_table import ZONES
from tests.core.world import high

HIGH, MEDIUM = Priority.HIGH, Priority.MEDIUM


def bench(at: str = "2026-03-03 10:00") -> Bench:
    """Anna first, Ben after eight minutes."""
    steps = (Step(0, ("anna",)), Step(8 * MINUTE, ("ben",)))
    return Bench(
        plan_of(
            panel("cabin"),
            zone="Europe/Vienna",
            offsets=ZONES["Europe/Vienna"],
            call_lists={"night": CallList("night", steps)},
        ),
        at,
    )


def test_who_takes_it_without_having_been_told_gets_the_stand_down_too() -> None:
    there = bench().rise("high-level", HIGH).ack("high-level", "ben")
    there.run_to("2026-03-03 10:30").fall("high-level")
    assert there.told()[1:] == [
        ("03 10:00", "anna", "taken", "high-level"),
        ("03 10:30", "anna", "stand-down", "high-level"),
        ("03 10:30", "ben", "stand-down", "high-level"),
    ]


def test_who_only_saw_it_and_was_never_told_is_not_stood_down() -> None:
    there = bench().rise("high-level", HIGH).ack("high-level", "ben", Act.SEEN).fall("high-level")
    assert [who for _, who, kind, _ in there.told() if kind == "stand-down"] == ["anna"]


def test_trade_1_34_seen_lets_the_list_go_on_and_taken_stops_it() -> None:
    there = bench().rise("high-level", HIGH).ack("high-level", "anna", Act.SEEN)
    there.run_to("2026-03-03 10:09")
    assert there.calls() == [("03 10:00", "anna"), ("03 10:08", "ben")]
    there.ack("high-level", "ben").run_to("2026-03-03 11:20")
    assert len(there.calls()) == 2
    assert there.why("call list stopped") == [(None, "ben has it")]


@pytest.mark.parametrize("condition", ["high-level", "high-high-level", "common-alarm"])
def test_somebody_looked_and_it_is_high_is_told_to_those_already_told(condition: str) -> None:
    there = bench().rise(condition, HIGH).rise("pump-power", HIGH).run_to("2026-03-03 10:10")
    made = len(there.made)
    there.do(lambda draft: callout.looked_high(draft, CABIN, "ben"))
    assert there.told()[made:] == [("03 10:10", "anna", "update", condition)]
    assert "Ben has looked: it is high." in there.made[-1].long


def test_looked_at_night_a_site_s_medium_water_alarm_waits_too() -> None:
    there = bench("2026-03-06 21:50").rise("high-level", MEDIUM).run_to("2026-03-06 23:00")
    there.do(lambda draft: callout.looked_high(draft, CABIN, "ben"))
    assert set(there.alarm("high-level").held) == {"anna"}


def test_looked_after_it_was_over_tells_nobody() -> None:
    there = bench().rise("high-level", HIGH).fall("high-level")
    made = len(there.made)
    there.do(lambda draft: callout.looked_high(draft, CABIN, "ben"))
    assert len(there.made) == made


def test_what_is_no_longer_in_the_plan_is_said_at_once() -> None:
    there = bench("2026-03-06 21:50").rise("low-level", MEDIUM).run_to("2026-03-06 23:00")

    def withdrawn(draft: Draft) -> None:
        callout.returned(draft, CABIN, replace(draft.alarm(CABIN, "low-level"), row=GONE))

    there.do(withdrawn)
    assert ("06 23:00", "anna", "stand-down", "low-level") in there.told()


def test_who_answers_needs_no_older_message_any_more() -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    world.ack("ben", Act.SEEN)
    assert world.records("send withdrawn") == []
    world.ack("anna")
    assert [each.body["why"] for each in world.records("send withdrawn")] == ["acknowledged"]
