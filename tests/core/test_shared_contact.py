"""One contact for all pumps of a panel (pump = 0): one condition, and each pump's rows see it (Trade 1.21, 1.22)."""

from itertools import product

import pytest

from relayd.core.conditions import PUMPED, base_of, condition_of, delays, input_of, of_panel
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.pump_reads import able, input_for, known
from relayd.core.plan import PUMP_MEANS, Means, Panel, seconds
from relayd.core.state import Fact
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

LEVEL, ALARM = contact(Means.HIGH_LEVEL), contact(Means.ALARM_POWER)
OWN = frozenset({Means.PUMP_CALLED, Means.PUMP_RUNNING})


def duplex(*inputs: tuple[Means, int]) -> Panel:
    """Two pumps, with a contact of each means for that pump (0: for both)."""
    return panel("cabin", LEVEL, ALARM, *(contact(*each) for each in inputs), pumps=2)


@pytest.mark.parametrize("means", sorted(PUMP_MEANS - OWN))
def test_a_shared_contact_is_one_condition_without_a_number(means: Means) -> None:
    made = duplex((means, 0))
    spec = made.input(means)
    assert spec is not None
    name = condition_of(made, spec)
    assert name == means.value
    assert [each for each in of_panel(made) if each.startswith(means.value)] == [name]
    assert input_of(made, name) is spec
    assert [made.input(means, pump) for pump in (1, 2)] == [spec, spec]
    assert [input_for(made, means, pump) for pump in (1, 2)] == [spec, spec]


@pytest.mark.parametrize("means", sorted(PUMP_MEANS - OWN))
def test_a_pumps_own_contact_comes_before_the_shared_one(means: Means) -> None:
    made = duplex((means, 2), (means, 0))
    assert [getattr(made.input(means, pump), "pump", None) for pump in (0, 1, 2)] == [0, 0, 2]
    assert input_of(made, means.value) is made.input(means, 0)
    assert input_of(made, f"{means.value}-2") is made.input(means, 2)
    assert input_for(made, means, 2) is made.input(means, 2)


@pytest.mark.parametrize("means", sorted(OWN))
def test_a_shared_contact_for_call_or_current_is_no_pumps_own(means: Means) -> None:
    assert not {"run-too-long-1", "run-too-long-2"} & set(of_panel(duplex((means, 0))))
    assert "run-too-long-2" in of_panel(duplex((means, 2)))


def test_without_any_contact_of_that_pump_nothing_is_found() -> None:
    made = duplex((Means.OVERLOAD, 1))
    assert made.input(Means.OVERLOAD, 2) is None
    assert input_of(made, "overload-2") is None
    # On a panel of one pump a number changes nothing.
    one = panel("cabin", contact(Means.OVERLOAD))
    assert one.input(Means.OVERLOAD, 1) is one.inputs[0]


@pytest.mark.parametrize(
    "numbers", list(product((None, 0, 1), repeat=3)), ids=lambda each: str(each)
)
def test_what_the_diagnosis_finds_is_what_the_catalogue_lists(
    numbers: tuple[int | None, ...],
) -> None:
    wired = (Means.PUMP_POWER, Means.PUMP_RUNNING, Means.OVERLOAD)
    given = [(means, each) for means, each in zip(wired, numbers, strict=True) if each is not None]
    it = World(plan_of(duplex(*given))).start().run(20)
    found = set(it.state.live["panel:cabin"].delays)
    listed = set(of_panel(it.plan.panels["cabin"]))
    assert {each for each in found if base_of(each) in PUMPED} == {
        each for each in listed if base_of(each) in PUMPED
    }


def test_the_delay_of_a_shared_contact_is_its_own() -> None:
    spec = contact(Means.OVERLOAD, on_delay=seconds(7), off_delay=seconds(9))
    made = panel("cabin", LEVEL, spec, pumps=2)
    assert delays(made, "overload", False) == (seconds(7), seconds(9))


def test_trade_1_22_a_shared_overload_is_one_alarm_and_makes_neither_pump_able() -> None:
    it = World(plan_of(duplex((Means.OVERLOAD, 0), (Means.PUMP_POWER, 0)))).start().run(20)
    it.alarm("cabin.overload")
    it.run(30)
    active = {
        each.condition
        for each in it.state.subjects["panel:cabin"].alarms.values()
        if each.process.value == "UNACK"
    }
    assert active == {"overload"}
    # Which pump it is, nobody knows: no pump is said to do the work of the other.
    assert it.open_alarm("overload").priority.value == "high"


def test_a_shared_loss_of_power_is_both_pumps_loss() -> None:
    it = World(plan_of(duplex((Means.PUMP_POWER, 0)))).start().run(20)
    it.alarm("cabin.pump-power")
    it.run(100)
    alarm = it.open_alarm("pump-power")
    assert (alarm.row, alarm.priority.value) == ("P2", "high")
    assert it.process("pump-power-1") == "NORM"


def test_per_pump_rows_see_the_shared_contact() -> None:
    made = duplex((Means.PUMP_POWER, 0), (Means.PUMP_RUNNING, 1))
    facts = {"cabin.pump-power": Seen(Fact.ALARM)}
    assert [known(made, facts, Means.PUMP_POWER, pump) for pump in (1, 2)] == [True, True]
    assert not any(able(made, facts, pump) for pump in (1, 2))
    assert "pump-contradiction-1" in of_panel(made)
