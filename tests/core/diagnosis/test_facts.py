"""Stage nought: references, the two throws of a contact, contacts that chatter; and what follows from them."""

import pytest

from relayd.core.diagnosis.facts import facts
from relayd.core.diagnosis.level import CIRCUIT_DEAD, SAYS
from relayd.core.diagnosis.site import seen
from relayd.core.plan import SECOND, Follows, Input, Means, Position, Priority
from relayd.core.state import Fact
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

LEVEL, ALARM = contact(Means.HIGH_LEVEL), contact(Means.ALARM_POWER)
WETTING = contact(Means.WETTING_SUPPLY, panel="unit")
LOOP = contact(Means.CABLE_LOOP)
OTHER_THROW = contact(
    Means.HIGH_LEVEL, name="high-level-nc", in_alarm=Position.OPEN, throw_of=LEVEL.id
)


def world(*inputs: Input, unit: tuple[Input, ...] = (), **changes: object) -> World:
    return World(plan_of(panel("cabin", *inputs, **changes), inputs=unit)).start().run(20)


def told(it: World, spec: Input) -> Fact:
    site = seen(it.plan, it.state.live)
    inputs = it.state.live["panel:cabin"].inputs
    return facts(it.plan.panels["cabin"], inputs, site)[spec.id].fact


REFERENCES = [pytest.param(WETTING, "unit", id="wetting supply")]
REFERENCES += [pytest.param(LOOP, "panel:cabin", id="cable loop")]


def around(reference: Input) -> World:
    unit, own = ((reference,), ()) if reference.panel == "unit" else ((), (reference,))
    return world(LEVEL, ALARM, *own, unit=unit)


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_trade_1_5_a_lost_reference_makes_every_fact_unknown_and_is_one_alarm(
    reference: Input, subject: str
) -> None:
    it = around(reference)
    it.alarm(reference.id)
    assert {told(it, LEVEL), told(it, ALARM)} == {Fact.UNKNOWN}
    it.alarm(ALARM.id)
    it.run(600)
    alarm = it.open_alarm("blind", subject)
    assert (alarm.row, alarm.process.value) == ("S0", "UNACK")
    # Everything that opened with it is not concluded from.
    assert it.process("alarm-power") == "NORM"


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_trade_1_5_an_alarm_that_stood_is_held_while_the_unit_is_blind(
    reference: Input, subject: str
) -> None:
    it = around(reference)
    it.alarm(LEVEL.id)
    it.run(30)
    it.alarm(reference.id)
    it.alarm(LEVEL.id, False)
    it.run(3600)
    assert it.process("high-level") == "UNACK"
    assert it.open_alarm().row == "L1"


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_a_reference_is_good_again_after_a_whole_second(reference: Input, subject: str) -> None:
    it = around(reference)
    it.alarm(reference.id)
    it.run(5)
    it.alarm(reference.id, False)
    it.run(0.9)
    assert told(it, LEVEL) is Fact.UNKNOWN
    it.run(0.2)
    assert told(it, LEVEL) is Fact.NORMAL
    assert it.process("blind", subject) == "NORM"


@pytest.mark.parametrize("good", [0.3, 4.0])
@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_a_reference_that_flickers_is_raised_and_starves_no_alarm(
    reference: Input, subject: str, good: float
) -> None:
    it = around(reference)
    it.alarm(LEVEL.id)
    for _ in range(60):
        it.run(good)
        it.alarm(reference.id)
        it.run(0.2)
        it.alarm(reference.id, False)
    raised = {name for name in ("blind", "unsettled") if it.process(name, subject) == "UNACK"}
    assert raised
    if good > 1:
        assert it.process("high-level") == "UNACK"


def flicker(it: World, reference: Input, away: float, good: float, times: int = 20) -> World:
    for _ in range(times):
        it.alarm(reference.id)
        it.run(away)
        it.alarm(reference.id, False)
        it.run(good)
    return it


SLOW = [(0.02, 25), (5, 20), (20, 20), (20, 5), (1, 200), (29, 1.5), (25, 250)]


@pytest.mark.parametrize(("away", "good"), SLOW)
@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_trade_1_5_a_reference_that_comes_and_goes_slowly_is_blind_and_starves_no_alarm(
    reference: Input, subject: str, away: float, good: float
) -> None:
    it = around(reference)
    it.alarm(LEVEL.id)
    flicker(it, reference, away, good, times=30)
    alarm = it.open_alarm("blind", subject)
    assert (alarm.process.value, alarm.row, alarm.detail) == ("UNACK", "S1", reference.id)
    assert "comes and goes" in SAYS["S1"]
    assert it.process("high-level") == "UNACK"


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_two_losses_or_three_in_more_than_ten_minutes_are_no_alarm(
    reference: Input, subject: str
) -> None:
    assert flicker(around(reference), reference, 5, 120, 2).process("blind", subject) == "NORM"
    assert flicker(around(reference), reference, 5, 305, 6).process("blind", subject) == "NORM"


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_contacts_of_a_reference_that_bounce_within_a_second_are_one_loss(
    reference: Input, subject: str
) -> None:
    it = flicker(around(reference), reference, 0.1, 0.5, 4).run(120)
    assert it.process("blind", subject) == "NORM"


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_a_reference_that_came_and_went_is_over_ten_minutes_later_and_one_that_stays_away_is_lost(
    reference: Input, subject: str
) -> None:
    it = flicker(around(reference), reference, 5, 60, 4)
    assert it.open_alarm("blind", subject).row == "S1"
    it.alarm(reference.id)
    it.run(59)
    assert it.open_alarm("blind", subject).row == "S1"
    it.run(2)
    assert it.open_alarm("blind", subject).row == "S0"
    it.alarm(reference.id, False)
    it.run(2)
    assert it.open_alarm("blind", subject).row == "S1"
    it.run(600)
    assert it.process("blind", subject) == "RTNUN"


@pytest.mark.parametrize(("closed", "row"), [(False, "W1"), (True, "W2")], ids=["cut", "short"])
def test_trade_1_9_two_throws_alike_for_a_second_are_a_wiring_fault(closed: bool, row: str) -> None:
    it = world(LEVEL, OTHER_THROW, ALARM)
    it.move(OTHER_THROW.id if not closed else LEVEL.id, closed)
    it.run(0.9)
    assert told(it, LEVEL) is not Fact.UNKNOWN
    it.run(0.3)
    assert told(it, LEVEL) is Fact.UNKNOWN
    it.run(60)
    alarm = it.open_alarm("wiring-fault")
    assert (alarm.row, alarm.process.value) == (row, "UNACK")
    assert LEVEL.id in alarm.detail
    # A short was last seen as high: it is taken as high, and the wiring is told beside it.
    assert it.process("high-level") == ("UNACK" if closed else "NORM")


def test_trade_1_9_a_relay_in_flight_is_no_fault() -> None:
    it = world(LEVEL, OTHER_THROW, ALARM)
    it.move(OTHER_THROW.id, False)
    it.run(0.02)
    it.move(LEVEL.id, True)
    it.run(60)
    assert (it.process("high-level"), it.process("wiring-fault")) == ("UNACK", "NORM")


def test_l12_a_cut_wire_holds_the_last_high_level() -> None:
    it = world(LEVEL, OTHER_THROW, ALARM)
    it.move(OTHER_THROW.id, False)
    it.move(LEVEL.id, True)
    it.run(30)
    it.move(LEVEL.id, False)
    it.run(600)
    assert (it.process("high-level"), it.row) == ("UNACK", "L12")


def test_trade_1_4_a_chattering_level_contact_is_medium_and_after_a_minute_high() -> None:
    it = world(LEVEL, ALARM)
    for _ in range(6):
        it.alarm(LEVEL.id)
        it.run(0.02)
        it.alarm(LEVEL.id, False)
        it.run(0.2)
    alarm = it.open_alarm("unsettled")
    assert (alarm.row, alarm.priority, alarm.detail) == ("U1", Priority.MEDIUM, LEVEL.id)
    assert SAYS["U1"].endswith("treat as high level until somebody has looked.")
    for _ in range(300):
        it.alarm(LEVEL.id)
        it.run(0.02)
        it.alarm(LEVEL.id, False)
        it.run(0.2)
    assert it.open_alarm("unsettled").priority is Priority.HIGH


def test_seven_slow_turns_in_a_minute_are_unsettled_and_an_exempt_contact_never_is() -> None:
    flasher = contact(Means.OTHER, name="lamp", exempt=True)
    it = world(LEVEL, ALARM, flasher)
    for spec, state in ((flasher, "NORM"), (LEVEL, "UNACK")):
        for _ in range(4):
            it.alarm(spec.id)
            it.run(4)
            it.alarm(spec.id, False)
            it.run(4)
        assert it.process("unsettled") == state


@pytest.mark.slow
def test_a_site_s_own_priority_is_that_of_its_chatter_too() -> None:
    hatch = contact(Means.OTHER, name="hatch", priority=Priority.HIGH)
    it = world(LEVEL, ALARM, hatch)
    for _ in range(200):
        it.alarm(hatch.id)
        it.run(0.1)
        it.alarm(hatch.id, False)
        it.run(0.1)
    assert (it.open_alarm("unsettled").row, it.open_alarm("unsettled").priority) == (
        "U0",
        Priority.MEDIUM,
    )
    for _ in range(200):
        it.alarm(hatch.id)
        it.run(0.1)
        it.alarm(hatch.id, False)
        it.run(0.1)
    assert it.open_alarm("unsettled").priority is Priority.HIGH


@pytest.mark.parametrize(("reference", "subject"), REFERENCES)
def test_trade_1_5_a_contact_that_came_back_with_its_reference_did_not_move(
    reference: Input, subject: str
) -> None:
    opens = contact(Means.HIGH_LEVEL, in_alarm=Position.OPEN)
    unit, own = ((reference,), ()) if subject == "unit" else ((), (reference,))
    it = world(opens, ALARM, *own, unit=unit)
    for lost in (True, False):
        for name in (reference.id, opens.id, ALARM.id):
            it.alarm(name, lost)
        it.run(60 if lost else 1.1)
    # Its release hold would keep it in alarm for two seconds more.
    assert told(it, opens) is Fact.NORMAL
    it.run(120)
    assert it.process("high-level") == "NORM"


@pytest.mark.slow
def test_trade_1_4_a_supply_sensed_by_half_waves_reads_on_and_its_loss_is_told_in_time() -> None:
    # 45 percent of a 60 Hz cycle, as the loader sets a pulsing input: 5 ms, and 200 ms of hold.
    pulsing = contact(Means.ALARM_POWER, exempt=True, close_time=5_000_000, open_time=200_000_000)
    it = world(LEVEL, pulsing)
    for _ in range(300):
        it.alarm(pulsing.id)
        it.run(0.00917)
        it.alarm(pulsing.id, False)
        it.run(0.0075)
        assert told(it, pulsing) is Fact.NORMAL
    assert it.process("unsettled") == "NORM"
    it.alarm(pulsing.id)
    it.run(0.195)
    assert told(it, pulsing) is Fact.NORMAL
    it.run(0.055)
    assert told(it, pulsing) is Fact.ALARM
    it.run(60)
    assert it.process("alarm-power") == "UNACK"


def test_trade_1_37_a_level_alarm_is_suppressed_while_its_circuit_is_dead_unless_it_stood() -> None:
    it = world(LEVEL, ALARM)
    it.alarm(ALARM.id)
    it.run(100)
    assert it.open_alarm().suppressed == CIRCUIT_DEAD
    it.alarm(ALARM.id, False)
    it.run(100)
    it.alarm(LEVEL.id)
    it.run(30)
    it.alarm(ALARM.id)
    it.run(100)
    alarm = it.open_alarm()
    assert (alarm.suppressed, alarm.row, alarm.process.value) == ("", "L5", "UNACK")
    assert alarm.call is not None
    assert alarm.call.stopped is None


def test_trade_1_6_l13_a_common_alarm_is_never_called_high_level() -> None:
    common = contact(Means.COMMON_ALARM, carries=(Means.HIGH_LEVEL, Means.AIR_SUPPLY))
    it = world(common, ALARM)
    it.alarm(common.id)
    it.run(30)
    assert (it.open_alarm("common-alarm").row, it.process("high-level")) == ("L13", "NORM")
    it.alarm(common.id, False)
    it.run(100)
    assert it.process("common-alarm") == "RTNUN"


def test_trade_1_26_high_high_level_has_a_belief_of_its_own() -> None:
    upper = contact(Means.HIGH_HIGH_LEVEL, follows=Follows.HORN)
    it = world(LEVEL, upper, ALARM)
    it.alarm(upper.id)
    it.run(5)
    assert it.process("high-high-level") == "UNACK"
    it.alarm(upper.id, False)
    it.run(600)
    owner = it.state.subjects["panel:cabin"]
    assert (owner.beliefs["high-high-level"].row, owner.belief.row) == ("L3", "L2")
    assert it.process("high-high-level") == "UNACK"


@pytest.mark.parametrize("runs", [False, True], ids=["no run", "run"])
def test_l16_a_return_without_a_pump_run_is_said(runs: bool) -> None:
    running = contact(Means.PUMP_RUNNING)
    it = world(LEVEL, ALARM, running)
    it.alarm(LEVEL.id)
    it.run(30)
    if runs:
        it.alarm(running.id)
        it.run(30)
        it.alarm(running.id, False)
    it.alarm(LEVEL.id, False)
    it.run(70)
    alarm = it.open_alarm()
    assert alarm.process.value == "RTNUN"
    assert ("L16" in alarm.notes) is not runs
    assert (it.process("pump-not-seen") == "UNACK") is not runs


@pytest.mark.parametrize("means", [Means.LOW_LEVEL, Means.PHASE_FAULT, Means.TANK_LID, Means.OTHER])
def test_a_contact_that_is_a_condition_by_itself_comes_and_goes(means: Means) -> None:
    spec = contact(means, name="some")
    it = world(spec)
    name = "other-some" if means is Means.OTHER else means.value
    it.alarm(spec.id)
    it.run(40)
    assert it.process(name) == "UNACK"
    it.alarm(spec.id, False)
    it.run(70)
    assert it.process(name) == "RTNUN"
    assert it.up > 100 * SECOND
