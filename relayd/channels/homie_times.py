"""Times as a broker shows them: local ISO 8601 with its offset, or nothing where it is not known.

In: stamps and instants, plan, time. Out: text. Never an elapsed time: that would always change.
Each is a property of datatype `string`: the convention's `datetime` has no value for 'not known',
and each retained property must have one.
"""

from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Plan
from relayd.core.saying import when
from relayd.core.state import Stamp, State


def moment(stamp: Stamp | None, state: State, plan: Plan, now: Now) -> str:
    """Local ISO 8601 time of a stamp, or '' where it cannot be known.

    A stamp of before the clock was set is worked out from boot time, to the minute.
    """
    if stamp is None or not now.trusted:
        return ""
    if stamp.trusted:
        return iso(stamp.wall, plan)
    if state.boot != now.boot:
        return ""
    wall = now.wall - (now.up - stamp.up)
    return iso((wall + MINUTE // 2) // MINUTE * MINUTE, plan)


def iso(wall: int, plan: Plan) -> str:
    """ISO 8601 with the offset that the site's clocks show then."""
    offset = when.offset_at(plan, wall).seconds
    days, rest = divmod(wall + offset * SECOND, DAY)
    year, month, day = when.civil(days)
    time = f"{rest // HOUR:02d}:{rest % HOUR // MINUTE:02d}:{rest % MINUTE // SECOND:02d}"
    sign, minutes = "-" if offset < 0 else "+", abs(offset) // 60
    return f"{year:04d}-{month:02d}-{day:02d}T{time}{sign}{minutes // 60:02d}:{minutes % 60:02d}"


def upcoming(up: int | None, plan: Plan, now: Now) -> str:
    """Local ISO 8601 time of a boot time that is to come, or '' where there is none or no clock."""
    return iso(now.wall + up - now.up, plan) if up is not None and now.trusted else ""
