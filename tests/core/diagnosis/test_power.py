"""Stage one, power: the table of Trade 3 (P1 to P21), total; and sites, generators, pumps that it is about.

The expected rows are written out here from the trade's table, not from the code.
"""

from itertools import product

import pytest

from relayd.core.conditions import SITE_OUTAGE, UNIT_POWER
from relayd.core.diagnosis.power import (
    BAD,
    LOST,
    NOT,
    ON,
    ONE,
    PUMP_SUPPLIES,
    SAYS,
    TABLE,
    UNIT_SUPPLIES,
    Supply,
)
from relayd.core.events import HornWire, InputLost, Wire
from relayd.core.plan import FedBy, Input, Means, Priority
from relayd.core.state import Signal
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

UNIT = contact(Means.UNIT_POWER, panel="unit")
GENERATOR = contact(Means.ON_GENERATOR, panel="unit")
LEVEL, ALARM, PUMP = (
    contact(each) for each in (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER)
)
ON_UNIT, OFF_UNIT, NO_UNIT = (
    {
        (ON, ON): "P1",
        (ON, LOST): "P2",
        (ON, ONE): "P3",
        (LOST, ON): "P4",
        (LOST, LOST): "P5",
        (LOST, NOT): "P6",
        (NOT, ON): "P7",
        (NOT, LOST): "P8",
        (ON, NOT): "P9",
        (NOT, NOT): "P10",
    },
    {
        (LOST, LOST): "P11",
        (LOST, NOT): "P11",
        (LOST, ON): "P12",
        (ON, ON): "P13",
        (ON, NOT): "P13",
        (ON, LOST): "P14",
        (NOT, LOST): "P15",
        (NOT, ON): "P16",
        (NOT, NOT): "P17",
    },
    {(LOST, LOST): "P21"},
)


@pytest.mark.parametrize(("alarm", "pump"), list(product((ON, LOST, NOT), (ON, LOST, ONE, NOT))))
def test_each_combination_has_the_trades_row(alarm: Supply, pump: Supply) -> None:
    here = alarm, pump
    for unit, rows in ((ON, ON_UNIT), (LOST, OFF_UNIT), (NOT, {**ON_UNIT, **NO_UNIT})):
        row = TABLE[unit, alarm, pump, False].row
        assert row == rows.get(here, row)
        # What the trade's table leaves out is a row of ours, or the nearest of the trade's.
        assert here in rows or row in {"P22", "P23", "P12", "P14", "P16"}


def test_the_table_is_total_and_every_row_and_note_has_its_words() -> None:
    assert set(TABLE) == set(product(UNIT_SUPPLIES, UNIT_SUPPLIES, PUMP_SUPPLIES, (False, True)))
    assert len(TABLE) == 160
    said = {each for power in TABLE.values() for each in (power.row, *power.notes, power.pump_row)}
    assert said - {""} <= set(SAYS)
    assert {f"P{n}" for n in range(1, 24)} - {"P18", "P19", "P20"} <= said


def test_p19_a_bad_input_is_as_not_known_and_nothing_not_known_is_taken_as_on() -> None:
    for (unit, alarm, pump, generator), power in TABLE.items():
        plain = [NOT if each is BAD else each for each in (unit, alarm, pump)]
        assert power == TABLE[plain[0], plain[1], plain[2], generator]
        assert (power.alarm_power is Signal.ABSENT) <= (alarm is ON)
        assert (power.pump_power is Signal.ABSENT) <= (pump is ON)
        assert (power.unit_power is Signal.ABSENT) <= (unit is ON)


def test_trade_1_12_no_row_hides_a_lost_supply_behind_nothing() -> None:
    for (unit, alarm, pump, _), power in TABLE.items():
        told = (power.alarm_power, power.pump_power, power.site_outage, power.unit_power)
        if LOST in (unit, alarm, pump) or pump is ONE:
            assert Signal.PRESENT in told


def world(*inputs: Input, unit: tuple[Input, ...] = (UNIT,), **changes: object) -> World:
    made = panel("cabin", *inputs, **changes)
    return World(plan_of(made, inputs=unit)).start().run(10)


def active(it: World, subject: str = "panel:cabin") -> set[str]:
    alarms = it.state.subjects[subject].alarms.values()
    return {each.condition for each in alarms if each.process.value in ("UNACK", "ACKED")}


@pytest.mark.parametrize(
    ("lost", "at_panel", "at_unit", "row"),
    [
        ([UNIT, ALARM, PUMP], set(), {SITE_OUTAGE}, "P11"),
        ([UNIT, ALARM], {"alarm-power"}, {UNIT_POWER}, "P12"),
        ([UNIT], set(), {UNIT_POWER}, "P13"),
        ([UNIT, PUMP], {"pump-power"}, {UNIT_POWER}, "P14"),
        ([ALARM, PUMP], {"alarm-power"}, set(), "P5"),
    ],
    ids=["P11", "P12", "P13", "P14", "P5"],
)
def test_each_cause_is_one_alarm(
    lost: list[Input], at_panel: set[str], at_unit: set[str], row: str
) -> None:
    it = world(LEVEL, ALARM, PUMP)
    for each in lost:
        it.alarm(each.id)
    it.run(700)
    assert (active(it), active(it, "unit")) == (at_panel, at_unit)
    where = [("unit", each) for each in at_unit] + [("panel:cabin", each) for each in at_panel]
    assert {it.open_alarm(name, subject).row for subject, name in where} == {row}


def test_trade_1_12_an_outage_does_not_swallow_a_high_level_that_stood() -> None:
    it = world(LEVEL, ALARM, PUMP)
    it.alarm(LEVEL.id)
    it.run(30)
    for each in (UNIT, ALARM, PUMP):
        it.alarm(each.id)
    it.alarm(LEVEL.id, False)
    it.run(700)
    assert (active(it), active(it, "unit")) == ({"high-level"}, {SITE_OUTAGE})
    assert it.open_alarm().row == "L5"


def test_an_outage_warns_of_each_horn_s_wire_that_hangs_loose() -> None:
    it = world(LEVEL, ALARM, PUMP)
    it.ask(HornWire("cabin", Wire.OFF, "a guest"))
    for each in (UNIT, ALARM, PUMP):
        it.alarm(each.id)
    it.run(700)
    (text,) = {each.long for each in it.notices() if each.condition == SITE_OUTAGE}
    assert "! Panel cabin: The horn's wire hangs loose inside the panel: it may be bare" in text


def test_p17_a_unit_alone_without_power_asks_whether_the_lights_are_on() -> None:
    it = world(LEVEL)
    it.alarm(UNIT.id)
    it.run(400)
    alarm = it.open_alarm(UNIT_POWER, "unit")
    assert (alarm.row, alarm.priority) == ("P17", Priority.MEDIUM)
    assert "Are the lights on?" in SAYS["P17"]


def test_p15_unit_and_pump_are_probably_an_outage() -> None:
    it = world(LEVEL, PUMP)
    it.alarm(UNIT.id)
    it.alarm(PUMP.id)
    it.run(400)
    assert (active(it), active(it, "unit")) == (set(), {SITE_OUTAGE})


def test_an_alarm_that_stood_when_the_outage_came_changes_its_text_and_stays() -> None:
    it = world(LEVEL, ALARM, PUMP)
    it.alarm(ALARM.id)
    it.alarm(PUMP.id)
    it.run(100)
    occurrence = it.open_alarm("alarm-power").occurrence
    it.alarm(UNIT.id)
    it.run(700)
    stands = it.open_alarm("alarm-power")
    assert (stands.row, stands.occurrence, active(it)) == ("P11", occurrence, {"alarm-power"})


def test_a_shared_breaker_is_said_beside_the_outage() -> None:
    it = world(LEVEL, ALARM, PUMP, shares_breaker=True)
    for each in (UNIT, ALARM, PUMP):
        it.alarm(each.id)
    it.run(400)
    assert it.open_alarm(SITE_OUTAGE, "unit").notes == ("B1",)


def test_where_another_panel_shows_power_there_is_no_outage() -> None:
    near = panel("cabin", LEVEL, ALARM, PUMP)
    far = panel("barn", contact(Means.ALARM_POWER, panel="barn"))
    it = World(plan_of(near, far, inputs=(UNIT,))).start().run(10)
    for each in (UNIT, ALARM, PUMP):
        it.alarm(each.id)
    it.run(700)
    assert active(it, "unit") == {UNIT_POWER}
    assert active(it) == {"alarm-power"}
    assert it.open_alarm("alarm-power").row == "P5"
    it.alarm("barn.alarm-power")
    it.run(700)
    assert SITE_OUTAGE in active(it, "unit")
    assert active(it, "panel:barn") == set()


def test_trade_1_15_on_the_generator_the_pump_that_it_does_not_carry_is_high() -> None:
    it = world(LEVEL, ALARM, PUMP, unit=(UNIT, GENERATOR))
    it.alarm(GENERATOR.id)
    it.alarm(PUMP.id)
    it.run(400)
    alarm = it.open_alarm("pump-power")
    assert (alarm.row, alarm.notes, alarm.priority) == ("P2", ("G1",), Priority.HIGH)
    assert it.open_alarm(SITE_OUTAGE, "unit").row == "P18"


def test_p18_a_unit_that_the_generator_does_not_carry_is_told_too() -> None:
    it = world(LEVEL, ALARM, unit=(UNIT, GENERATOR))
    it.alarm(UNIT.id)
    it.alarm(GENERATOR.id)
    it.run(400)
    assert it.open_alarm(UNIT_POWER, "unit").notes == ("G2",)


def test_a_generator_alone_tells_of_the_outage_and_of_its_end() -> None:
    it = world(LEVEL, unit=(GENERATOR,))
    it.alarm(GENERATOR.id)
    it.run(400)
    assert active(it, "unit") == {SITE_OUTAGE}
    it.give(InputLost(GENERATOR.id, "no such chip"))
    it.run(400)
    assert SITE_OUTAGE in active(it, "unit")
    it.move(GENERATOR.id, False)
    it.run(400)
    assert active(it, "unit") == set()


ONE_PUMP, TWO_PUMP = (contact(Means.PUMP_POWER, each) for each in (1, 2))


def test_p3_one_of_two_pumps_without_power_is_medium_and_both_are_high() -> None:
    it = world(LEVEL, ALARM, ONE_PUMP, TWO_PUMP, pumps=2)
    it.alarm(TWO_PUMP.id)
    it.run(100)
    alarm = it.open_alarm("pump-power-2")
    assert (active(it), alarm.row, alarm.priority) == ({"pump-power-2"}, "P3", Priority.MEDIUM)
    it.alarm(ONE_PUMP.id)
    it.run(100)
    both = [it.open_alarm(f"pump-power-{each}") for each in (1, 2)]
    assert {(each.row, each.priority) for each in both} == {("P2", Priority.HIGH)}


@pytest.mark.parametrize(
    ("lost", "at_panel", "at_unit", "rows"),
    [
        pytest.param([UNIT], set(), {UNIT_POWER: "P16"}, {}, id="P16"),
        pytest.param([TWO_PUMP], {"pump-power-2"}, {}, {"pump-power-2": "P23"}, id="P23"),
        pytest.param(
            [UNIT, TWO_PUMP],
            {"pump-power-2"},
            {UNIT_POWER: "P16"},
            {"pump-power-2": "P23"},
            id="P16 and P23",
        ),
    ],
)
def test_p16_and_p23_where_nothing_tells_of_the_alarm_circuit(
    lost: list[Input], at_panel: set[str], at_unit: dict[str, str], rows: dict[str, str]
) -> None:
    it = world(LEVEL, ONE_PUMP, TWO_PUMP, pumps=2)
    for each in lost:
        it.alarm(each.id)
    it.run(700)
    assert (active(it), active(it, "unit")) == (at_panel, set(at_unit))
    for name, row in at_unit.items():
        assert it.open_alarm(name, "unit").row == row
        assert "the pump has power" in SAYS[row]
    for name, row in rows.items():
        alarm = it.open_alarm(name)
        assert (alarm.row, alarm.priority) == (row, Priority.MEDIUM)
        long = next(each.long for each in it.notices() if each.condition == name)
        assert "Pump 2 has lost its power; another pump still has it." in long
        assert "Whether the panel's own alarm still works is not known." in long


@pytest.mark.parametrize("unit_lost", [False, True], ids=["P22", "P12 and P22"])
def test_p22_a_dead_alarm_circuit_and_one_dead_pump_are_both_told(unit_lost: bool) -> None:
    it = world(LEVEL, ALARM, ONE_PUMP, TWO_PUMP, pumps=2)
    for each in (ALARM, ONE_PUMP, *((UNIT,) if unit_lost else ())):
        it.alarm(each.id)
    it.run(700)
    assert active(it) == {"alarm-power", "pump-power-1"}
    assert active(it, "unit") == ({UNIT_POWER} if unit_lost else set())
    circuit, pump = (it.open_alarm(each) for each in ("alarm-power", "pump-power-1"))
    assert (circuit.row, circuit.priority) == ("P12" if unit_lost else "P22", Priority.HIGH)
    assert (pump.row, pump.priority) == ("P22", Priority.MEDIUM)
    # The other pump goes as well: the panel's feed is off, told by what stands; nothing comes or goes.
    it.alarm(TWO_PUMP.id)
    it.run(700)
    assert active(it) == {"alarm-power", "pump-power-1"}
    assert it.open_alarm("alarm-power").row == ("P11" if unit_lost else "P5")


CONTROL = contact(Means.CONTROL_POWER)


@pytest.mark.parametrize(
    ("fed", "lost", "alarms"),
    [
        (FedBy.OWN, [CONTROL], {"control-power"}),
        (FedBy.ALARM, [CONTROL, ALARM], {"alarm-power"}),
        (FedBy.PUMP, [CONTROL, PUMP], {"pump-power"}),
        (FedBy.OWN, [CONTROL, ALARM], {"control-power", "alarm-power"}),
        (FedBy.UNKNOWN, [CONTROL, ALARM], {"alarm-power"}),
        (FedBy.OWN, [UNIT, CONTROL, ALARM, PUMP], set()),
    ],
)
def test_trade_1_11_control_power_is_told_by_what_feeds_it_or_alone(
    fed: FedBy, lost: list[Input], alarms: set[str]
) -> None:
    it = world(LEVEL, ALARM, PUMP, CONTROL, control_fed_by=fed)
    for each in lost:
        it.alarm(each.id)
    it.run(200)
    assert active(it) == alarms
    if "alarm-power" in alarms:
        assert it.open_alarm("alarm-power").notes == ("C1",)


def test_trade_1_11_a_control_circuit_that_is_not_wired_follows_its_feeder() -> None:
    it = world(LEVEL, ALARM, control_fed_by=FedBy.ALARM)
    it.alarm(ALARM.id)
    it.run(100)
    assert it.open_alarm("alarm-power").notes == ("C1",)
    assert "will not start either" in SAYS["C1"]


def flapping(spec: Input, times: int = 3) -> World:
    it = world(LEVEL, ALARM, PUMP)
    for _ in range(times):
        it.alarm(spec.id)
        it.run(5)
        it.alarm(spec.id, False)
        it.run(55)
    return it


def test_p20_a_supply_lost_three_times_in_ten_minutes_is_one_alarm() -> None:
    assert active(flapping(PUMP, 2)) == set()
    it = flapping(PUMP)
    assert active(it) == {"unstable-supply"}
    it.run(20 * 60)
    assert active(it) == set()


def test_p20_a_supply_that_then_stays_lost_is_told_all_the_same() -> None:
    it = flapping(PUMP)
    it.alarm(PUMP.id)
    it.run(59)
    assert active(it) == {"unstable-supply"}
    it.run(62)
    assert active(it) == {"unstable-supply", "pump-power"}


def test_p20_the_units_own_supply_is_watched_alike() -> None:
    it = flapping(UNIT)
    assert active(it, "unit") == {"unstable-supply"}
