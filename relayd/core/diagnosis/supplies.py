"""From the facts of the supplies to the conditions about power: stage one of the diagnosis.

In: a panel's facts and inputs, what holds for the site, what stands. Out: findings, and when one
changes by time alone. Knows nothing of delays, alarms or people. The table itself is power.py.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from relayd.core.conditions import (
    UNSTABLE_SUPPLY,
    condition_of,
)
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.facts import in_alarm
from relayd.core.diagnosis.power import TABLE, Power, Supply
from relayd.core.findings import Finding, Site
from relayd.core.plan import MINUTE, SUPPLIES, FedBy, Input, Means, Panel, Priority
from relayd.core.state import Fact, InputState, Signal

UNSTABLE, UNSTABLE_IN = 3, 10 * MINUTE
"""A supply that was lost so often in that time is unstable."""
_NOBODY = InputState()


@dataclass(frozen=True, slots=True)
class Supplies:
    """What stage one says of a panel, and when it changes by time alone (boot ns)."""

    findings: Mapping[str, Finding] = field(default_factory=dict)
    due: int | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """A panel's alarm circuit, the power of all its pumps, and its control circuit."""

    alarm: Supply
    pump: Supply
    control: Supply

    @property
    def shows_power(self) -> bool:
        """Whether anything here reads on."""
        return self.alarm is Supply.ON or self.pump in (Supply.ON, Supply.ONE_LOST)


def supply(seen: Seen | None, lost: bool) -> Supply:
    """One supply from its input's fact; None where it is not wired."""
    if seen is None or seen.fact is Fact.UNKNOWN:
        return Supply.BAD if lost else Supply.NOT_KNOWN
    return Supply.LOST if seen.fact is Fact.ALARM else Supply.ON


def pump_supply(each: list[Supply]) -> Supply:
    """The power of all pumps of a panel, from each pump's."""
    if Supply.LOST in each:
        return Supply.ONE_LOST if Supply.ON in each else Supply.LOST
    if Supply.ON in each:
        return Supply.ON
    return Supply.BAD if Supply.BAD in each else Supply.NOT_KNOWN


def wired(panel: Panel, means: Means) -> list[Input]:
    """The panel's inputs of that means, without other throws."""
    return [each for each in panel.inputs if each.means is means and not each.throw_of]


def known(panel: Panel, facts: Mapping[str, Seen], inputs: Mapping[str, InputState]) -> Known:
    """The panel's supplies as its facts have them."""

    def of(means: Means) -> list[Supply]:
        return [
            supply(facts.get(each.id), bool(inputs.get(each.id, _NOBODY).lost))
            for each in wired(panel, means)
        ]

    alarm = next(iter(of(Means.ALARM_POWER)), Supply.NOT_KNOWN)
    pump = pump_supply(of(Means.PUMP_POWER))
    control = next(iter(of(Means.CONTROL_POWER)), None)
    if control is None:
        fed = {FedBy.ALARM: alarm, FedBy.PUMP: pump}
        control = fed.get(panel.control_fed_by, Supply.NOT_KNOWN)
    return Known(alarm, pump, control)


def unit_supply(site: Site) -> Supply:
    """The unit's own supply, as the table has it."""
    if site.unit_power is None:
        return Supply.NOT_KNOWN
    return Supply.ON if site.unit_power else Supply.LOST


def row_of(have: Known, site: Site) -> Power:
    """The panel's row. Where another panel shows power there is no outage: this one's feed is off."""
    unit = unit_supply(site)
    if unit is Supply.LOST and site.power_seen and not have.shows_power:
        unit = Supply.ON
    return TABLE[unit, have.alarm, have.pump, bool(site.on_generator)]


def diagnose(
    panel: Panel,
    facts: Mapping[str, Seen],
    inputs: Mapping[str, InputState],
    present: Mapping[str, bool],
    site: Site,
    at: int,
) -> Supplies:
    """The panel's power; `present` tells which conditions stand."""
    have = known(panel, facts, inputs)
    power = row_of(have, site)
    found: dict[str, Finding] = {}
    times: list[int | None] = []
    for spec in panel.inputs:
        if spec.throw_of or spec.means not in SUPPLIES:
            continue
        name, seen = condition_of(panel, spec), facts[spec.id]
        finding = _found(panel, spec, seen, have, power)
        finding, due = _quiet(finding, spec, seen, inputs, present.get(name, False), at)
        found[name] = _worse(found.get(name), finding)
        times.append(due)
    watched = [each for each in panel.inputs if each.means in SUPPLIES and not each.throw_of]
    if watched:
        found[UNSTABLE_SUPPLY] = unstable(watched, inputs, at)
        times.append(unstable_due(watched, inputs, at))
    return Supplies(found, min((each for each in times if each is not None), default=None))


def _worse(one: Finding | None, other: Finding) -> Finding:
    """Two inputs of one condition: the one that is there."""
    return one if one is not None and one.signal is Signal.PRESENT else other


def _found(panel: Panel, spec: Input, seen: Seen, have: Known, power: Power) -> Finding:
    if spec.means is Means.ALARM_POWER:
        dead = ("C1",) if have.control is Supply.LOST and have.alarm is Supply.LOST else ()
        return Finding(power.alarm_power, power.row, notes=(*dead, *power.notes))
    if spec.means is Means.CONTROL_POWER:
        return _control(panel, seen, have, power)
    row = power.pump_row or power.row
    if seen.fact is Fact.ALARM:
        able = Priority.MEDIUM if have.pump is Supply.ONE_LOST else None
        return Finding(power.pump_power, row, notes=power.notes, priority=able)
    signal = Signal.ABSENT if seen.fact is Fact.NORMAL else Signal.KEEP
    return Finding(signal, row)


def _control(panel: Panel, seen: Seen, have: Known, power: Power) -> Finding:
    """Lost with what feeds it is told by the feeder's alarm, lost alone by its own."""
    if seen.fact is not Fact.ALARM:
        return Finding(Signal.ABSENT if seen.fact is Fact.NORMAL else Signal.KEEP)
    alarm, pump = have.alarm is Supply.LOST, have.pump is Supply.LOST
    with_feeder = {
        FedBy.ALARM: alarm,
        FedBy.PUMP: pump,
        FedBy.OWN: alarm and pump,
        FedBy.UNKNOWN: alarm or pump,
    }
    folded = with_feeder[panel.control_fed_by] or power.site_outage is Signal.PRESENT
    if folded and not power.notes:
        return Finding(Signal.KEEP)
    return Finding(Signal.KEEP if with_feeder[panel.control_fed_by] else Signal.PRESENT, "P24")


# P20: a supply that comes and goes


def losses(state: InputState, spec: Input) -> tuple[int, ...]:
    """When this supply was lost, as far as its last turns tell, the newest last."""
    bounce = state.filter
    if state.lost or bounce is None or bounce.closed is None:
        return ()
    last = len(state.turns) - (1 if in_alarm(bounce.closed, spec) else 2)
    return tuple(state.turns[each] for each in range(last % 2, last + 1, 2)) if last >= 0 else ()


def flaps(state: InputState, spec: Input, at: int) -> bool:
    """Whether this supply was lost three times within the last ten minutes."""
    recent = [each for each in losses(state, spec) if each > at - UNSTABLE_IN]
    return len(recent) >= UNSTABLE


def unstable(specs: list[Input], inputs: Mapping[str, InputState], at: int) -> Finding:
    """One alarm for all supplies that come and go."""
    names = [each.id for each in specs if flaps(inputs.get(each.id, _NOBODY), each, at)]
    return Finding(Signal.PRESENT if names else Signal.ABSENT, "P20", ", ".join(names))


def unstable_due(specs: list[Input], inputs: Mapping[str, InputState], at: int) -> int | None:
    """When the third last loss is ten minutes old."""
    all_losses = [losses(inputs.get(each.id, _NOBODY), each) for each in specs]
    times = [each[-UNSTABLE] + UNSTABLE_IN for each in all_losses if len(each) >= UNSTABLE]
    return min((each for each in times if each > at), default=None)


def _quiet(
    finding: Finding,
    spec: Input,
    seen: Seen,
    inputs: Mapping[str, InputState],
    stands: bool,
    at: int,
) -> tuple[Finding, int | None]:
    """While it comes and goes, a loss is told by that alarm; one that has lasted is its own."""
    if stands or finding.signal is not Signal.PRESENT:
        return finding, None
    if spec.means is Means.ALARM_POWER or not flaps(inputs[spec.id], spec, at):
        # A flickering alarm circuit makes the level unknown: that must be told as such.
        return finding, None
    lasted = seen.changed + spec.on_delay
    if at >= lasted:
        return finding, None
    return replace(finding, signal=Signal.KEEP), lasted
