"""The site's supply, from the unit's own inputs and from every panel's power inputs.

In: the live inputs of all subjects. Out: a `Site`, which every panel's diagnosis reads, and the
unit's own findings (site outage, the unit's supply, a blind unit). Knows nothing of delays,
alarms or people. An outage is concluded only where no panel of the site shows power.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from relayd.core.conditions import (
    BLIND,
    INPUT_LOST,
    SITE_CONDITIONS,
    SITE_OUTAGE,
    UNIT_POWER,
    UNSETTLED,
    UNSTABLE_SUPPLY,
)
from relayd.core.diagnosis import unsettled
from relayd.core.diagnosis.facts import believed, drops_due, facts, lost_reference, reference_since
from relayd.core.diagnosis.keeping import blindness, kept, lost
from relayd.core.diagnosis.power import TABLE, Power, Supply
from relayd.core.diagnosis.supplies import Known, flaps, known, unit_supply, unstable, unstable_due
from relayd.core.draft import UNIT
from relayd.core.findings import Diagnosis, Finding, Site
from relayd.core.life.alarm import ACTIVE
from relayd.core.life.shown import quiet
from relayd.core.plan import REFERENCES, SUPPLIES, Input, Means, Plan, Priority
from relayd.core.state import Fact, InputState, Live, Signal, Stamp, Subject

__all__ = ("Site", "diagnose", "seen")


def seen(plan: Plan, live: Mapping[str, Live], unit: Subject | None = None) -> Site:
    """The site as the inputs now have it, and what people are told of it; `unit` as remembered."""
    own = live.get(UNIT, Live()).inputs
    blind = lost_reference(plan.inputs, own) is not None
    since = reference_since(plan.inputs, own)
    found = Site(None, None, blind, False, since, plan.empty, plan.offsets)
    if blind:
        return found
    lost_power = _told(plan, own, Means.UNIT_POWER, since)
    told = _told_unstable(unit)
    return Site(
        None if lost_power is None else not lost_power,
        _told(plan, own, Means.ON_GENERATOR, since),
        False,
        bool(lost_power) and any(each.shows_power for each in _panels(plan, live, found)),
        since,
        plan.empty,
        plan.offsets,
        _power_back(plan, own) if lost_power is False else None,
        told,
        () if told is None else _flapping(plan, live),
    )


def _told_unstable(unit: Subject | None) -> tuple[str, ...] | None:
    """Who was told that the site's supply comes and goes; None: nobody is told of it."""
    alarm = unit.alarms.get(UNSTABLE_SUPPLY) if unit else None
    if unit is None or alarm is None or alarm.process not in ACTIVE or quiet(alarm, unit):
        return None
    return None if alarm.priority is Priority.RECORD_ONLY else alarm.told


def _flapping(plan: Plan, live: Mapping[str, Live]) -> tuple[str, ...]:
    """The supplies of panels that come and go, by full input id, as their inputs were last seen."""
    return tuple(
        spec.id
        for panel in plan.panels.values()
        for spec in panel.inputs
        if spec.means in SUPPLIES and not spec.throw_of and _flaps(spec, live)
    )


def _flaps(spec: Input, live: Mapping[str, Live]) -> bool:
    state = live.get(f"panel:{spec.panel}", Live()).inputs.get(spec.id, InputState())
    return state.filter is not None and flaps(state, spec, state.filter.at)


def _power_back(plan: Plan, inputs: Mapping[str, InputState]) -> int | None:
    """When the unit's supply returned; what it was at the start is no return."""
    for spec in plan.inputs:
        bounce = inputs.get(spec.id, InputState()).filter
        if spec.means is Means.UNIT_POWER and bounce is not None and bounce.began > bounce.settles:
            return bounce.changed
    return None


def _told(
    plan: Plan, inputs: Mapping[str, InputState], means: Means, since: int | None
) -> bool | None:
    """Whether the unit's input of that means stands in alarm; None where nothing tells."""
    spec = next((each for each in plan.inputs if each.means is means), None)
    if spec is None:
        return None
    told = believed(inputs.get(spec.id, InputState()), spec, since).fact
    return None if told is Fact.UNKNOWN else told is Fact.ALARM


def _panels(plan: Plan, live: Mapping[str, Live], site: Site) -> Iterator[Known]:
    for panel in plan.panels.values():
        inputs = live.get(f"panel:{panel.id}", Live()).inputs
        yield known(panel, facts(panel, inputs, site), inputs)


def diagnose(
    plan: Plan, live: Mapping[str, Live], site: Site, before: Subject, stamp: Stamp
) -> Diagnosis:
    """The findings of the unit's own inputs, and when they change by time alone."""
    if not plan.inputs:
        return Diagnosis({})
    at, inputs = stamp.up, live.get(UNIT, Live()).inputs
    supplies = [each for each in plan.inputs if each.means is Means.UNIT_POWER]
    references = [each for each in plan.inputs if each.means in REFERENCES]
    watched = references if site.blind else plan.inputs
    found = {
        BLIND: blindness(references, inputs, site.blind, at),
        UNSETTLED: unsettled.finding(watched, inputs, before, site.seen_since, at),
        INPUT_LOST: lost(plan.inputs, inputs),
    }
    times = [unsettled.due(before, at), drops_due(references, inputs, at)]
    if site.blind:
        found |= kept((each for each in SITE_CONDITIONS if each not in found), before)
        return Diagnosis(found, due=_first(times))
    found |= _power(plan, live, site, supplies)
    found[UNSTABLE_SUPPLY] = _unstable(plan, live, unstable(supplies, inputs, at))
    return Diagnosis(found, due=_first([*times, unstable_due(supplies, inputs, at)]))


def _unstable(plan: Plan, live: Mapping[str, Live], own: Finding) -> Finding:
    """The site's supply comes and goes: said with the panels' supplies that do so as well."""
    names = _flapping(plan, live) if own.signal is Signal.PRESENT else ()
    if not names:
        return own
    return replace(own, detail=", ".join((own.detail, *names)), notes=("P25",))


def _first(times: list[int | None]) -> int | None:
    return min((each for each in times if each is not None), default=None)


def _power(
    plan: Plan, live: Mapping[str, Live], site: Site, supplies: list[Input]
) -> dict[str, Finding]:
    power = _row(list(_panels(plan, live, site)), site)
    if site.on_generator:
        notes = ("G2",) if site.unit_power is False else ()
        return {
            SITE_OUTAGE: Finding(Signal.PRESENT, "P18"),
            UNIT_POWER: Finding(power.unit_power, "P18", notes=notes),
        }
    if not supplies:
        # Nothing but the generator's contact tells of an outage here.
        tells = Signal.KEEP if _has_unread_generator(plan, site) else Signal.ABSENT
        return {SITE_OUTAGE: Finding(tells), UNIT_POWER: Finding(Signal.ABSENT)}
    breaker = any(each.shares_breaker for each in plan.panels.values())
    notes = ("B1",) if breaker and power.row == "P11" else ()
    # It may be an outage: as urgent as one.
    urgent = Priority.MEDIUM if power.row == "P17" else None
    return {
        SITE_OUTAGE: Finding(power.site_outage, power.row, notes=notes),
        UNIT_POWER: Finding(power.unit_power, power.row, priority=urgent),
    }


def _has_unread_generator(plan: Plan, site: Site) -> bool:
    wired = any(each.means is Means.ON_GENERATOR for each in plan.inputs)
    return wired and site.on_generator is None


_TELLING = ("P14", "P12", "P13", "P16", "P11", "P15", "P17")
"""Rows of a lost unit supply, the most telling first: power that is seen rules out an outage."""


def _row(panels: list[Known], site: Site) -> Power:
    """The site's row: over all panels, the one that says most."""
    unit, generator = unit_supply(site), bool(site.on_generator)
    rows = [TABLE[unit, each.alarm, each.pump, generator] for each in panels]
    rows = rows or [TABLE[unit, Supply.NOT_KNOWN, Supply.NOT_KNOWN, generator]]
    return min(rows, key=lambda each: _TELLING.index(each.row) if each.row in _TELLING else 99)
