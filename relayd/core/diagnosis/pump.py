"""The pump table: what the pump's own contacts say, pump by pump, and beside a high level.

In: a panel's facts, what is remembered of its pumps, which conditions stand. Out: findings, the
notes that explain a high level (rows R1 to R8), and the pumps' memory. Knows nothing of delays,
alarms or people.

Its parts: a view of the panel (pump_view.py), the memory (pump_memory.py), what is concluded
(pump_findings.py), what explains a high level (pump_notes.py); the rows as data: pump_rows.py.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from relayd.core.diagnosis import cycles, pump_findings, pump_memory, pump_notes
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.pump_view import View, look
from relayd.core.findings import Finding, Site
from relayd.core.plan import DAY, Panel
from relayd.core.state import PumpLog, Stamp, Subject


@dataclass(frozen=True, slots=True)
class Pumps:
    """What the pump table says of one panel."""

    findings: Mapping[str, Finding] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    """Rows that explain a high level, the most telling first."""
    pumps: Mapping[int, PumpLog] = field(default_factory=dict)
    """Pump 0 is what the contacts of all pumps together tell."""
    highs: tuple[Stamp, ...] = ()
    hot: Mapping[int, tuple[Stamp, ...]] = field(default_factory=dict)
    due: int | None = None


def diagnose(
    panel: Panel,
    facts: Mapping[str, Seen],
    before: Subject,
    present: Mapping[str, bool],
    site: Site,
    stamp: Stamp,
) -> Pumps:
    """The pump table; `facts` by full input id, `present` tells which conditions stand."""
    view = look(panel, facts, before, present, site, stamp)
    logs, highs, hot = pump_memory.logs(view), pump_memory.highs(view), pump_memory.hot(view)
    found = dict(pump_findings.of_inputs(view, hot))
    found.update(pump_findings.of_cycles(view, logs))
    found.update(pump_findings.contradictions(view))
    found.update(pump_findings.of_panel(view, logs, highs))
    times = [*_remembered(highs, hot), *_cycles(view, logs)]
    until = pump_notes.catches_up_until(view)
    if view.high and until is not None:
        times.append(until)
    due = min((each for each in times if each > stamp.up), default=None)
    return Pumps(found, pump_notes.notes(view), logs, highs, hot, due)


def _remembered(highs: tuple[Stamp, ...], hot: Mapping[int, tuple[Stamp, ...]]) -> Iterator[int]:
    """When something that was remembered no longer counts."""
    for each in highs:
        yield from (each.up + DAY, each.up + 7 * DAY)
    for stamps in hot.values():
        yield from (each.up + DAY for each in stamps)


def _cycles(view: View, logs: Mapping[int, PumpLog]) -> Iterator[int]:
    """When a run, an hour's starts or a gap says something else by time alone."""
    for pump in view.watched:
        log = logs.get(pump)
        if log is None:
            continue
        if (over := pump_findings.run_over(view, log)) is not None:
            yield over
        yield from cycles.due(log, view.stamp.up, view.panel.starts_limit, view.site.empty)
        since = pump_findings.idle_since(view, logs, pump)
        if since is not None and log.running is None and not view.site.empty:
            yield from (since + cycles.longest(log, each) for each in (2, 4))
