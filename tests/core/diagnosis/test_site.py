"""The site: what the unit's own inputs and all panels say together, and what of it changes by time alone."""

import pytest

from relayd.core.diagnosis.site import diagnose, seen
from relayd.core.events import InputLost
from relayd.core.findings import Site
from relayd.core.plan import Input, Means, Plan, Priority
from relayd.core.state import Signal
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

UNIT, GENERATOR, WETTING = (
    contact(each, panel="unit")
    for each in (Means.UNIT_POWER, Means.ON_GENERATOR, Means.WETTING_SUPPLY)
)
CABIN = panel("cabin", *map(contact, (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER)))
BARN = panel(
    "barn", contact(Means.HIGH_LEVEL, panel="barn"), contact(Means.PUMP_POWER, panel="barn")
)
SUPPLIES = ("cabin.alarm-power", "cabin.pump-power", "barn.pump-power")


def site_of(it: World) -> Site:
    return seen(it.plan, it.state.live)


def world(*unit: Input, plan: Plan | None = None) -> World:
    return World(plan or plan_of(CABIN, BARN, inputs=unit)).start().run(20)


def row(it: World, condition: str = "unit-power") -> tuple[str, str]:
    alarm = it.open_alarm(condition, "unit")
    return alarm.row, alarm.process.value


def test_before_anything_is_read_nothing_is_known_and_nothing_is_found() -> None:
    plan = plan_of(CABIN, inputs=(UNIT, GENERATOR))
    assert seen(plan, {}) == Site()
    assert seen(plan_of(CABIN, inputs=(WETTING,)), {}) == Site(blind=True)
    assert seen(plan_of(CABIN, empty=True), {}).empty


def test_a_unit_without_inputs_has_no_findings_of_its_own() -> None:
    it = world()
    before = it.state.subjects["unit"]
    found = diagnose(it.plan, it.state.live, site_of(it), before, it.state.stamp)
    assert (found.findings, found.due) == ({}, None)


def test_all_that_the_units_inputs_tell() -> None:
    it = world(UNIT, GENERATOR, WETTING)
    here = site_of(it)
    assert (here.unit_power, here.on_generator, here.blind) == (True, False, False)
    assert here.seen_since is not None
    it.alarm(UNIT.id)
    it.alarm(GENERATOR.id)
    it.run(1)
    here = site_of(it)
    assert (here.unit_power, here.on_generator, here.power_seen) == (False, True, True)
    it.alarm(WETTING.id)
    assert site_of(it) == Site(blind=True)


@pytest.mark.parametrize("on", SUPPLIES)
def test_one_supply_that_reads_on_anywhere_rules_out_an_outage(on: str) -> None:
    it = world(UNIT)
    for name in (UNIT.id, *SUPPLIES):
        if name != on:
            it.alarm(name)
    it.run(700)
    assert site_of(it).power_seen
    assert it.process("site-outage", "unit") == "NORM"
    assert it.process("unit-power", "unit") == "UNACK"
    it.alarm(on)
    it.run(700)
    assert not site_of(it).power_seen
    assert row(it, "site-outage")[1] == "UNACK"


@pytest.mark.parametrize(
    ("lost", "expected"),
    [
        # Over all panels the most telling row: power that is seen rules out an outage.
        pytest.param((), "P13", id="both panels alive"),
        pytest.param(("cabin.alarm-power",), "P12", id="a circuit lost at one, P16 at the other"),
        pytest.param(("cabin.pump-power",), "P14", id="a pump lost at one"),
        pytest.param(("cabin.alarm-power", "cabin.pump-power"), "P16", id="one feed off"),
        pytest.param(("barn.pump-power",), "P13", id="P15 alone at the other"),
    ],
)
def test_a_lost_unit_supply_takes_the_most_telling_row(
    lost: tuple[str, ...], expected: str
) -> None:
    it = world(UNIT)
    for name in (UNIT.id, *lost):
        it.alarm(name)
    it.run(700)
    assert row(it) == (expected, "UNACK")


def test_trade_1_5_what_stood_at_the_unit_is_kept_while_it_is_blind() -> None:
    it = world(UNIT, WETTING)
    it.alarm(UNIT.id)
    it.run(700)
    assert row(it) == ("P13", "UNACK")
    it.alarm(WETTING.id)
    it.alarm(UNIT.id, False)
    it.run(700)
    assert row(it) == ("P13", "UNACK")
    assert row(it, "blind") == ("S0", "UNACK")
    it.alarm(WETTING.id, False)
    it.run(100)
    assert it.process("unit-power", "unit") == "RTNUN"


def test_a_generator_contact_that_cannot_be_read_leaves_the_outage_as_it_is() -> None:
    it = world(GENERATOR)
    it.give(InputLost(GENERATOR.id, "no such chip"))
    found = diagnose(
        it.plan, it.state.live, site_of(it), it.state.subjects["unit"], it.state.stamp
    ).findings
    assert found["site-outage"].signal is Signal.KEEP
    assert found["unit-power"].signal is Signal.ABSENT
    assert found["input-lost"].signal is Signal.PRESENT


def test_a_site_without_panels_or_with_panels_that_sense_nothing_asks_for_the_lights() -> None:
    for plan in (plan_of(inputs=(UNIT,)), plan_of(panel("cabin"), inputs=(UNIT,))):
        it = world(plan=plan)
        it.alarm(UNIT.id)
        it.run(400)
        assert row(it) == ("P17", "UNACK")
        assert it.open_alarm("unit-power", "unit").priority is Priority.MEDIUM


@pytest.mark.parametrize(("empty", "raised"), [(True, True), (False, False)])
def test_at_an_empty_site_an_outage_is_told_after_two_minutes(empty: bool, raised: bool) -> None:
    it = world(plan=plan_of(CABIN, inputs=(UNIT,), empty=empty))
    for name in (UNIT.id, "cabin.alarm-power", "cabin.pump-power"):
        it.alarm(name)
    it.run(125)
    assert (it.process("site-outage", "unit") == "UNACK") is raised
    it.run(180)
    assert it.process("site-outage", "unit") == "UNACK"


def test_what_changes_by_time_alone_is_due() -> None:
    it = world(UNIT, WETTING)
    for _ in range(3):
        it.alarm(UNIT.id)
        it.run(2)
        it.alarm(UNIT.id, False)
        it.run(20)
    before = it.state.subjects["unit"]
    found = diagnose(it.plan, it.state.live, site_of(it), before, it.state.stamp)
    assert found.findings["unstable-supply"].signal is Signal.PRESENT
    assert found.due is not None
    it.run_to(found.due - 1)
    assert it.process("unstable-supply", "unit") == "UNACK"
    it.run(601)
    assert it.process("unstable-supply", "unit") == "RTNUN"
