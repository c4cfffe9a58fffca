"""What is known of each pump of a panel, from the facts of its inputs.

In: a panel, facts by full input id. Out: a `Reading` a pump, and whether that pump can do the work.
Knows nothing of time, alarms or people. An input without a number is about every pump, except that
a shared contact for call or current tells of no single one: ask for pump 0.
"""

from collections.abc import Mapping

from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.pump_rows import Reading, Switch, no_current
from relayd.core.once import once
from relayd.core.plan import FedBy, Input, Means, Panel
from relayd.core.state import Fact, Signal

_OWN = frozenset({Means.PUMP_CALLED, Means.PUMP_RUNNING})


@once
def input_for(panel: Panel, means: Means, pump: int) -> Input | None:
    """The input that tells `means` of that pump, its own number first."""
    fit = [
        each
        for each in panel.inputs
        if each.means is means and not each.throw_of and _about(panel, each, pump)
    ]
    return max(fit, key=lambda each: each.pump, default=None)


def _about(panel: Panel, spec: Input, pump: int) -> bool:
    shared = spec.pump == 0 and (panel.pumps == 1 or spec.means not in _OWN)
    return shared or spec.pump == pump


def known(panel: Panel, facts: Mapping[str, Seen], means: Means, pump: int) -> bool | None:
    """Whether it is so (for a supply: lost); None where it is not known or not wired."""
    spec = input_for(panel, means, pump)
    fact = facts.get(spec.id, Seen(Fact.UNKNOWN)).fact if spec else Fact.UNKNOWN
    return None if fact is Fact.UNKNOWN else fact is Fact.ALARM


def read(panel: Panel, facts: Mapping[str, Seen], pump: int) -> Reading:
    """What is known of that pump."""
    lost = known(panel, facts, Means.PUMP_POWER, pump)
    return Reading(
        known(panel, facts, Means.PUMP_CALLED, pump),
        known(panel, facts, Means.PUMP_RUNNING, pump),
        None if lost is None else not lost,
        switch(panel, facts, pump),
        panel.control_fed_by not in (FedBy.ALARM, FedBy.OWN),
        input_for(panel, Means.PUMP_RUNNING, pump) is not None,
    )


def switch(panel: Panel, facts: Mapping[str, Seen], pump: int) -> Switch:
    """Where its switch stands, by whichever of the three contacts is wired."""
    hand = known(panel, facts, Means.IN_HAND, pump)
    off = known(panel, facts, Means.IN_OFF, pump)
    not_auto = known(panel, facts, Means.NOT_IN_AUTO, pump)
    if hand and off:
        return Switch.NOT_AUTO
    if hand or (not_auto and off is False):
        return Switch.HAND
    if off or (not_auto and hand is False):
        return Switch.OFF
    if not_auto:
        return Switch.NOT_AUTO
    auto = not_auto is False or (hand is False and off is False)
    return Switch.AUTO if auto else Switch.NOT_KNOWN


def able(panel: Panel, facts: Mapping[str, Seen], pump: int, stands: bool = False) -> bool:
    """Whether nothing is known that keeps this pump from working; `stands`: its no-current does."""
    now = read(panel, facts, pump)
    dry = no_current(now)
    out = dry is Signal.PRESENT or (stands and dry is Signal.KEEP)
    tripped = any(known(panel, facts, each, pump) for each in (Means.OVERLOAD, Means.PUMP_FAULT))
    return not (out or tripped or now.power is False or now.switch is Switch.OFF)
