"""One panel's pumps at one moment: what every part of the pump table reads.

In: a panel, its facts, what is remembered of it, which conditions stand. Out: a `View`. Knows
nothing of findings or words. A contact for call or current that carries no number on a panel of
several pumps tells of no single one: it is `some`, and stands as pump 0.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from relayd.core import conditions as c
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.pump_reads import able, input_for, read
from relayd.core.diagnosis.pump_rows import Reading, Switch
from relayd.core.findings import Site
from relayd.core.plan import Means, Panel, Priority
from relayd.core.state import Stamp, Subject

_OUT = (c.OVERLOAD, c.PUMP_FAULT, c.NO_CURRENT, c.PUMP_POWER)
"""Alarms that take a pump out; a switch in Off does so at once."""


@dataclass(frozen=True, slots=True)
class View:
    """One panel at one moment."""

    panel: Panel
    facts: Mapping[str, Seen]
    before: Subject
    present: Mapping[str, bool]
    site: Site
    stamp: Stamp
    pumps: Mapping[int, Reading]
    some: Reading | None
    """What the contacts of all pumps together tell; None where there is none, or only one pump."""
    high: bool

    @property
    def watched(self) -> Mapping[int, Reading]:
        """The pumps whose call or current is wired, `some` as pump 0."""
        own = {each: now for each, now in self.pumps.items() if _is_watched(self.panel, each)}
        return own if self.some is None else {**own, 0: self.some}

    def name(self, condition: str, pump: int) -> str:
        """The condition's name for that pump."""
        return c.of_pump(condition, self.panel, pump)

    def row(self, row: str, pump: int) -> str:
        """The row with the pump's number where the panel has several; 0: one of the pumps."""
        return f"{row}-{pump}" if self.panel.pumps > 1 else row

    def able(self, pump: int) -> bool:
        """Whether nothing is known that keeps that pump from working."""
        return able(self.panel, self.facts, pump, self._stands(c.NO_CURRENT, pump))

    def relieved(self, condition: str, pump: int) -> Priority | None:
        """The lesser priority where another pump can do the work; None: the condition's own.

        For an alarm that stands it is judged by alarms that stand: a contact that flutters must
        not call people again and again.
        """
        fit = self._not_out if self.present.get(self.name(condition, pump), False) else self.able
        others = pump and any(fit(each) for each in self.pumps if each != pump)
        return c.character(condition).able if others else None

    def _not_out(self, pump: int) -> bool:
        out = any(self._stands(each, pump) for each in _OUT)
        return not (out or self.pumps[pump].switch is Switch.OFF)

    def _stands(self, condition: str, pump: int) -> bool:
        """That pump's alarm, or that of all pumps, stands."""
        names = (self.name(condition, pump), condition)
        return any(self.present.get(each, False) for each in names)

    def runs(self, pump: int) -> bool | None:
        """Whether that pump runs; it does not where the contact of all says that none does."""
        own = self.pumps[pump].runs
        none = self.some is not None and self.some.runs is False
        return False if own is None and none else own


def look(
    panel: Panel,
    facts: Mapping[str, Seen],
    before: Subject,
    present: Mapping[str, bool],
    site: Site,
    stamp: Stamp,
) -> View:
    """The panel as its facts now have it."""
    high = present.get(c.HIGH_LEVEL, False) or present.get(c.HIGH_HIGH_LEVEL, False)
    pumps = {each: read(panel, facts, each) for each in range(1, panel.pumps + 1)}
    shared = panel.pumps > 1 and _is_watched(panel, 0)
    some = read(panel, facts, 0) if shared else None
    return View(panel, facts, before, present, site, stamp, pumps, some, high)


def _is_watched(panel: Panel, pump: int) -> bool:
    called, running = Means.PUMP_CALLED, Means.PUMP_RUNNING
    return bool(input_for(panel, called, pump) or input_for(panel, running, pump))
