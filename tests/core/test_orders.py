"""Edges in any order: what is concluded in the end depends on the final facts, and on what was held.

Held is what the tables say is held: an alarm that stands by a `keep`, or a level by L3, L5, L12, L15.
Each time that excuses a difference, its reason is asked for: the fact is not known, the evidence is
lacking, or another alarm tells it.
"""

from dataclasses import dataclass, replace
from functools import cache
from random import Random

import pytest

from relayd.core.conditions import LEVEL_ALARMS, SITE_CONDITIONS, base_of, input_of
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.facts import facts, lost_reference
from relayd.core.diagnosis.panel import diagnose
from relayd.core.diagnosis.site import diagnose as diagnose_unit, seen
from relayd.core.draft import UNIT
from relayd.core.findings import Finding, Site
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import (
    ALARM_CONTACTS,
    DAY,
    CallList,
    FedBy,
    Follows,
    Input,
    Means,
    Panel,
    Plan,
    Position,
    Step,
)
from relayd.core.state import Fact, Signal
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

HELD = {"L3", "L5", "L12", "L15"}
POWER = {"alarm-power", "control-power", "pump-power", "site-outage", "unit-power"}
ABOUT = {"blind", "wiring-fault", "low-level", "input-lost", "unsettled", "unstable-supply"}
REST = 1900
"""s; longer than every delay, hold and count of the conditions that are compared (half an hour)."""
CABIN = "panel:cabin"
ORDERS = 5
"""Orders of one end: 200 ends are 1,000 orders, 2,000 ends are 10,000."""


def rich(*circuit: Input) -> Plan:
    """A panel of two pumps with everything that the first three stages read."""
    one = panel(
        "cabin",
        *map(contact, (Means.HIGH_LEVEL, Means.COMMON_ALARM)),
        contact(Means.HIGH_HIGH_LEVEL, follows=Follows.HORN),
        *circuit,
        *map(contact, (Means.LOW_LEVEL, Means.CONTROL_POWER, Means.CABLE_LOOP)),
        *(contact(Means.PUMP_POWER, pump) for pump in (1, 2)),
        contact(Means.HIGH_LEVEL, name="nc", in_alarm=Position.OPEN, throw_of="cabin.high-level"),
        pumps=2,
        control_fed_by=FedBy.ALARM,
    )
    own = (contact(Means.UNIT_POWER, panel="unit"), contact(Means.WETTING_SUPPLY, panel="unit"))
    # Nobody is called: only the conditions matter here.
    once = CallList("night", (Step(0, ()),), 30 * DAY, 30 * DAY, 30 * DAY)
    return plan_of(one, inputs=own, call_lists={"night": once})


PLANS = {"circuit wired": rich(contact(Means.ALARM_POWER)), "circuit not wired": rich()}


@cache
def begun(kind: str) -> World:
    """A world of that plan in which everything is at rest; it is copied, never used."""
    return World(PLANS[kind]).start().run(20)


def fresh(kind: str) -> World:
    """A copy of it: its state is frozen, what it gathers is not."""
    return replace(begun(kind), effects=[], made={})


@dataclass(frozen=True, slots=True)
class End:
    """What one condition came to: signal and row as the facts have it, and whether its alarm stands."""

    signal: Signal
    row: str
    stands: bool

    @property
    def is_held(self) -> bool:
        """Whether the past may show in it."""
        return self.signal is Signal.KEEP or self.row in HELD


@dataclass(frozen=True, slots=True)
class Ends:
    """What a world came to."""

    panel: Panel
    site: Site
    facts: dict[str, Seen]
    is_cut: bool
    conditions: dict[str, End]

    def fact(self, means: Means) -> Fact | None:
        """The fact of the panel's input of that means; None where it is not wired."""
        spec = self.panel.input(means)
        return self.facts[spec.id].fact if spec else None

    def told_elsewhere(self, name: str) -> bool:
        """Whether another alarm about power is there and stands."""
        return any(
            each.signal is Signal.PRESENT and each.stands and other != name
            for other, each in self.conditions.items()
            if base_of(other.partition(":")[2]) in POWER
        )


def ends(world: World) -> Ends:
    """Each compared condition of the cabin and of the unit."""
    owner, unit = (world.state.subjects[each] for each in (CABIN, UNIT))
    site = seen(world.plan, world.state.live)
    made, inputs = world.plan.panels["cabin"], world.state.live[CABIN].inputs
    stands = {name: each.process in ACTIVE for name, each in owner.alarms.items()}
    own = diagnose(made, inputs, owner, stands, site, world.state.stamp).findings
    of_unit = diagnose_unit(world.plan, world.state.live, site, unit, world.state.stamp).findings
    compared = LEVEL_ALARMS | POWER | ABOUT
    found: dict[str, End] = {}
    for name, finding in own.items():
        if base_of(name) in compared:
            found[f"cabin:{name}"] = _end(finding, stands.get(name, False))
    for name in SITE_CONDITIONS:
        alarm = unit.alarms.get(name)
        found[f"unit:{name}"] = _end(of_unit[name], alarm is not None and alarm.process in ACTIVE)
    cut = site.blind or lost_reference(made.inputs, inputs) is not None
    return Ends(made, site, facts(made, inputs, site), cut, found)


def _end(finding: Finding, stands: bool) -> End:
    return End(finding.signal, finding.row, stands)


def why_held(name: str, here: Ends) -> str:
    """The reason for which what was may show in this condition; '' where there is none."""
    place, _, condition = name.partition(":")
    end = here.conditions[name]
    if here.site.blind or (place == "cabin" and here.is_cut):
        return "nothing is known: a reference is lost"
    if place == "unit":
        return _why_unit(condition, here)
    spec = input_of(here.panel, condition)
    assert spec is not None, f"{name}: a conclusion has nothing to hold"
    if here.facts[spec.id].fact is Fact.UNKNOWN:
        return "the contact is not known"
    if base_of(condition) in POWER:
        lost = here.facts[spec.id].fact is Fact.ALARM
        return "another alarm tells it" if lost and here.told_elsewhere(name) else ""
    return _why_level(end, spec, here) if spec.means in ALARM_CONTACTS else ""


def _why_unit(condition: str, here: Ends) -> str:
    """The unit's own supply is read here; with it on nothing is held."""
    if here.site.unit_power is not False:
        return ""
    if condition == "unit-power":
        return "the outage tells it" if here.told_elsewhere("unit:unit-power") else ""
    nothing = here.fact(Means.ALARM_POWER) in (None, Fact.UNKNOWN) and all(
        here.facts[f"cabin.pump-power-{pump}"].fact is Fact.UNKNOWN for pump in (1, 2)
    )
    return "no panel's supply is known" if condition == "site-outage" and nothing else ""


def _why_level(end: End, spec: Input, here: Ends) -> str:
    circuit, contact_is = here.fact(Means.ALARM_POWER), here.facts[spec.id].fact
    if circuit is Fact.ALARM:
        return "the alarm circuit is dead"
    released = contact_is is Fact.NORMAL and end.stands
    if end.row == "L3" and released and spec.follows is not Follows.LEVEL:
        return "it let go, and that is no evidence of a return"
    if end.row == "L15" and released and circuit is None:
        return "it let go, and whether its circuit lives is not known"
    return ""


def played(kind: str, rng: Random, final: dict[str, bool], detours: int) -> World:
    """A world that comes to those final levels in a random order, after random detours."""
    world, names = fresh(kind), sorted(final)
    moves = [(rng.choice(names), rng.random() < 0.5) for _ in range(detours)]
    last = list(final.items())
    rng.shuffle(last)
    for name, closed in (*moves, *last):
        if closed != _stands(world, name):
            world.move(name, closed)
            world.run(rng.choice((0.01, 0.3, 2.0, 20.0)))
    return world.run(REST)


def _stands(world: World, name: str) -> bool:
    """Whether that contact is closed now."""
    live = world.state.live[UNIT if name.startswith("unit.") else CABIN]
    bounce = live.inputs[name].filter
    assert bounce is not None
    return bounce.raw


def check(seed: int, orders: int = ORDERS) -> set[str]:
    """Play that many orders of one end; the reasons for which something was held in them."""
    rng = Random(seed)
    kind = rng.choice(sorted(PLANS))
    plan = PLANS[kind]
    final = {each.id: rng.random() < 0.5 for each in (*plan.inputs, *plan.panels["cabin"].inputs)}
    final["unit.wetting-supply"] = rng.random() < 0.9
    final["cabin.cable-loop"] = rng.random() < 0.9
    straight = ends(played(kind, Random(1), final, 0))
    reasons = excused(seed, straight)
    for _ in range(orders - 1):
        other = ends(played(kind, rng, final, 6))
        reasons |= excused(seed, other)
        compared(seed, straight, other)
    return reasons


def excused(seed: int, here: Ends) -> set[str]:
    """The reasons for which something is held here; each that is held must have one."""
    reasons = {name: why_held(name, here) for name, end in here.conditions.items() if end.is_held}
    for name, reason in reasons.items():
        assert reason, (seed, name, here.conditions[name], "is held for no reason")
    return set(reasons.values())


def compared(seed: int, straight: Ends, other: Ends) -> None:
    """The facts are the same; so is each condition in which nothing is held."""
    for name, fact in straight.facts.items():
        assert fact.fact is other.facts[name].fact, (seed, name)
    assert straight.conditions.keys() == other.conditions.keys()
    for name, one in straight.conditions.items():
        two = other.conditions[name]
        if not (one.is_held or two.is_held):
            assert (one.signal, one.stands) == (two.signal, two.stands), (seed, name, one, two)


REASONS = {
    "nothing is known: a reference is lost",
    "the contact is not known",
    "another alarm tells it",
    "the outage tells it",
    "no panel's supply is known",
    "the alarm circuit is dead",
    "it let go, and that is no evidence of a return",
    "it let go, and whether its circuit lives is not known",
}


@pytest.mark.untraced
@pytest.mark.slow
@pytest.mark.parametrize("block", range(10))
def test_the_final_diagnosis_depends_on_the_final_facts_and_on_what_was_held(block: int) -> None:
    for seed in range(block * 20, block * 20 + 20):
        check(seed)


@pytest.mark.untraced
@pytest.mark.slow
def test_each_reason_to_hold_comes_up() -> None:
    found: set[str] = set()
    for seed in range(60):
        found |= check(seed, orders=2)
    assert found == REASONS


@pytest.mark.long
@pytest.mark.parametrize("block", range(100))
def test_ten_thousand_orders_end_alike(block: int) -> None:
    for seed in range(1000 + block * 20, 1000 + block * 20 + 20):
        check(seed)
