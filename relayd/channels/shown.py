"""The tree as it is now, made anew only where something changed, with descriptions that keep their numbers.

In: the plan, states as they come, what was kept of the descriptions. Out: trees. Knows nothing of
brokers and files. A description hangs on the plan alone, so it is made once; its number rises by
one when it differs from the one that was last told.
"""

import json
from collections.abc import Callable, Iterable, Mapping

from relayd.channels import devices, homie
from relayd.channels.branches import Branches
from relayd.core.events import Now
from relayd.core.plan import Plan
from relayd.core.state import Away, State

_KEY = "homie-version:"


class Shown:
    """One unit's tree. Used by one thread; a tree that was handed out never changes."""

    def __init__(
        self,
        plan: Plan,
        kept: Callable[[str], str | None],
        keep: Callable[[str, str], None],
    ) -> None:
        """`kept` gives what was last kept under a name, and `keep` keeps it; neither waits."""
        self._plan = plan
        self._descriptions = {each.id: _numbered(each, kept, keep) for each in homie.family(plan)}
        self.tree: Branches[str] = Branches()
        self._away: Mapping[str, Away] = {}

    def resolved(self, plan: Plan) -> None:
        """The same plan, its local time resolved around another year."""
        self._plan = plan

    def whole(self, state: State, now: Now) -> Branches[str]:
        """Every topic of this unit and its panels."""
        self._away = _away(state)
        self.tree = homie.tree(state, self._plan, now, self._descriptions)
        return self.tree

    def after(self, subjects: Iterable[str], state: State, now: Now) -> Branches[str]:
        """The same after a step that changed these subjects."""
        if not self.tree or _away(state) != self._away:
            # Who is away is kept by the unit, and decides whom a panel's call list tells next.
            return self.whole(state, now)
        for device in dict.fromkeys(homie.device_of(each, self._plan.unit) for each in subjects):
            branch = homie.branch(device, state, self._plan, now, self._descriptions)
            self.tree = self.tree.grafted(device, branch)
        return self.tree


def _away(state: State) -> Mapping[str, Away]:
    unit = state.subjects.get(homie.UNIT)
    return unit.away if unit else {}


def _numbered(
    device: devices.Device,
    kept: Callable[[str], str | None],
    keep: Callable[[str, str], None],
) -> str:
    key = f"{_KEY}{device.id}"
    before = kept(key) or ""
    version, after = devices.risen(before, json.dumps(devices.document(device)))
    if after != before:
        keep(key, after)
    return devices.description(device, version)


def alone(state: State, plan: Plan, now: Now) -> Mapping[str, str]:
    """The tree of a state by itself, every description the first of its kind."""
    return Shown(plan, lambda key: None, lambda key, value: None).whole(state, now)
