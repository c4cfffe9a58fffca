"""From a bouncing contact to a settled value.

In: the raw level and when it began. Out: a `Filter` whose `closed` is the settled value.
Knows nothing of what the contact means. Times in nanoseconds of boot time.

One integrator at unit rate: it charges while the contact is closed and discharges while it is
open. Full (`close_time`) turns the value closed and sets the charge to `open_time`; empty turns
it open. A pulse shorter than `close_time` never passes, and a contact that is closed for more
than half of the time always passes in the end, however it chatters: a filter that starts again
at each edge would never pass a chattering contact, and so would never raise its alarm.
Where the two shares are nearly equal 'in the end' could be an hour, so a charge that has been
away from its rest for `LONGEST` without a break turns the value too: the contact stood on the
other side for more than half of that time.

A contact that pulses by nature (it follows the mains, a flashing lamp, a horn) has a second mode,
a hold: the longer of its two times is the hold, the shorter the least pulse. One pulse of that
length turns the value to the side of the pulses; it goes back when no such pulse came for the
hold. An integrator would lose a supply that holds its contact for 45 % of each cycle.
Shorter pulses count for nothing: what is induced into a dead wire never reads as a supply.

Until it has settled for the first time the value is None: not known, rather than open.
"""

from dataclasses import replace

from relayd.core.plan import SECOND
from relayd.core.state import Filter

LONGEST = 20 * SECOND


def started(raw: bool, at: int, close_time: int, open_time: int) -> Filter:
    """A filter that has just seen its first level: empty, and not settled."""
    return Filter(raw=raw, at=at, settles=at + close_time + open_time, edge=at)


def advance(flt: Filter, raw: bool | None, at: int, close_time: int, open_time: int) -> Filter:
    """Run the filter on to `at`, then take the new raw level (None: it did not change).

    An `at` that lies before the filter's own time counts as its own time.
    """
    at = max(at, flt.at)
    turn = _turns(flt, close_time, open_time)
    while turn is not None and turn <= at:
        flt = _turned(flt, turn, open_time)
        turn = _turns(flt, close_time, open_time)
    flt = replace(flt, charge=_charge(flt, at, close_time, open_time), at=at)
    if flt.closed is None and at >= flt.settles:
        flt = replace(flt, closed=False, changed=flt.settles, began=flt.settles)
    if raw is None or raw == flt.raw:
        return flt
    edge = at if flt.charge == _rest(flt, open_time) else flt.edge
    return replace(flt, raw=raw, edge=edge)


def due(flt: Filter, close_time: int, open_time: int) -> int | None:
    """When the value will change (or settle) if no further edge comes; None if it will not."""
    turn = _turns(flt, close_time, open_time)
    if flt.closed is None:
        return flt.settles if turn is None else min(turn, flt.settles)
    return turn


def _rest(flt: Filter, open_time: int) -> int:
    """The charge at which the contact stands where its value is."""
    return open_time if flt.closed else 0


def _turns(flt: Filter, close_time: int, open_time: int) -> int | None:
    """When the value turns if the raw level stays."""
    away = abs(flt.charge - _rest(flt, open_time))
    longest = flt.edge + LONGEST
    if flt.raw != bool(flt.closed):
        room = flt.charge if flt.closed else close_time - flt.charge
        return min(flt.at + room, longest) if away else flt.at + room
    return longest if away and longest < flt.at + away else None


def _turned(flt: Filter, at: int, open_time: int) -> Filter:
    closed = not flt.closed
    edge = flt.edge if flt.raw == closed else at
    charge = open_time if closed else 0
    return replace(flt, closed=closed, charge=charge, at=at, changed=at, began=flt.edge, edge=edge)


def _charge(flt: Filter, at: int, close_time: int, open_time: int) -> int:
    passed = at - flt.at
    if flt.raw:
        return min(open_time if flt.closed else close_time, flt.charge + passed)
    return max(0, flt.charge - passed)


# The second mode: a hold that each pulse begins anew
# `charge` is how long the pulse under way has lasted, `edge` when the last whole one ended.


def advance_pulses(
    flt: Filter, raw: bool | None, at: int, close_time: int, open_time: int
) -> Filter:
    """As `advance`, for a contact that pulses by nature."""
    at = max(at, flt.at)
    flt = _passed(flt, at, close_time, open_time)
    if raw is None or raw == flt.raw:
        return flt
    least = min(close_time, open_time)
    edge = at if _pulses(flt, close_time, open_time) and flt.charge >= least else flt.edge
    return _passed(replace(flt, raw=raw, charge=0, edge=edge), at, close_time, open_time)


def due_pulses(flt: Filter, close_time: int, open_time: int) -> int | None:
    """As `due`, for a contact that pulses by nature; a pulse under way puts the end off."""
    side = open_time >= close_time
    if flt.raw == side:
        whole = flt.at + min(close_time, open_time) - flt.charge
        return None if flt.closed == side else whole
    if flt.closed is None:
        return max(flt.settles, flt.at)
    over = flt.edge + max(close_time, open_time)
    return max(over, flt.at) if flt.closed == side else None


def _pulses(flt: Filter, close_time: int, open_time: int) -> bool:
    """Whether a pulse is under way: they close the contact where the hold is its open time."""
    return flt.raw == (open_time >= close_time)


def _passed(flt: Filter, at: int, close_time: int, open_time: int) -> Filter:
    turn, pulse = due_pulses(flt, close_time, open_time), _pulses(flt, close_time, open_time)
    least = min(close_time, open_time)
    if turn is not None and turn <= at:
        began = turn - least if pulse else turn if flt.closed is None else flt.edge
        edge = turn if pulse else flt.edge
        flt = replace(flt, closed=flt.raw, changed=turn, began=began, edge=edge)
    charge = min(least, flt.charge + at - flt.at) if pulse else 0
    return replace(flt, at=at, charge=charge)
