"""Trade section 1, the contact and its power (1.1 to 1.19), each item as the trade tells it, through the whole core.

Common practice, no source, but where a test names one. What the rows are in full is in test_belief_rows.py,
test_facts.py and test_power.py; here stands the story of each item.
"""

import pytest

from relayd.core.diagnosis import power
from relayd.core.diagnosis.belief import Dead, dead_side
from relayd.core.diagnosis.level import SAYS
from relayd.core.events import LevelRead, Looked
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    Follows,
    Kind,
    Means,
    Panel,
    Position,
    Priority,
    Unpowered,
)
from relayd.core.upkeep import horn_table
from tests.core.build import contact, panel, plan_of
from tests.core.world import (
    CIRCUIT,
    LEVEL,
    PUMP,
    World,
    circuit_input,
    level_input,
    plan,
    pump_input,
)

OPEN, CLOSED = Position.OPEN, Position.CLOSED


def cabin(*, wired: bool = True, **level: object) -> World:
    """A level contact with those properties, its circuit sensed or not, at rest for a minute."""
    spec = level_input(**level)
    return World(plan(*((spec, circuit_input()) if wired else (spec,)))).start().run(60)


def raised(it: World) -> World:
    it.alarm(LEVEL)
    it.run(30)
    assert it.process("high-level") == "UNACK"
    return it


# 1.1: the position in alarm is not the position without power


@pytest.mark.parametrize(
    ("in_alarm", "unpowered", "shows"),
    [
        pytest.param(OPEN, Unpowered.OPEN, True, id="fail-safe relay"),
        pytest.param(
            OPEN, Unpowered.CLOSED, False, id="NC throw of a relay that the alarm energises"
        ),
        pytest.param(
            CLOSED, Unpowered.OPEN, False, id="NO throw of a relay that the alarm energises"
        ),
        pytest.param(OPEN, Unpowered.UNKNOWN, False, id="nobody has tried"),
    ],
)
def test_trade_1_1_only_in_alarm_open_and_unpowered_open_shows_a_dead_circuit(
    in_alarm: Position, unpowered: Unpowered, shows: bool
) -> None:
    spec = level_input(in_alarm=in_alarm, unpowered=unpowered)
    assert (dead_side(spec) is Dead.ALARM_SIDE) is shows
    # The breaker is opened: a contact that drops moves, any other one stays at its normal side.
    it = cabin(wired=False, in_alarm=in_alarm, unpowered=unpowered)
    it.move(LEVEL, in_alarm is CLOSED if shows else in_alarm is OPEN)
    it.run(30)
    assert (it.process("high-level") == "UNACK") is shows


def test_trade_1_1_a_normal_nc_throw_with_a_dead_circuit_is_never_called_normal() -> None:
    it = cabin(in_alarm=OPEN, unpowered=Unpowered.CLOSED)
    it.alarm(CIRCUIT)
    it.run(100)
    alarm = it.open_alarm("alarm-power")
    assert (it.row, alarm.process.value) == ("L8", "UNACK")
    long = next(each.long for each in it.notices() if each.condition == "alarm-power")
    assert "Lamp, horn and alarm contact at the panel are dead." in long


# 1.2: the contact may follow the horn


@pytest.mark.parametrize("follows", [Follows.HORN, Follows.UNKNOWN])
def test_trade_1_2_silence_pressed_at_a_full_tank_sends_no_end_of_the_alarm(
    follows: Follows,
) -> None:
    it = raised(cabin(follows=follows))
    it.alarm(LEVEL, False)
    it.run(6 * 3600)
    assert (it.row, it.process("high-level")) == ("L3", "UNACK")
    assert not [title for _, _, title in it.told() if title.startswith("over")]
    assert it.ask(Looked("cabin", normal=True)).ok
    it.run(70)
    assert it.process("high-level") == "RTNUN"


def test_trade_1_2_without_an_alarm_power_input_a_tripped_breaker_is_no_return() -> None:
    # NO contact, alarm active, the breaker trips: relay drops, contact opens (L15).
    it = raised(cabin(wired=False))
    it.alarm(LEVEL, False)
    it.run(6 * 3600)
    assert (it.row, it.process("high-level")) == ("L15", "UNACK")


# 1.3: no flutter starves the on-delay


FLUTTER = [
    pytest.param(0.5, 0.5, id="a lamp that flashes at 1 Hz"),
    pytest.param(4, 1, id="a float that bobs, 4 s up and 1 s down"),
    pytest.param(9.5, 0.5, id="9.5 s of every 10 s"),
    *(
        pytest.param(
            period * duty,
            period * (1 - duty),
            id=f"{period} s, {duty:.0%}",
            marks=pytest.mark.slow if period < 3 else (),
        )
        for period in (0.05, 0.2, 0.4, 1, 3, 7, 20, 60, 120)
        for duty in (0.6, 0.75, 0.95)
    ),
]


@pytest.mark.untraced
@pytest.mark.parametrize("on_delay", [6, 10, 30])
@pytest.mark.parametrize(("up", "down"), FLUTTER)
def test_trade_1_3_what_is_in_alarm_for_more_than_half_of_the_time_is_raised_in_time(
    up: float, down: float, on_delay: int
) -> None:
    it = cabin(on_delay=on_delay * SECOND)
    begun, limit = it.up, max(2 * on_delay, 60) * SECOND
    while it.up - begun < limit:
        it.alarm(LEVEL)
        it.run(min(up, (begun + limit - it.up) / SECOND))
        it.alarm(LEVEL, False)
        it.run(down)
    told = it.state.subjects["panel:cabin"].alarms["high-level"].raised
    assert told is not None
    assert told.up - begun <= limit


def test_trade_1_3_the_release_hold_is_three_seconds_longer_than_any_flasher() -> None:
    assert level_input().release_hold == 3 * SECOND
    it = raised(cabin())
    it.alarm(LEVEL, False)
    it.run(2.9)
    assert it.row == "L1"
    it.run(0.3)
    assert it.row == "L2"


# 1.10: the window about the loss of the circuit


def test_trade_1_10_the_window_is_five_seconds_and_no_delay_is_below_it() -> None:
    made = panel("cabin")
    assert (made.window, made.settle_alarm) == (5 * SECOND, 10 * SECOND)
    assert level_input().on_delay > made.window


@pytest.mark.parametrize("after", [-4.9, -3, -2, -0.1, 0.1, 2, 3, 4.9])
def test_trade_1_10_a_relay_that_drops_about_the_loss_is_never_falsely_high_level(
    after: float,
) -> None:
    # A brown-out moves contact and sensor in any order: sensing relays hold in to half voltage.
    it = cabin(unpowered=Unpowered.CLOSED)
    first, then = (LEVEL, CIRCUIT) if after < 0 else (CIRCUIT, LEVEL)
    it.alarm(first)
    it.run(abs(after))
    it.alarm(then)
    it.run(600)
    assert (it.process("high-level"), it.row) == ("NORM", "L4")
    assert it.process("alarm-power") == "UNACK"
    it.alarm(then, False)
    it.run(abs(after))
    it.alarm(first, False)
    it.run(600)
    assert (it.process("high-level"), it.row) == ("NORM", "L2")


@pytest.mark.parametrize("missed", [LEVEL, CIRCUIT])
def test_trade_1_10_the_polled_state_counts_where_an_edge_was_missed(missed: str) -> None:
    it = cabin(unpowered=Unpowered.CLOSED)
    for name in (LEVEL, CIRCUIT):
        if name != missed:
            it.alarm(name)
    it.run(3)
    spec = it.plan.input(missed)
    assert spec is not None
    it.give(LevelRead(missed, spec.in_alarm is CLOSED, it.up))
    it.run(600)
    assert (it.process("high-level"), it.process("alarm-power")) == ("NORM", "UNACK")


# 1.13: legs and phases


@pytest.mark.parametrize(
    ("lost", "row", "condition", "subject"),
    [
        (("unit.unit-power", "cabin.alarm-power"), "P12", "alarm-power", "panel:cabin"),
        (("unit.unit-power", "cabin.pump-power"), "P14", "pump-power", "panel:cabin"),
    ],
    ids=["240 V alive, 120 V lost", "the reverse"],
)
def test_trade_1_13_one_leg_lost_is_named_and_is_no_outage(
    lost: tuple[str, ...], row: str, condition: str, subject: str
) -> None:
    made = panel("cabin", *map(contact, (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER)))
    it = World(plan_of(made, inputs=(contact(Means.UNIT_POWER, panel="unit"),))).start().run(20)
    for each in lost:
        it.alarm(each)
    it.run(700)
    assert it.open_alarm(condition, subject).row == row
    assert "one leg of the service is lost" in power.SAYS[row].replace("\\n", " ")
    assert it.process("site-outage", "unit") == "NORM"


def test_trade_1_13_a_phase_monitor_is_a_condition_of_its_own_and_high() -> None:
    phase = contact(Means.PHASE_FAULT)
    it = World(plan_of(panel("cabin", phase, contact(Means.PUMP_POWER)))).start().run(20)
    it.alarm(phase.id)
    it.run(31)
    alarm = it.open_alarm("phase-fault")
    assert (alarm.process.value, alarm.priority) == ("UNACK", Priority.HIGH)
    assert it.process("pump-power") == "NORM"


# 1.16: after the power returns


def back(made: Panel | None = None) -> World:
    """The circuit and the pump were without power for an hour, and just came back."""
    spec = made or panel(
        "cabin", *map(contact, (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER))
    )
    it = World(plan_of(spec)).start().run(60)
    for name in (CIRCUIT, PUMP):
        it.alarm(name)
    it.run(3600)
    for name in (CIRCUIT, PUMP):
        it.alarm(name, False)
    return it


def test_trade_1_16_alarm_is_believed_after_ten_seconds_and_normal_after_sixty() -> None:
    made = panel("cabin")
    assert (made.settle_alarm, made.settle) == (10 * SECOND, 60 * SECOND)
    it = back()
    it.run(59.9)
    assert it.row == "L11"
    it.run(0.2)
    assert it.row == "L2"
    it = back()
    it.alarm(LEVEL)
    it.run(9.9)
    assert it.process("high-level") == "NORM"
    it.run(11)
    assert it.process("high-level") == "UNACK"


@pytest.mark.parametrize(
    ("kind", "hours"), [(Kind.SEWAGE_EJECTOR, 2), (Kind.EFFLUENT_TIMED, 48)], ids=str
)
@pytest.mark.parametrize("late", [False, True], ids=["within", "later"])
def test_trade_1_16_a_high_level_after_an_outage_is_expected_for_hours(
    kind: Kind, hours: int, late: bool
) -> None:
    wired = map(contact, (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER))
    it = back(panel("cabin", *wired, kind=kind))
    it.run_to(it.up + hours * HOUR + (MINUTE if late else -MINUTE))
    raised(it)
    alarm = it.open_alarm()
    assert ("R8" in alarm.notes) is not late
    # The reserve is not known: it is no less urgent for being expected.
    assert alarm.priority is Priority.HIGH


# 1.17 to 1.19


@pytest.mark.parametrize(
    "table", [power.SAYS, SAYS, horn_table.SAYS], ids=["power", "level", "horn"]
)
def test_trade_1_17_no_row_says_breaker_off_without_which(table: dict[str, str]) -> None:
    for row, text in table.items():
        assert "breaker off" not in text.lower(), row
        assert "make it dead" not in text.lower(), row


def test_trade_1_18_a_contact_in_alarm_beside_a_dead_sense_is_named_a_contradiction() -> None:
    # Most often a blown fuse of the tap: the circuit lives, for a dead one cannot hold this contact.
    it = raised(cabin())
    it.alarm(LEVEL, False)
    it.run(120)
    it.alarm(CIRCUIT)
    it.run(100)
    it.alarm(LEVEL)
    it.run(30)
    assert (it.row, it.process("high-level")) == ("L6", "UNACK")


def test_trade_1_19_a_unit_fed_by_the_panels_own_breaker_says_that_it_may_be_that_alone() -> None:
    made = panel(
        "cabin",
        *map(contact, (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER)),
        shares_breaker=True,
    )
    it = World(plan_of(made, inputs=(contact(Means.UNIT_POWER, panel="unit"),))).start().run(20)
    for name in (CIRCUIT, PUMP, "unit.unit-power"):
        it.alarm(name)
    it.run(700)
    alarm = it.open_alarm("site-outage", "unit")
    assert (alarm.row, alarm.notes) == ("P11", ("B1",))


def test_trade_1_12_an_outage_takes_nothing_from_a_lost_pump_that_stood() -> None:
    it = World(plan(level_input(), circuit_input(), pump_input())).start().run(20)
    it.alarm(PUMP)
    it.run(100)
    it.alarm(CIRCUIT)
    it.run(300)
    assert it.process("pump-power") == "UNACK"
