"""The three marks: shelved, suppressed by design, out of service; in every order, against an oracle.

Names are ISA-18.2's; what happens when the last mark goes is the site's choice there (Sources 1.2,
value from memory) and Design 6's here. Limits of shelving: Trade 1.38, common practice, no source.
"""

from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings, strategies as st

from relayd.core.draft import Draft
from relayd.core.events import Act, AtPanel, OutOfService, Stage
from relayd.core.life import limits, marks
from relayd.core.plan import HOUR, MINUTE, Plan, Priority
from relayd.core.state import Alarm, Mark, NoticeKind, SendState, Stamp, State, Subject
from tests.core.by_hand import (
    CABIN,
    act,
    put_back,
    shelve,
    shown,
    suppress,
    take_out,
    unshelve,
)
from tests.core.world import (
    LEVEL,
    PUMP,
    World,
    circuit_input,
    high,
    level_input,
    plan,
    pump_input,
)

H = 3600
MARK = Mark("ben", Stamp(0, 0, True), 10, 10)


def quiet_world(**changes: object) -> World:
    return World(plan(level_input(), circuit_input(), pump_input(), **changes)).start().run(10)


def medium_pump() -> Plan:
    """The pump's power is medium here, by the site's own word."""
    return plan(level_input(), replace(pump_input(), priority=Priority.MEDIUM))


def seen() -> World:
    """High level, told to Anna, seen by her."""
    world = high()
    world.ack("anna", Act.SEEN)
    return world


# What is shown


@pytest.mark.parametrize(
    ("alarm", "panel_out", "state"),
    [
        ({}, None, "NORM"),
        ({"suppressed": "outage"}, None, "DSUPR"),
        ({"suppressed": "outage", "shelved": MARK}, None, "SHLVD"),
        ({"suppressed": "outage", "shelved": MARK, "out": MARK}, None, "OOSRV"),
        ({"shelved": MARK}, MARK, "OOSRV"),
        ({}, MARK, "OOSRV"),
    ],
    ids=["none", "suppressed", "shelved wins", "out wins", "the panel's wins", "the panel's alone"],
)
def test_the_gravest_mark_is_shown(
    alarm: dict[str, object], panel_out: Mark | None, state: str
) -> None:
    made = Alarm("high-level", Priority.HIGH, **alarm)  # type: ignore[arg-type]
    owner = Subject(CABIN, out=panel_out)
    assert marks.shown(made, owner) == state
    assert bool(marks.quiet(made, owner)) == (state != "NORM")


# Refusals


@pytest.mark.parametrize(
    ("condition", "hours", "by", "code"),
    [
        ("high-level", 4, "ben", ""),
        ("high-level", 4.01, "ben", "too-long"),
        ("high-level", 1, "anna", "not-allowed"),
        ("high-level", 1, "nobody", "not-allowed"),
        ("high-level", 0, "ben", "bad-time"),
        ("pump-power", 24, "anna", ""),
        ("pump-power", 24.01, "anna", "too-long"),
        ("no-such-thing", 1, "ben", "unknown-condition"),
    ],
)
def test_trade_1_38_who_may_shelve_what_for_how_long(
    condition: str, hours: float, by: str, code: str
) -> None:
    world = World(medium_pump()).start().run(10)
    assert shelve(world, condition, hours * H, by) == code
    assert shown(world, condition) == ("NORM" if code else "SHLVD")


def test_trade_1_38_a_high_level_that_nobody_has_seen_is_not_put_aside() -> None:
    world = high()
    assert shelve(world, "high-level", 60) == "unseen"
    assert take_out(world, "high-level", 60) == "unseen"
    assert take_out(world, "", 60) == "unseen"
    world.ack("anna", Act.SEEN)
    assert shelve(world, "high-level", 60) == ""


@pytest.mark.parametrize(
    ("stood", "hours", "code"),
    [(None, 2, ""), (None, 2.01, "beyond-reserve"), (1, 0.9, ""), (1, 1.1, "beyond-reserve")],
    ids=["from now", "too long", "from the alarm", "too long for what is left"],
)
def test_trade_1_38_never_beyond_the_declared_reserve(
    stood: float | None, hours: float, code: str
) -> None:
    world = quiet_world(reserve=2 * HOUR)
    if stood is not None:
        world.alarm(LEVEL)
        world.run(11)
        world.ack("ben", Act.TAKEN, within=5 * HOUR)
        world.run(stood * H)
        world.ack("ben", Act.SEEN)
    assert shelve(world, "high-level", hours * H) == code


def test_trade_1_38_a_reserve_that_is_used_up_leaves_nothing_to_shelve() -> None:
    world = quiet_world(reserve=HOUR)
    world.alarm(LEVEL)
    world.run(2 * H)
    world.ack("ben", Act.SEEN)
    assert shelve(world, "high-level", 1) == "beyond-reserve"


def test_a_night_s_lesser_priority_shelves_no_longer_than_the_day_s() -> None:
    world = quiet_world()
    world.wall_offset += (8 + 16) * HOUR  # WALL is 08:00 UTC; whatever it is, try every hour
    codes = set()
    for _ in range(24):
        world.run(H)
        codes.add(shelve(world, "input-lost", 5 * H))
    assert codes == {"too-long"}


@pytest.mark.parametrize(("days", "code"), [(30, ""), (30.01, "too-long"), (0, "bad-time")])
@pytest.mark.parametrize("what", ["high-level", ""], ids=["an alarm", "the panel"])
def test_out_of_service_needs_an_end_within_thirty_days(what: str, days: float, code: str) -> None:
    assert take_out(quiet_world(), what, days * 24 * H, "anna") == code


def test_what_can_not_be_taken_out_or_put_back_is_said() -> None:
    world = quiet_world()
    assert take_out(world, "no-such-thing", 60) == "unknown-condition"
    assert put_back(world, "") == "not-out"
    assert put_back(world, "high-level") == "not-out"
    assert unshelve(world, "high-level") == "not-shelved"
    assert take_out(world, "", 60) == ""
    assert put_back(world, "high-level") == "panel-out"
    shelve(world, "high-level", 60)
    assert put_back(world, "") == ""
    assert unshelve(world, "high-level") == ""
    assert unshelve(world, "high-level") == "not-shelved"


def test_the_unit_s_and_a_channel_s_alarms_can_be_put_aside() -> None:
    world = quiet_world()
    until = world.up + HOUR
    for subject, condition in (("unit", "mqtt-down"), ("channel:anna.mail", "channel-failing")):

        def do(draft: Draft, about: tuple[str, str] = (subject, condition)) -> object:
            return marks.shelve(draft, *about, "anna", until, "")

        assert act(world, do, subject) == ""  # type: ignore[arg-type]
    assert world.open_alarm("mqtt-down", "unit").shelved is not None


# While a mark stands


@pytest.mark.parametrize("how", [shelve, take_out], ids=["shelved", "out of service"])
def test_nobody_is_told_of_what_is_raised_beneath_a_mark(how: object) -> None:
    world = quiet_world()
    how(world, "high-level", 3 * H)  # type: ignore[operator]
    world.alarm(LEVEL)
    world.run(2 * H)
    assert world.process("high-level") == "UNACK"
    assert shown(world) in ("SHLVD", "OOSRV")
    assert world.told() == []
    assert world.records("raised")[-1].body["not_told"]


def test_a_whole_panel_out_of_service_is_quiet() -> None:
    world = quiet_world()
    assert take_out(world, "", 3 * H, why="new basin") == ""
    world.alarm(LEVEL)
    world.alarm(PUMP)
    world.run(2 * H)
    assert world.told() == []
    assert {shown(world, each) for each in ("high-level", "pump-power", "seal-leak")} == {"OOSRV"}
    assert world.records("out of service")[-1].body == {
        "condition": "",
        "by": "ben",
        "until": world.state.subjects[CABIN].out.until_wall,  # type: ignore[union-attr]
        "why": "new basin",
    }


@pytest.mark.parametrize("how", [shelve, take_out], ids=["shelved", "out of service"])
def test_those_told_before_hear_of_the_mark_once_and_nothing_else(how: object) -> None:
    world = seen()
    began = world.up
    how(world, "high-level", 3 * H)  # type: ignore[operator]
    assert [each.person for each in world.notices(NoticeKind.UPDATE)] == ["anna"]
    take_out(world, "", 2 * H)
    world.run(1.9 * H)
    assert {who for _, who, _ in world.told(began)} == {"anna"}
    assert len(world.notices(NoticeKind.UPDATE)) == 1


def test_what_was_owed_of_it_is_withdrawn_with_the_reason() -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    world.ack("ben", Act.SEEN)
    shelve(world, "high-level", H)
    first = world.notices(NoticeKind.RAISED)[0]
    assert first.sends[0].state in (SendState.LEAVING, SendState.WITHDRAWN)
    assert first.sends[0].detail == "paused by ben"


def test_a_re_alarm_waits_for_the_end_of_the_mark() -> None:
    world = seen()
    shelve(world, "high-level", 3 * H)
    world.run(2.9 * H)
    assert (world.process("high-level"), len(world.records("re-alarmed"))) == ("ACKED", 0)
    world.run(0.2 * H)
    assert len(world.records("re-alarmed")) == 1
    assert world.process("high-level") == "UNACK"


# When the last mark goes


def test_a_shelf_ends_by_itself_and_what_is_there_is_told_as_new() -> None:
    world = quiet_world()
    shelve(world, "high-level", 2 * H)
    world.alarm(LEVEL)
    world.run(H)
    first = world.open_alarm().occurrence
    world.run(H + 1)
    assert shown(world) == "UNACK"
    assert world.open_alarm().occurrence > first
    assert world.told()[0][1] == "anna"
    assert world.records("shelving ended")[-1].body["why"] == "its time is over"


def test_what_somebody_had_acknowledged_stays_so_and_calls_again_in_its_time() -> None:
    world = seen()
    before = world.open_alarm().occurrence
    shelve(world, "high-level", 600)
    world.run(601)
    assert (shown(world), world.open_alarm().occurrence) == ("ACKED", before)
    assert world.open_alarm().realarm is not None


def test_an_acknowledged_alarm_without_a_time_of_its_own_is_given_one() -> None:
    world = seen()
    alarm = replace(world.open_alarm(), realarm=None, shelved=MARK)
    owner = world.state.subjects[CABIN]
    changed = replace(owner, alarms={**owner.alarms, "high-level": alarm})
    world.state = replace(world.state, subjects={**world.state.subjects, CABIN: changed})
    unshelve(world, "high-level")
    assert world.open_alarm().realarm is not None


@pytest.mark.parametrize("acked", [False, True], ids=["unseen", "seen"])
def test_what_went_beneath_the_mark_is_over_and_said_to_those_told(acked: bool) -> None:
    world = seen()
    if not acked:
        world.run(H + 60)  # it has called again
        assert world.process("high-level") == "UNACK"
        world.ack("anna", Act.SEEN)
    shelve(world, "high-level", 2 * H)
    world.alarm(LEVEL, False)
    world.run(H)
    assert world.notices(NoticeKind.STAND_DOWN) == []
    unshelve(world, "high-level")
    assert shown(world) == "NORM"
    assert {each.person for each in world.notices(NoticeKind.STAND_DOWN)} >= {"anna"}
    assert world.open_alarm().told == ()


def test_a_return_that_nobody_saw_beneath_the_mark_is_over_when_the_mark_goes() -> None:
    world = quiet_world()
    shelve(world, "high-level", 2 * H)
    world.alarm(LEVEL)
    world.run(60)
    world.alarm(LEVEL, False)
    world.run(120)
    assert world.process("high-level") == "RTNUN"
    unshelve(world, "high-level")
    assert shown(world) == "NORM"
    assert world.notices() == []


def test_what_comes_and_goes_beneath_the_mark_is_one_occurrence_for_those_told() -> None:
    world = seen()
    before = world.open_alarm().occurrence
    shelve(world, "high-level", 2 * H)
    for on in (False, True, False):
        world.alarm(LEVEL, on)
        world.run(120)
    assert world.open_alarm().occurrence == before
    unshelve(world, "high-level")
    assert [each.person for each in world.notices(NoticeKind.STAND_DOWN)] == ["anna"]


def test_an_alarm_that_was_over_before_the_mark_is_not_said_to_be_over_again() -> None:
    world = seen()
    world.alarm(LEVEL, False)
    world.run(120)
    told = len(world.notices())
    shelve(world, "high-level", 600)
    world.run(700)
    assert len(world.notices()) == told


def test_a_mark_on_what_was_never_raised_leaves_nothing_behind() -> None:
    world = quiet_world()
    shelve(world, "high-level", 600)
    take_out(world, "high-level", 1200)
    assert world.open_alarm().occurrence == 0
    world.run(900)
    assert shown(world) == "OOSRV"
    world.run(600)
    assert "high-level" not in world.state.subjects[CABIN].alarms
    assert world.records("in service")[-1].body["why"] == "its time is over"


def test_a_panel_returns_to_service_by_itself() -> None:
    world = quiet_world()
    take_out(world, "", H)
    world.alarm(LEVEL)
    world.run(H + 5)
    assert world.state.subjects[CABIN].out is None
    assert world.told()[0][1] == "anna"


# Suppressed by design


def test_trade_1_37_an_alarm_about_water_that_stands_is_not_suppressed() -> None:
    world = high()
    suppress(world, "high-level", "the alarm circuit is dead")
    assert (shown(world), world.open_alarm().suppressed) == ("UNACK", "")
    world.run(200)
    assert len(world.notices(NoticeKind.RAISED)) == 2


def test_trade_1_37_one_that_was_not_active_is_suppressed_until_its_reason_goes() -> None:
    world = quiet_world()
    draft = Draft(world.plan, world.state, world.now())
    for why in ("an outage", "another outage"):
        marks.suppress(draft, CABIN, "pump-power", why)
    owner = draft.subject(CABIN)
    assert marks.shown(owner.alarms["pump-power"], owner) == "DSUPR"
    assert marks.quiet(owner.alarms["pump-power"], owner).endswith("another outage")
    marks.suppress(draft, CABIN, "pump-power", "")
    assert "pump-power" not in draft.subject(CABIN).alarms


def test_an_alarm_that_stands_falls_silent_when_it_is_explained_and_is_told_when_it_is_not() -> (
    None
):
    world = quiet_world()
    world.alarm(PUMP)
    world.run(70)
    draft = Draft(world.plan, world.state, world.now())
    before = draft.alarm(CABIN, "pump-power").occurrence
    marks.suppress(draft, CABIN, "pump-power", "an outage")
    assert marks.shown(draft.alarm(CABIN, "pump-power"), draft.subject(CABIN)) == "DSUPR"
    marks.suppress(draft, CABIN, "pump-power", "")
    assert draft.alarm(CABIN, "pump-power").occurrence > before


# Every order, against an oracle


@dataclass
class Oracle:
    """What Design 6 says of one alarm, in as few words as there are."""

    process: str = "NORM"
    shelf: float | None = None
    out: float | None = None
    panel: float | None = None

    @property
    def shown(self) -> str:
        if self.out is not None or self.panel is not None:
            return "OOSRV"
        return "SHLVD" if self.shelf is not None else self.process

    def marked(self) -> bool:
        return any(each is not None for each in (self.shelf, self.out, self.panel))

    def released(self) -> None:
        if not self.marked():
            abnormal = self.process in ("UNACK", "ACKED")
            self.process = self.process if abnormal else "NORM"

    def at(self, time: float) -> None:
        """End what is over, in the order of time."""
        for name in sorted(
            (each for each in ("shelf", "out", "panel") if getattr(self, each) is not None),
            key=lambda each: float(getattr(self, each)),
        ):
            if getattr(self, name) <= time:
                setattr(self, name, None)
                self.released()


STEPS = st.one_of(
    st.tuples(st.sampled_from(["shelve", "out", "panel"]), st.sampled_from([30, 100, 400])),
    st.tuples(st.sampled_from(["unshelve", "in", "panel in"]), st.just(0)),
    st.tuples(st.sampled_from(["raise", "return", "ack"]), st.just(0)),
    st.tuples(st.just("wait"), st.sampled_from([7, 45, 170])),
)


def _set(world: World, oracle: Oracle, name: str, length: int) -> None:
    unseen = oracle.process == "UNACK"
    how, field = {
        "shelve": (shelve, "shelf"),
        "out": (take_out, "out"),
        "panel": (take_out, "panel"),
    }[name]
    what = "" if name == "panel" else "high-level"
    code = how(world, what, length)
    assert code == ("unseen" if unseen else "")
    if not unseen:
        setattr(oracle, field, world.up / 1e9 + length)


def _end(world: World, oracle: Oracle, name: str) -> None:
    field = {"unshelve": "shelf", "in": "out", "panel in": "panel"}[name]
    code = (
        unshelve(world, "high-level")
        if name == "unshelve"
        else put_back(world, "" if name == "panel in" else "high-level")
    )
    assert (code == "") == (getattr(oracle, field) is not None)
    if not code:
        setattr(oracle, field, None)
        oracle.released()


def _move(world: World, oracle: Oracle, name: str) -> None:
    """A contact that moves and settles, or a person who answers."""
    if name == "ack":
        world.ack("ben", Act.TAKEN, within=20 * HOUR)
        oracle.process = {"UNACK": "ACKED", "RTNUN": "NORM"}.get(oracle.process, oracle.process)
        return
    world.alarm(LEVEL, name == "raise")
    world.run(0.1)
    oracle.at(world.up / 1e9)
    if name == "raise" and oracle.process in ("NORM", "RTNUN"):
        oracle.process = "UNACK"
    if name == "return":
        oracle.process = {"UNACK": "RTNUN", "ACKED": "NORM"}.get(oracle.process, oracle.process)


@pytest.mark.untraced
@settings(max_examples=300, deadline=None)
@given(st.lists(STEPS, max_size=14))
def test_marks_in_every_order_of_setting_and_ending(steps: list[tuple[str, int]]) -> None:
    level = level_input(on_delay=0, off_delay=0, release_hold=0)
    world, oracle = World(plan(level, circuit_input())).start().run(90), Oracle()
    for name, length in steps:
        if name in ("shelve", "out", "panel"):
            _set(world, oracle, name, length)
        elif name in ("unshelve", "in", "panel in"):
            _end(world, oracle, name)
        elif name == "wait":
            world.run(length)
            oracle.at(world.up / 1e9)
        else:
            _move(world, oracle, name)
        assert (shown(world), world.process("high-level")) == (oracle.shown, oracle.process)
        if not oracle.marked() and oracle.process == "UNACK":
            assert world.open_alarm().call.due is not None  # type: ignore[union-attr]


def test_refusals_change_nothing_and_say_what_to_do() -> None:
    draft = Draft(plan(), State("k3f9ab"), quiet_world().now())
    refused = limits.no_shelf(draft, CABIN, "no-such-thing", "ben", draft.now.up + 1)
    assert refused is not None
    assert "high-level" in refused.say
    refused = marks.shelve(draft, CABIN, "high-level", "ben", draft.now.up + 5 * HOUR, "")
    assert refused is not None
    assert "4 h" in refused.say
    assert draft.effects == []


def test_a_mark_that_ends_during_a_visit_tells_the_visitor() -> None:
    world = World(plan()).start().run(90)
    world.ask(OutOfService("cabin", within=MINUTE))
    world.alarm(LEVEL)
    world.run(20)
    assert world.ask(AtPanel("cabin", Stage.BEGIN)).ok
    assert world.notices(NoticeKind.RAISED) == []
    world.run(45)
    assert [each.person for each in world.notices(NoticeKind.RAISED)] == ["ben"]
