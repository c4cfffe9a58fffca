"""What is remembered of a panel's pumps: their cycles, when the level was high, when one was too hot.

In: a view of the panel. Out: the memory as it now is, bounded. Knows nothing of findings or words.
"""

from collections.abc import Mapping

from relayd.core import conditions as c
from relayd.core.diagnosis import cycles, pump_notes, tallies
from relayd.core.diagnosis.belief import Seen
from relayd.core.diagnosis.pump_reads import input_for
from relayd.core.diagnosis.pump_rows import split
from relayd.core.diagnosis.pump_view import View
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import DAY, Means
from relayd.core.state import Alarm, Fact, PumpLog, Stamp

HIGHS_KEPT, HOT_KEPT = 32, 8
_UNKNOWN = Seen(Fact.UNKNOWN)


def logs(view: View) -> Mapping[int, PumpLog]:
    """Each watched pump's starts, runs and gaps; of a pump that is no longer watched what was known."""
    before, after = view.before.pumps, dict(view.before.pumps)
    limit, empty = view.panel.starts_limit, view.site.empty
    for pump, now in view.watched.items():
        means = Means.PUMP_RUNNING if now.current_wired else Means.PUMP_CALLED
        spec = input_for(view.panel, means, pump)
        seen = view.facts.get(spec.id, _UNKNOWN) if spec else _UNKNOWN
        log = cycles.followed(before.get(pump), seen, now.runs, view.stamp, limit, empty)
        if log is not None:
            after[pump] = tallies.counted(before.get(pump), log, view.stamp, view.site.offsets)
    return cycles.turns(before, after)


_EXPLAINS = frozenset({"R1", "R1-hand", "R1-off", "R2", "U1"})
"""Notes of a high level that say why it came, and that it is no sign of a pump that grows weak."""


def highs(view: View) -> tuple[Stamp, ...]:
    """When high level returned, this week's; not what a visitor lifted, a chattering contact that
    was never believed, nor what an outage or a switch explains.

    It is noted in the step in which it returns: who was there at that moment is known then.
    """
    before, alarm = view.before.highs, view.before.alarms.get(c.HIGH_LEVEL)
    back = alarm.returned if alarm and alarm.process not in ACTIVE else None
    if alarm is None or back is None or back.up != view.stamp.up or back in before:
        return before
    if view.before.visit is not None or _explained(view, alarm):
        return before
    kept = [each for each in before if each.up > view.stamp.up - 7 * DAY]
    return (*kept, back)[-HIGHS_KEPT:]


def _explained(view: View, alarm: Alarm) -> bool:
    """Whether a switch, a chattering contact or an outage was said to be behind it."""
    if any(split(each)[0] in _EXPLAINS for each in (*alarm.notes, *alarm.told_notes)):
        return True
    until = pump_notes.catches_up_until(view)
    return until is not None and alarm.raised is not None and alarm.raised.up < until


def hot(view: View) -> Mapping[int, tuple[Stamp, ...]]:
    """When each pump was found too hot, the last day's."""
    after = dict(view.before.hot)
    for pump in view.pumps:
        since, times = hot_since(view, pump), after.get(pump, ())
        if since is not None and (not times or since.up > times[-1].up):
            kept = [each for each in times if each.up > view.stamp.up - DAY]
            after[pump] = (*kept, since)[-HOT_KEPT:]
    return after


def hot_since(view: View, pump: int) -> Stamp | None:
    """Since when the alarm 'too hot' of that pump stands."""
    spec = input_for(view.panel, Means.OVER_TEMPERATURE, pump)
    alarm = view.before.alarms.get(c.condition_of(view.panel, spec)) if spec else None
    return alarm.raised if alarm and alarm.process in ACTIVE else None
