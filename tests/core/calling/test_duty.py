"""Whom a name on a call list means: on-call schedules, people away, and who stands in for them."""

from dataclasses import replace

import pytest

from relayd.core.calling import duty
from relayd.core.draft import UNIT, Draft
from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, OnCall, Plan, Turn
from relayd.core.refusal import Refused
from relayd.core.state import Away, Stamp, State
from tests.core.build import plan_of
from tests.core.dst_table import utc

FIRST, SECOND_TURN = utc("2026-03-02 12:00"), utc("2026-03-09 12:00")
NOW = Now("boot", HOUR, utc("2026-03-05 10:00"), True)


def plan() -> Plan:
    """Ben, then Carla, on one schedule."""
    turns = (Turn(FIRST, "ben"), Turn(SECOND_TURN, "carla"))
    return plan_of(on_call={"duty": OnCall("duty", turns)})


def gone(**stand_ins: str) -> dict[str, Away]:
    """These people are away for a day, with who stands in."""
    stamp = Stamp(0, 0, True)
    until = NOW.up + DAY
    return {name: Away(name, stamp, until, NOW.wall + DAY, who) for name, who in stand_ins.items()}


@pytest.mark.parametrize(
    ("wall", "trusted", "who"),
    [
        (FIRST - 1, True, ("ben", "carla")),
        (FIRST, True, ("ben",)),
        (SECOND_TURN - 1, True, ("ben",)),
        (SECOND_TURN, True, ("carla",)),
        (SECOND_TURN + 400 * DAY, True, ("carla",)),
        (SECOND_TURN, False, ("ben", "carla")),
    ],
    ids=["before the first turn", "first", "until the second", "second", "the last", "no clock"],
)
def test_on_call_is_whoever_s_turn_began_last_and_everybody_where_nobody_knows(
    wall: int, trusted: bool, who: tuple[str, ...]
) -> None:
    now = replace(NOW, wall=wall, trusted=trusted)
    assert duty.persons(plan(), {}, ("duty",), now) == who
    assert duty.on_duty(plan(), {}, "duty", now) == who[0]


@pytest.mark.parametrize(
    ("away", "names", "who"),
    [
        ({}, ("anna", "duty", "ben"), ("anna", "ben")),
        ({"anna": "carla"}, ("anna",), ("carla",)),
        ({"anna": "ben", "ben": "carla"}, ("anna",), ("carla",)),
        ({"ben": "anna"}, ("duty", "anna"), ("anna",)),
        ({"anna": ""}, ("anna",), ()),
        ({"anna": "ben", "ben": "anna"}, ("anna",), ()),
        ({"anna": "eve"}, ("anna",), ()),
        ({}, ("eve",), ()),
    ],
    ids=[
        "each once",
        "stand-in",
        "stand-in of the stand-in",
        "on call and away",
        "nobody",
        "a circle",
        "unknown",
        "no such name",
    ],
)
def test_who_is_away_is_replaced_all_the_way(
    away: dict[str, str], names: tuple[str, ...], who: tuple[str, ...]
) -> None:
    assert duty.persons(plan(), gone(**away), names, NOW) == who


def test_nobody_on_duty_is_an_empty_name() -> None:
    assert duty.on_duty(plan(), gone(anna=""), "anna", NOW) == ""


def test_everybody_is_everybody_away_or_not_each_once() -> None:
    assert duty.everybody(plan(), ("anna", "duty", "ben")) == ("anna", "ben", "carla")


def test_away_ends_by_time_without_anybody_saying_so() -> None:
    then = replace(NOW, up=NOW.up + DAY)
    assert duty.is_away(gone(anna=""), "anna", NOW)
    assert not duty.is_away(gone(anna=""), "anna", then)


# Going away, and coming back


def draft() -> Draft:
    """A step's workbench."""
    return Draft(plan(), State("e1"), NOW)


def records(bench: Draft) -> list[str]:
    """Kinds of what was recorded."""
    return [each.kind for each in bench.effects if isinstance(each, Record)]


def test_going_away_is_kept_by_the_unit_and_recorded() -> None:
    bench = draft()
    assert duty.go_away(bench, "anna", NOW.up + 90 * DAY, "ben", "carla") is None
    away = bench.subject(UNIT).away["anna"]
    assert (away.stand_in, away.by, away.until_wall) == ("ben", "carla", NOW.wall + 90 * DAY)
    assert records(bench) == ["away"]
    assert duty.due(bench, UNIT) == NOW.up + 90 * DAY


@pytest.mark.parametrize(
    ("person", "until", "stand_in", "code"),
    [
        ("eve", DAY, "", "unknown-person"),
        ("", DAY, "", "unknown-person"),
        ("anna", DAY, "eve", "unknown-person"),
        ("anna", DAY, "anna", "bad-stand-in"),
        ("anna", DAY, "carla", "bad-stand-in"),
        ("anna", 0, "ben", "bad-time"),
        ("anna", 90 * DAY + 1, "ben", "bad-time"),
    ],
    ids=["unknown", "no name", "unknown stand-in", "himself", "away himself", "over", "too long"],
)
def test_going_away_is_refused_and_changes_nothing(
    person: str, until: int, stand_in: str, code: str
) -> None:
    bench = draft()
    duty.go_away(bench, "carla", NOW.up + DAY, "", "carla")
    before = bench.subject(UNIT)
    refused = duty.go_away(bench, person, NOW.up + until, stand_in, "ben")
    assert isinstance(refused, Refused)
    assert refused.code == code
    assert refused.say
    assert bench.subject(UNIT) == before


def test_coming_back_is_recorded_and_refused_where_nobody_was_away() -> None:
    bench = draft()
    duty.go_away(bench, "anna", NOW.up + DAY, "", "anna")
    assert duty.come_back(bench, "anna", "ben") is None
    assert bench.subject(UNIT).away == {}
    refused = duty.come_back(bench, "anna", "ben")
    assert refused is not None
    assert refused.code == "not-away"
    assert records(bench) == ["away", "back"]


def test_who_was_away_until_now_is_back_and_that_is_recorded() -> None:
    bench = draft()
    bench.put(replace(bench.subject(UNIT), away=gone(anna="ben", carla="")))
    duty.expire(bench, UNIT)
    assert [*bench.subject(UNIT).away] == ["anna", "carla"]
    bench.now = replace(NOW, up=NOW.up + DAY)
    duty.expire(bench, UNIT)
    assert bench.subject(UNIT).away == {}
    assert records(bench) == ["back", "back"]
    assert duty.due(bench, UNIT) is None
