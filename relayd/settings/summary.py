"""What a plan comes to, in a few lines a panel, for `relayd check`.

In: the frozen plan, an instant. Out: lines of text: what the wired inputs can tell by the engine's own
catalogue, what they cannot, who is told at night and by when. Never that all is well.
"""

from collections.abc import Iterable, Iterator

from relayd.core.conditions import INPUT_LOST, PUMPED, UNSETTLED, base_of, of_panel, pump_of
from relayd.core.plan import Means, Panel, Plan
from relayd.core.saying.sentences import name as named
from relayd.settings import reach

_ALWAYS = frozenset({UNSETTLED, INPUT_LOST})
"""What every input can tell of itself."""
_QUESTIONS = (
    (Means.PUMP_POWER, "whether it has power"),
    (Means.PUMP_CALLED, "whether it is called"),
    (Means.PUMP_RUNNING, "whether it takes current"),
)
"""A pump that is called need not run, and one that takes current need not move water."""


def summary(plan: Plan, wall: int) -> Iterator[str]:
    """A few lines for each panel, as of `wall` (UTC, ns)."""
    for panel in plan.panels.values():
        yield f"{panel.name} ({panel.id})"
        found = [each for each in of_panel(panel) if each not in _ALWAYS]
        told = [each for each in found if base_of(each) not in PUMPED]
        yield f"  can tell: {_names(panel, told)}"
        pumped = [each for each in found if base_of(each) in PUMPED]
        yield from (f"  {line}" for line in _pumps(panel, pumped))
        yield f"  a high alarm at 03:00: {reach.called(plan, panel, wall)}"
        yield f"  {_worst(plan, panel)}"


def _pumps(panel: Panel, pumped: list[str]) -> Iterator[str]:
    """What this panel can tell of each pump, and what it cannot."""
    shared = [each for each in pumped if not pump_of(each)]
    if panel.pumps > 1 and shared:
        yield f"of its pumps together: {_names(panel, shared)}"
    for pump in range(1, panel.pumps + 1):
        own = [each for each in pumped if pump_of(each) == pump] if panel.pumps > 1 else shared
        yield f"of pump {pump}: {_names(panel, map(base_of, own)) or 'nothing of its own'}{_cannot(panel, pump)}"


def _cannot(panel: Panel, pump: int) -> str:
    wired = {each.means for each in panel.inputs if each.pump in (0, pump)}
    missing = [question for means, question in _QUESTIONS if means not in wired]
    return f"; cannot tell {', '.join(missing)}" if missing else ""


def _names(panel: Panel, conditions: Iterable[str]) -> str:
    return "; ".join(named(each, panel) for each in conditions)


def _worst(plan: Plan, panel: Panel) -> str:
    """The last person's time beside the basin's."""
    late = reach.about(reach.worst_case(plan, panel))
    held = "not known" if panel.reserve is None else reach.about(panel.reserve)
    return (
        f"in the worst case the last person is told after {late};"
        f" this basin's pessimistic reserve is {held}"
    )
