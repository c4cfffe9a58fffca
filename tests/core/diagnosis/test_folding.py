"""One running event instead of several alarms, and nothing that gets silent by it, in any order."""

import pytest
from hypothesis import given, settings, strategies as st

from relayd.core import conditions as c
from relayd.core.diagnosis.pump_rows import said
from relayd.core.events import Acknowledge, Act, InputFound, InputLost, Looked, Shelve
from relayd.core.findings import FOLDED, TOLD_WITH_LEVEL, TOLD_WITH_SITE
from relayd.core.plan import HOUR, MINUTE, SECOND, Means
from relayd.core.state import NoticeKind, outside_id
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

LEVEL, CIRCUIT = contact(Means.HIGH_LEVEL), contact(Means.ALARM_POWER)
CALLED, RUNNING = contact(Means.PUMP_CALLED), contact(Means.PUMP_RUNNING)
SPEC = (LEVEL, CIRCUIT, CALLED, RUNNING)
R3, R4 = (c.NO_CURRENT, said("R3")), (c.NOT_FALLING, "the water is not below the alarm float")
ANNA, BEN = "anna", "ben"


def cabin() -> World:
    return World(plan_of(panel("cabin", *SPEC))).start().run(10)


def chattering() -> World:
    """High level stands, and its contact has come and gone for a while."""
    at = cabin()
    at.alarm(LEVEL.id)
    at.run(30)
    for on in (False, True) * 20:
        at.alarm(LEVEL.id, on)
        at.run(2)
    return at


def shelve(at: World, condition: str) -> None:
    at.ask(Shelve("cabin", condition, within=HOUR, why="a test"))


def texts(at: World, person: str, words: str) -> list[str]:
    """What that person was told of alarms that stand, as far as it holds these words."""
    kinds = (NoticeKind.RAISED, NoticeKind.UPDATE)
    notices = (each for kind in kinds for each in at.notices(kind))
    return [each.long for each in notices if each.person == person and words in each.long]


def test_a_pump_that_takes_no_current_beside_a_high_level_is_news_of_the_high_level() -> None:
    at = cabin()
    at.alarm(LEVEL.id)
    at.run(30)
    at.alarm(CALLED.id)
    at.run(90)
    assert at.open_alarm(c.NO_CURRENT).suppressed == TOLD_WITH_LEVEL
    assert [each.condition for each in at.notices(NoticeKind.RAISED)] == [c.HIGH_LEVEL]
    (news,) = at.notices(NoticeKind.UPDATE)
    assert news.short.startswith("News, pump takes no current: high level")
    assert said("R3") in news.long


def test_what_was_told_before_the_high_level_stays_an_alarm_where_others_were_told_of_it() -> None:
    at = cabin()
    at.alarm(CALLED.id)
    at.run(9 * 60)
    assert {each.person for each in at.notices(NoticeKind.RAISED)} == {ANNA, BEN}
    at.alarm(LEVEL.id)
    at.run(60)
    # Ben was called for the pump within two hours, so he hears of the water with the first step.
    assert at.open_alarm().told == (ANNA, BEN)
    assert at.open_alarm(c.NO_CURRENT).suppressed == TOLD_WITH_LEVEL


def test_what_is_still_there_when_the_high_level_is_put_aside_is_told_at_once() -> None:
    at = cabin()
    at.alarm(LEVEL.id)
    at.alarm(CALLED.id)
    at.run(60)
    assert at.open_alarm(c.NO_CURRENT).suppressed in FOLDED
    number = outside_id(at.plan.unit, at.state, at.open_alarm().occurrence)
    at.ask(Acknowledge(number, act=Act.SEEN), ANNA)
    shelve(at, "high-level")
    before = at.up
    at.run(5)
    assert at.open_alarm(c.NO_CURRENT).suppressed == ""
    told = [each for each in at.notices(NoticeKind.RAISED) if each.made.up >= before]
    assert [(each.condition, each.person) for each in told][:1] == [(c.NO_CURRENT, ANNA)]


def test_a_pump_that_did_not_get_the_level_down_is_no_news_when_the_level_is_down() -> None:
    at = cabin()
    for each in (LEVEL, CALLED, RUNNING):
        at.alarm(each.id)
    at.run(700)
    assert at.open_alarm(c.NOT_FALLING).suppressed == TOLD_WITH_LEVEL
    before = len(at.notices())
    at.alarm(LEVEL.id, False)
    at.run(600)
    over = at.notices()[before:]
    assert {each.condition for each in over} == {c.HIGH_LEVEL}
    assert {each.kind for each in over} == {NoticeKind.STAND_DOWN}
    assert all("does not fall" not in each.long for each in over)


def test_who_took_the_high_level_has_taken_what_it_tells_and_hears_of_one_end() -> None:
    at = cabin()
    at.alarm(LEVEL.id)
    at.alarm(CALLED.id)
    at.run(60)
    at.ack(BEN, Act.TAKEN)
    at.alarm(CALLED.id, False)
    at.alarm(LEVEL.id, False)
    at.run(600)
    ends = at.notices(NoticeKind.STAND_DOWN)
    assert sorted((each.condition, each.person) for each in ends) == [
        (c.HIGH_LEVEL, ANNA),
        (c.HIGH_LEVEL, BEN),
    ]


def test_a_panel_s_supply_that_flaps_with_the_site_s_is_told_with_it() -> None:
    feed = contact(Means.UNIT_POWER, panel="unit")
    at = World(plan_of(panel("cabin", LEVEL, CIRCUIT), inputs=(feed,))).start().run(10)
    for _ in range(3):
        for lost in (True, False):
            for each in (feed, CIRCUIT):
                at.alarm(each.id, lost)
            at.run(4)
    at.run(20)
    assert at.open_alarm(c.UNSTABLE_SUPPLY).suppressed == TOLD_WITH_SITE
    raised = at.notices(NoticeKind.RAISED)
    assert [(each.condition, each.subject) for each in raised] == [(c.UNSTABLE_SUPPLY, "unit")]
    assert "It reaches panels too, as named" in raised[0].long


def test_a_chattering_level_contact_is_news_of_its_own_high_level() -> None:
    at = chattering()
    at.run(90)
    assert at.open_alarm(c.UNSETTLED).suppressed == TOLD_WITH_LEVEL
    assert [each.condition for each in at.notices(NoticeKind.RAISED)] == [c.HIGH_LEVEL] * 2
    news = at.notices(NoticeKind.UPDATE)[0]
    assert news.short.startswith("News, contact chatters: high level")


def test_a_contact_that_chattered_is_believed_back_after_ten_quiet_minutes() -> None:
    at = chattering()
    at.alarm(RUNNING.id)
    at.alarm(LEVEL.id, False)
    at.run(9 * 60)
    assert (at.process("high-level"), at.row) == ("UNACK", "L17")
    at.run(60 + 59)
    assert at.process("high-level") == "UNACK"
    at.run(10)
    assert at.process("high-level") == "RTNUN"


def test_a_contact_that_chattered_is_not_believed_back_while_no_pump_has_run() -> None:
    at = chattering()
    at.alarm(LEVEL.id, False)
    at.run(3600)
    assert (at.process("high-level"), at.row) == ("UNACK", "L18")
    at.alarm(RUNNING.id)
    at.run(70)
    assert at.process("high-level") == "RTNUN"


def test_a_chattering_contact_that_somebody_has_looked_at_is_believed_at_once() -> None:
    at = chattering()
    at.alarm(LEVEL.id, False)
    at.run(30)
    at.ask(Looked("cabin", True), BEN)
    at.run(120)
    assert at.process("high-level") in ("RTNUN", "NORM")


PATIENCE = {
    "nothing is known": ({}, 0, 10 * MINUTE),
    "declared": ({"pump_down": 8 * MINUTE}, 0, 16 * MINUTE),
    "declared short": ({"pump_down": 2 * MINUTE}, 0, 10 * MINUTE),
    "nine runs are too few": ({}, 9, 10 * MINUTE),
    "ten runs teach": ({}, 10, 24 * MINUTE),
    "what is declared wins": ({"pump_down": 6 * MINUTE}, 10, 12 * MINUTE),
    "half of the reserve at most": ({"reserve": 30 * MINUTE}, 10, 15 * MINUTE),
    "a short reserve leaves less than ten minutes": ({"reserve": 12 * MINUTE}, 0, 6 * MINUTE),
}


@pytest.mark.parametrize(("declared", "runs", "wait"), PATIENCE.values(), ids=PATIENCE)
def test_how_long_a_pump_may_run_beside_a_high_level(
    declared: dict[str, int], runs: int, wait: int
) -> None:
    at = World(plan_of(panel("cabin", *SPEC, **declared))).start().run(10)
    for _ in range(runs):
        for on in (True, False):
            at.alarm(CALLED.id, on)
            at.alarm(RUNNING.id, on)
            at.run(12 * 60)
    for each in (CALLED, RUNNING):
        at.alarm(each.id)
    at.alarm(LEVEL.id)
    at.run((wait / SECOND) + 9)
    assert at.process(c.NOT_FALLING) == "NORM"
    at.run(3)
    assert at.process(c.NOT_FALLING) == "UNACK"
    assert at.state.subjects["panel:cabin"].pumps[1].tally.starts == runs + 1


def test_a_run_whose_start_was_not_seen_teaches_nothing_of_how_long_a_run_lasts() -> None:
    """A run that lasts through a limit's watch counts from where it was last seen to begin anew."""
    at = cabin()
    for on in (True, False):
        at.alarm(RUNNING.id, on)
        at.run(60)
    known = at.state.subjects["panel:cabin"].pumps[1]
    assert known.runs == (60 * SECOND,)
    at.alarm(RUNNING.id)
    at.run(60)
    at.give(InputLost(RUNNING.id, "the chip is gone"))
    at.run(60)
    at.give(InputFound(RUNNING.id, True, at.up))
    at.run(60)
    at.alarm(RUNNING.id, False)
    at.run(60)
    after = at.state.subjects["panel:cabin"].pumps[1]
    assert after.running is None
    assert after.ended is not None
    assert after.runs == known.runs


def test_the_alarms_of_a_day_are_counted_for_the_unit() -> None:
    at = cabin()
    for _ in range(3):
        at.alarm(LEVEL.id)
        at.run(60)
        at.alarm(LEVEL.id, False)
        at.run(3600)
    count = len(at.records("raised"))
    assert len(at.state.subjects["unit"].day) == count
    at.run(25 * 3600)
    at.alarm(LEVEL.id)
    at.run(60)
    assert len(at.state.subjects["unit"].day) < count


DEEDS = st.one_of(
    st.tuples(
        st.just("move"), st.sampled_from([each.id for each in SPEC[:1] + SPEC[2:]]), st.booleans()
    ),
    st.tuples(st.just("ack"), st.sampled_from([ANNA, BEN]), st.just(False)),
    st.tuples(st.just("shelve"), st.sampled_from(["high-level", c.NO_CURRENT]), st.just(False)),
)
WAITS = st.sampled_from([0.5, 5, 15, 70, 300, 700, 4000])


@pytest.mark.untraced
@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(DEEDS, WAITS), min_size=1, max_size=12))
def test_whatever_stands_is_told_to_everybody_in_whatever_order_it_came(
    story: list[tuple[tuple[str, str, bool], float]],
) -> None:
    at = cabin()
    for (what, name, on), wait in story:
        if what == "move":
            at.alarm(name, on)
        elif what == "shelve":
            shelve(at, name)
        elif any(
            each.process == "UNACK" for each in at.state.subjects["panel:cabin"].alarms.values()
        ):
            at.ack(name)
        at.run(wait)
    # Marks have run out by then, who has only seen it is called again, and every list is through.
    at.run(26 * 3600)
    for condition, words in (R3, R4):
        alarm = at.state.subjects["panel:cabin"].alarms.get(condition)
        if alarm is not None and alarm.process in ("UNACK", "ACKED"):
            for person in (ANNA, BEN):
                assert texts(at, person, words), (condition, person, alarm)
