"""What explains a high level: rows R1 to R8 of the pump table, in the order in which they are said.

In: a view of the panel. Out: notes (a row, and the pump's number where there are several), and
when they change by time alone. Knows nothing of alarms that are raised or of people.
"""

from relayd.core import conditions as c
from relayd.core.diagnosis import pump_rows
from relayd.core.diagnosis.pump_rows import Reading
from relayd.core.diagnosis.pump_view import View
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import HOUR, Circuits, Kind

CATCHES_UP, CATCHES_UP_TIMED = 2 * HOUR, 48 * HOUR
"""How long a high level is expected after the power came back."""
_SUPPLIES = (c.PUMP_POWER, c.CONTROL_POWER)
_FEED = ("P5", "P21")
"""Rows of the alarm circuit's loss that tell the loss of the pump's supply with it."""
_OF_ALL = ("R3", "R4", "R5", "R5-idle", "R5-timed")
"""Rows that a contact of all pumps together can tell."""
_CAUSES = frozenset({"R1", "R1-hand", "R1-off", "R2", "R3", "R4", "R5", "R5-idle"})
"""Rows beside which no pump is catching up after an outage."""


def notes(view: View) -> tuple[str, ...]:
    """What explains the high level that stands, in the order in which it must be said."""
    if not view.high:
        return ()
    found = [view.row(row, pump) for pump, now in view.pumps.items() for row in _of(view, now)]
    if len(view.pumps) > 1:
        found += _together(view)
    # A pump that stands still, or has run for long without effect, is not catching up.
    # Another pump runs: that one did not come is what is said of it.
    came = {each.replace("R6", "R5-idle") for each in found if each.startswith("R6")}
    found = [each for each in found if each not in came]
    cause = any(pump_rows.split(each)[0] in _CAUSES for each in found)
    until = catches_up_until(view)
    if not cause and until is not None and view.stamp.up < until:
        found.append("R8")
    return pump_rows.in_order(found)


def _of(view: View, now: Reading) -> tuple[str, ...]:
    timed = view.panel.kind is Kind.EFFLUENT_TIMED
    return pump_rows.notes(now, timed, view.present.get(c.NOT_FALLING, False))


def _together(view: View) -> list[str]:
    """What several pumps say together."""
    runs = {each: view.runs(each) for each in view.pumps}
    if all(runs.values()):
        return ["R7"]
    some = view.some
    running = any(runs.values()) or bool(some and some.runs)
    found = [view.row("R6", each) for each, known in runs.items() if running and known is False]
    if some is not None and not any(runs.values()):
        found += [view.row(row, 0) for row in _of(view, some) if row in _OF_ALL]
    return found


def catches_up_until(view: View) -> int | None:
    """Until when a high level is expected because a supply came back; None: none was seen lost."""
    back = _power_back(view)
    timed = view.panel.kind is Kind.EFFLUENT_TIMED
    return None if back is None else back + (CATCHES_UP_TIMED if timed else CATCHES_UP)


def _power_back(view: View) -> int | None:
    """When a supply of this panel's pumps that was seen lost came back."""
    belief, shared = view.before.belief, view.panel.circuits is Circuits.SHARED
    # An alarm circuit that was off alone says nothing of the pump's supply: somebody was in the panel.
    times = [view.site.power_back] if view.site.power_back is not None else []
    if shared and not belief.circuit_lost and belief.circuit_back is not None:
        times.append(belief.circuit_back)
    for name, alarm in view.before.alarms.items():
        feed = name == c.ALARM_POWER and alarm.told_row in _FEED
        mine = feed or c.base_of(name) in _SUPPLIES
        if mine and alarm.process not in ACTIVE and alarm.returned:
            times.append(alarm.returned.up)
    return max(times, default=None)
