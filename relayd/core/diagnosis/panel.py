"""From a panel's facts to its conditions: which are present, by which row of the tables.

In: the panel's inputs as they now are, what was believed before, which conditions stand.
Out: a `Diagnosis`. Knows nothing of delays, alarms or people.

Four stages, each a table of its own: the references on which the facts hang (facts.py), power
(supplies.py), the level (level.py), the pumps (pump.py). While a reference is lost nothing is
concluded but that; what stood is kept.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.conditions import (
    BLIND,
    HIGH_LEVEL,
    INPUT_LOST,
    UNSETTLED,
    WIRING_FAULT,
    condition_of,
    of_panel,
)
from relayd.core.diagnosis import folding, level, pump, supplies, unsettled
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.facts import (
    drops_due,
    facts,
    faults,
    faults_due,
    lost_reference,
    seen_since,
)
from relayd.core.diagnosis.keeping import blindness, kept, lost
from relayd.core.findings import Diagnosis, Finding, Site
from relayd.core.plan import Means, Panel
from relayd.core.state import Fact, InputState, Signal, Stamp, Subject

_SIGNALS = {
    Fact.ALARM: Signal.PRESENT,
    Fact.NORMAL: Signal.ABSENT,
    Fact.UNKNOWN: Signal.KEEP,
}


def diagnose(
    panel: Panel,
    inputs: Mapping[str, InputState],
    before: Subject,
    present: Mapping[str, bool],
    site: Site,
    stamp: Stamp,
) -> Diagnosis:
    """The panel's conditions; `before` is what was remembered, `present` tells which conditions
    stand after their delays, `site` what the unit's own inputs and the other panels say."""
    cut = lost_reference(panel.inputs, inputs) is not None
    found = _inputs(panel, inputs, before, site, stamp.up, cut)
    due = _inputs_due(panel, inputs, before, stamp.up)
    if cut or site.blind:
        return _blind(panel, before, found, due, site)
    known, faulty = facts(panel, inputs, site), faults(panel, inputs)
    power = supplies.diagnose(panel, known, inputs, present, site, stamp.up)
    since = seen_since(panel, inputs, site)
    levels = level.diagnose(panel, known, inputs, faulty, before, present, stamp.up, since)
    pumps = pump.diagnose(panel, known, before, present, site, stamp)
    found |= {**_contacts(panel, known), **pumps.findings, **power.findings, **levels.findings}
    if HIGH_LEVEL in found:
        high = found[HIGH_LEVEL]
        found[HIGH_LEVEL] = replace(high, notes=(*pumps.notes, *high.notes))
    beliefs = dict(levels.beliefs)
    times = [due, power.due, levels.due, pumps.due]
    times.append(faults_due(panel, inputs, stamp.up))
    return Diagnosis(
        folding.folded(panel, found, before, site),
        beliefs.pop(HIGH_LEVEL, before.belief),
        beliefs={**before.beliefs, **beliefs},
        pumps=pumps.pumps,
        highs=pumps.highs,
        hot=pumps.hot,
        due=min((each for each in times if each is not None), default=None),
    )


def _inputs(
    panel: Panel,
    inputs: Mapping[str, InputState],
    before: Subject,
    site: Site,
    at: int,
    cut: bool,
) -> dict[str, Finding]:
    """What is wrong with the inputs themselves."""
    loops = [each for each in panel.inputs if each.means is Means.CABLE_LOOP]
    watched = () if site.blind else loops if cut else panel.inputs
    since = seen_since(panel, inputs, site)
    found = {
        INPUT_LOST: lost(panel.inputs, inputs),
        UNSETTLED: unsettled.finding(watched, inputs, before, since, at),
    }
    if site.blind:
        found |= kept([UNSETTLED], before)
    if loops:
        told = Finding(Signal.KEEP) if site.blind else blindness(loops, inputs, cut, at)
        found[BLIND] = told
    if any(each.throw_of for each in panel.inputs):
        found[WIRING_FAULT] = _wiring(panel, inputs)
    return found


def _wiring(panel: Panel, inputs: Mapping[str, InputState]) -> Finding:
    """W1 and W2: contacts whose two throws say the same."""
    found = faults(panel, inputs)
    words = {"W1": "both sides open", "W2": "both sides closed"}
    detail = "; ".join(f"{name}: {words[row]}" for name, row in found.items())
    row = next(iter(found.values()), "")
    return Finding(Signal.PRESENT if found else Signal.ABSENT, row, detail)


def _inputs_due(
    panel: Panel, inputs: Mapping[str, InputState], before: Subject, at: int
) -> int | None:
    times = (unsettled.due(before, at), drops_due(panel.inputs, inputs, at))
    return min((each for each in times if each is not None), default=None)


def _blind(
    panel: Panel, before: Subject, found: dict[str, Finding], due: int | None, site: Site
) -> Diagnosis:
    """Nothing is concluded; what was believed and remembered stays."""
    told = {name: found[name] for name in (INPUT_LOST, UNSETTLED, BLIND) if name in found}
    rest = (each for each in of_panel(panel) if each not in told)
    return Diagnosis(
        folding.folded(panel, {**kept(rest, before), **told}, before, site),
        before.belief,
        beliefs=before.beliefs,
        pumps=before.pumps,
        highs=before.highs,
        hot=before.hot,
        due=due,
    )


def _contacts(panel: Panel, known: Mapping[str, Seen]) -> dict[str, Finding]:
    """Contacts that are a condition by themselves, where no table says more."""
    found: dict[str, Finding] = {}
    for spec in panel.inputs:
        name = "" if spec.throw_of else condition_of(panel, spec)
        if name and (name not in found or known[spec.id].fact is Fact.ALARM):
            found[name] = Finding(_SIGNALS[known[spec.id].fact], detail=spec.text)
    return found
