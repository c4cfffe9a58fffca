"""When an acknowledged alarm that is still there calls again, and when nobody's answer calls at all.

In: plan, alarm, an instant. Out: boot times. Knows nothing of people's hours.

The usual re-alarm is the condition's own (or the panel's); a high alarm of a panel whose reserve
is declared calls again when half of that reserve is gone, but never before a quarter of an hour.
"""

from relayd.core.calling.lists import panel_of
from relayd.core.conditions import LEVELS, base_of, character
from relayd.core.plan import HOUR, MINUTE, Plan, Priority
from relayd.core.state import Alarm

LEAST = 15 * MINUTE
UNKNOWN_RESERVE = HOUR
"""An alarm about water whose basin nobody has measured is asked about again within the hour."""
TAKEN_GRACE = 30 * MINUTE


def after_seen(plan: Plan, subject: str, alarm: Alarm, now: int) -> int:
    """Boot time at which an alarm that was only seen calls again."""
    usual = character(alarm.condition).realarm
    panel = panel_of(plan, subject)
    if panel is not None:
        usual = panel.realarm.get(alarm.condition, usual)
        if panel.reserve is None and base_of(alarm.condition) in LEVELS:
            usual = min(usual, UNKNOWN_RESERVE)
    half = _half(plan, subject, alarm)
    return now + max(LEAST, usual if half is None else min(usual, half))


def after_taken(plan: Plan, subject: str, alarm: Alarm, until: int, now: int) -> int:
    """Boot time at which an alarm that somebody has until `until` calls again."""
    half = _half(plan, subject, alarm)
    if half is None or alarm.raised is None:
        return until + TAKEN_GRACE
    return max(now + LEAST, min(until + TAKEN_GRACE, alarm.raised.up + half))


def _half(plan: Plan, subject: str, alarm: Alarm) -> int | None:
    """Half of the declared reserve, where water will not wait for the answer."""
    panel = panel_of(plan, subject)
    if panel is None or panel.reserve is None or alarm.priority is not Priority.HIGH:
        return None
    return panel.reserve // 2
