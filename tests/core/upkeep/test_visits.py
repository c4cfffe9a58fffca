"""Visits (Trade 8.1, 2.7): who is told meanwhile, what is asked at the end, how it ends by itself."""

import pytest

from relayd.core.events import Act, AtPanel, HornWire, Stage, Wire
from relayd.core.plan import HOUR, MINUTE, SECOND, Means
from relayd.core.state import HornStanding, NoticeKind
from tests.core.at_panel import (
    DOOR,
    DRIVEN,
    HEARD,
    LEVEL,
    OFF,
    A,
    S,
    V,
    World,
    arrive,
    ends,
    horn_of,
    leave,
    move,
    owner,
    raised,
    settle,
    sounds,
    standing,
    stay,
    visit_of,
    wire,
    world,
)


def code(refused: object) -> str:
    """The refusal's code; '' where it was done."""
    return getattr(refused, "code", "")


def told(at: World, kind: NoticeKind, since: int = 0) -> list[str]:
    """The persons of those notices, in their order."""
    return [each.person for each in at.notices(kind) if each.made.up >= since]


# Begin, extend, and what is refused


def test_trade_8_1_a_visit_begins_and_ends_where_all_is_as_it_was() -> None:
    at = world(A)
    assert arrive(at) is None
    assert not at.notices(NoticeKind.VISIT), "nothing to say"
    assert leave(at) is None
    assert visit_of(at) is None
    assert not ends(at)


@pytest.mark.parametrize(("length", "why"), [(0, "bad-time"), (12 * HOUR + 1, "too-long")])
def test_trade_8_1_a_visit_lasts_at_most_twelve_hours(length: int, why: str) -> None:
    at = world(A)
    assert code(arrive(at, length=length)) == why
    assert visit_of(at) is None
    arrive(at)
    assert code(stay(at, length=length)) == why


def test_a_second_visitor_is_refused_and_told_who_is_there() -> None:
    at = world(A)
    arrive(at)
    refused = arrive(at, by="carla")
    assert refused is not None
    assert (refused.code, "Ben" in refused.say) == ("somebody-is-there", True)
    assert "extend" in getattr(arrive(at), "say", "")
    assert code(leave(at, by="carla")) == "not-yours"
    assert code(stay(at, by="carla")) == "not-yours"
    assert leave(at) is None
    assert arrive(at, by="carla") is None


def test_without_a_visit_there_is_nothing_to_end() -> None:
    at = world(A)
    assert code(leave(at)) == "no-visit"
    assert code(stay(at)) == "no-visit"


def test_trade_2_7_the_visitor_gets_the_open_loose_ends_first() -> None:
    at = world(A)
    wire(at, Wire.OFF, by="anna")
    at.run(3600)
    arrive(at)
    assert told(at, NoticeKind.VISIT) == ["ben"]
    assert at.tells()[-1].channel.startswith("ben")
    assert "The horn's wire hangs loose inside the panel" in at.notices()[-1].long


# While it runs


def test_trade_8_1_alarms_of_the_panel_go_to_the_visitor_only() -> None:
    at = world(A, Means.IN_OFF)
    arrive(at, length=4 * HOUR)
    raised(at, "in-off", OFF).run(2 * 3600)
    assert at.process("in-off") == "UNACK"
    assert set(told(at, NoticeKind.RAISED)) == {"ben"}


def test_trade_8_1_high_level_is_the_visitors_for_half_an_hour_then_everybodys() -> None:
    at = world()
    arrive(at)
    at.alarm(LEVEL)
    at.run(60)
    raised = at.open_alarm().raised
    assert raised is not None
    at.run_to(raised.up + 30 * MINUTE - SECOND)
    assert set(told(at, NoticeKind.RAISED)) == {"ben"}
    at.run_to(raised.up + 31 * MINUTE)
    assert "anna" in told(at, NoticeKind.RAISED)


def test_trade_8_1_high_level_beyond_half_of_a_short_reserve_is_everybodys() -> None:
    at = world(reserve=20 * MINUTE)
    arrive(at)
    at.alarm(LEVEL)
    at.run(11 * 60)
    assert "anna" in told(at, NoticeKind.RAISED)


def test_trade_8_1_what_is_still_active_at_the_end_calls_the_ordinary_list_at_once() -> None:
    at = world()
    arrive(at)
    at.alarm(LEVEL)
    at.run(300)
    left = at.up
    assert leave(at) is None
    assert told(at, NoticeKind.RAISED, left) == ["anna"]


def test_what_the_visitor_has_taken_stays_taken() -> None:
    at = world()
    arrive(at)
    at.alarm(LEVEL)
    at.run(60)
    at.ack("ben", Act.TAKEN, within=HOUR)
    left = at.up
    leave(at)
    assert not told(at, NoticeKind.RAISED, left)


@pytest.mark.parametrize("taken", [True, False], ids=["taken by the visitor", "not taken"])
def test_news_of_what_the_visitor_is_at_goes_to_the_visitor_alone(taken: bool) -> None:
    at = world(A, Means.IN_OFF)
    at.alarm(LEVEL)
    at.run(60)
    assert told(at, NoticeKind.RAISED) == ["anna"]
    arrive(at, length=4 * HOUR)
    at.run(60)
    if taken:
        at.ack("ben", Act.TAKEN, within=4 * HOUR)
        at.run(2 * 3600)
    at.alarm(OFF)
    at.run(120)
    assert set(told(at, NoticeKind.UPDATE)) == {"ben"}


# The end is asked for


def test_trade_8_1_the_end_lists_what_is_not_as_it_was_and_what_to_say() -> None:
    at = world(A, Means.IN_OFF, Means.PANEL_DOOR)
    arrive(at)
    move(at, (OFF, DOOR)).run(60)
    refused = leave(at)
    assert refused is not None
    assert refused.code == "not-as-it-was"
    for word in ("in-off", "back to Auto", "panel-door", "close it", "--left", "--why"):
        assert word in refused.say
    assert visit_of(at) is not None


def test_trade_8_1_what_is_named_stays_as_a_loose_end_with_the_visitors_name() -> None:
    at = world(A, Means.IN_OFF)
    arrive(at)
    at.alarm(OFF)
    at.run(60)
    assert code(leave(at, "in-off")) == "no-reason"
    assert leave(at, "in-off", "floats-tied-up", why="pump is out for repair") is None
    assert {key: end.by for key, end in ends(at).items()} == {
        "in-off": "ben",
        "floats-tied-up": "ben",
    }
    assert told(at, NoticeKind.VISIT) == ["carla"], "who looks after it hears what was left"
    at.run(600)
    assert "in-off" in ends(at), "still in Off, though its alarm is not raised yet"


def test_trade_5_a_visit_that_opened_the_panel_leaves_the_horn_unproved_until_it_is_tested() -> (
    None
):
    at = sounds(world(A, V, S, Means.PANEL_DOOR), DRIVEN, HEARD)
    move(at, (LEVEL, DRIVEN, HEARD), on=False).run(600)
    arrive(at)
    at.alarm(DOOR)
    at.run(30)
    assert standing(at) is HornStanding.NOT_KNOWN
    assert "opened" in horn_of(at).why
    at.alarm(DOOR, False)
    at.run(30)
    refused = leave(at)
    assert refused is not None
    assert "press Test" in refused.say
    move(at, (DRIVEN, HEARD)).run(20)
    move(at, (DRIVEN, HEARD), on=False).run(20)
    assert leave(at) is None


def test_without_a_sound_input_the_visitors_word_proves_the_horn() -> None:
    at = world(A)
    arrive(at)
    wire(at, Wire.OFF)
    at.run(10)
    wire(at, Wire.BACK)
    assert "horn-unproved" in getattr(leave(at), "say", "")
    assert settle(at, "horn-unproved") is None
    assert (standing(at), horn_of(at).by) == (HornStanding.PROVED, "ben")
    assert leave(at) is None


# It ends by itself


def test_trade_8_1_a_visit_warns_before_its_end_then_ends_by_itself_and_says_so() -> None:
    at = world(A, Means.IN_OFF)
    arrive(at)
    at.alarm(OFF)
    at.run(105 * 60 - 1)
    assert not at.notices(NoticeKind.VISIT)
    at.run(2)
    assert told(at, NoticeKind.VISIT) == ["ben"]
    at.run(15 * 60)
    assert told(at, NoticeKind.VISIT) == ["ben", "ben", "carla"]
    assert visit_of(at) is None
    assert "in-off" in ends(at)
    assert at.records("visit ended")[0].body["person"] == ""


def test_a_visit_that_is_extended_ends_later_and_warns_again() -> None:
    at = world(A)
    arrive(at, length=HOUR)
    at.run(50 * 60)
    assert stay(at, length=2 * HOUR) is None
    at.run(100 * 60)
    assert told(at, NoticeKind.VISIT) == ["ben"]
    at.run(6 * 60)
    assert told(at, NoticeKind.VISIT) == ["ben", "ben"]


def test_a_short_visit_needs_no_warning() -> None:
    at = world(A)
    arrive(at, length=10 * MINUTE)
    at.run(11 * 60)
    assert told(at, NoticeKind.VISIT) == ["ben", "carla"]
    assert owner(at).visit is None


def test_a_visitor_who_left_the_plan_is_not_told() -> None:
    at = world(A)
    arrive(at, by="dora", length=10 * MINUTE)
    assert "dora" in getattr(arrive(at), "say", "")
    at.run(11 * 60)
    assert told(at, NoticeKind.VISIT) == ["carla"]


def test_who_was_called_hears_that_somebody_is_there() -> None:
    at = world()
    at.alarm(LEVEL)
    at.run(30)
    arrive(at, by="ben")
    visits = at.notices(NoticeKind.VISIT)
    assert [each.person for each in visits] == ["anna"]
    assert "Ben is at the panel until" in visits[0].long


def test_a_visitor_who_may_not_leave_yet_no_longer_keeps_its_alarms_from_the_others() -> None:
    at = world(A, Means.IN_OFF)
    arrive(at, length=4 * HOUR)
    raised(at, "in-off", OFF).run(3600)
    assert set(told(at, NoticeKind.RAISED)) == {"ben"}
    assert code(leave(at)) == "not-as-it-was"
    assert "anna" in told(at, NoticeKind.RAISED), "in the same step, not when something else is due"
    assert len(at.records("visitor leaves")) == 1
    assert code(leave(at)) == "not-as-it-was"
    assert len(at.records("visitor leaves")) == 1
    since = at.up
    at.alarm(LEVEL)
    at.run(30)
    assert told(at, NoticeKind.RAISED, since)[0] == "anna", "the call list's first step"


def test_a_visitor_who_stays_after_all_is_there_again() -> None:
    at = world(A, Means.IN_OFF)
    arrive(at, length=4 * HOUR)
    raised(at, "in-off", OFF).run(3600)
    leave(at)
    assert stay(at, length=2 * HOUR) is None
    since = at.up
    at.alarm(LEVEL)
    at.run(30)
    level = [each for each in at.notices(NoticeKind.RAISED) if each.condition == "high-level"]
    assert [each.person for each in level if each.made.up >= since] == ["ben"]


def test_another_visitor_ends_a_visit_whose_visitor_wanted_to_leave() -> None:
    at = world(A, Means.IN_OFF)
    arrive(at, length=4 * HOUR)
    raised(at, "in-off", OFF).run(3600)
    leave(at)
    assert arrive(at, by="carla") is None
    visit = visit_of(at)
    assert visit is not None
    assert visit.person == "carla"
    assert "in-off" in ends(at)


def test_whoever_asks_to_leave_and_may_not_yet_has_the_others_called_in_the_same_step() -> None:
    at = world(A)
    at.ask(HornWire("cabin", Wire.OFF, "a guest"), "anna")
    at.run(100)
    at.alarm(LEVEL)
    at.run(30)
    at.ask(AtPanel("cabin", Stage.BEGIN), "ben")
    at.run(17)
    since = at.up
    answer = at.ask(AtPanel("cabin", Stage.END), "ben")
    assert answer.code == "not-as-it-was"
    calls = [each for each in at.notices(NoticeKind.RAISED) if each.made.up >= since]
    assert [each.condition for each in calls] == ["high-level"], "not when something else is due"
