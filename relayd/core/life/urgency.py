"""How urgent an alarm is at this moment: its condition's priority, the site's own, night, and time.

In: a condition, what the diagnosis says of it, for how long it has stood, the clocks. Out: a
priority, and when it changes by time alone. Knows nothing of people or calls.

The site's own priority for an input wins over everything. A condition that nobody drives for at
night has its lesser priority from 22:00 to 07:00 local time while the clock is to be believed.
"""

from relayd.core.calling import hours
from relayd.core.calling.lists import RANK
from relayd.core.conditions import character, input_of
from relayd.core.events import Now
from relayd.core.plan import HOUR, Panel, Plan, Priority
from relayd.core.state import Alarm

MORNING, EVENING = 7 * HOUR, 22 * HOUR


def priority(
    plan: Plan,
    panel: Panel | None,
    condition: str,
    found: Priority | None,
    since: int,
    now: Now,
) -> Priority:
    """The priority of a condition that has stood since boot time `since`; `found` is the diagnosis's."""
    spec = input_of(panel, condition) if panel else None
    if spec is not None and spec.priority is not None:
        return spec.priority
    usual = character(condition)
    if found is None and usual.night is not None and night(plan, now):
        return usual.night
    risen = [later for after, later in usual.rises if now.up - since >= after]
    return max([found or usual.priority, *risen], key=RANK.__getitem__)


def night(plan: Plan, now: Now) -> bool:
    """Whether it is night at the site, as far as that is known; by day where it is not."""
    if not now.trusted:
        return False
    _, time_of_day = hours.local(plan, now.wall)
    return not MORNING <= time_of_day < EVENING


def due(plan: Plan, alarm: Alarm, now: Now) -> int | None:
    """When the priority of this standing alarm next changes by time alone (boot ns)."""
    usual, since = character(alarm.condition), alarm.raised.up if alarm.raised else now.up
    times = [since + after for after, _ in usual.rises if since + after > now.up]
    if usual.night is not None and now.trusted:
        times += [hours.next_at(plan, each, 1, now) for each in (MORNING, EVENING)]
    return min(times, default=None)
