"""On-delay and off-delay of one condition, which no flutter can starve.

In: the signal of the diagnosis (present, absent, keep) with its time. Out: a `Delay` whose
`present` is the condition after both delays. Knows nothing of contacts or alarms.

The on-delay is ISA-18.2's (read in OPC 10000-9 B.1.5): the signal must hold for the whole delay.
That alone is silent for a float that bobs: nine seconds of every ten never make ten. So a second
way leads to the alarm: `score` is present time minus absent time of the current spell, never
below zero, and a spell that has lasted for max(60 s, 2 x on-delay) without the score touching
zero was present for more than half of that time; it raises without further waiting. Those times
are meant from the first edge at the contact: a second of them is the bounce filter's.
The score is bounded by the on-delay: an absent stretch that is not shorter than the present one
before it ends the spell, and a present stretch of a whole on-delay has raised already.
"""

from dataclasses import replace

from relayd.core.plan import SECOND
from relayd.core.state import Delay, Signal

LEAST_SPELL = 60 * SECOND
FILTER_SHARE = SECOND
"""The longest that a plan may let the bounce filter wait before a contact that moved cleanly is seen."""


def spell_time(on_delay: int) -> int:
    """How long a condition that is mostly present may stay unraised, in nanoseconds."""
    return max(LEAST_SPELL, 2 * on_delay) - FILTER_SHARE


def advance(delay: Delay, signal: Signal, at: int, on_delay: int, off_delay: int) -> Delay:
    """Run both delays on to `at`, then take the signal that holds from `at` on."""
    at = max(at, delay.at)
    delay = _run(delay, at, on_delay, off_delay)
    if signal is delay.signal:
        return delay
    changed = replace(delay, signal=signal)
    if signal is Signal.PRESENT:
        return _present(changed, at)
    if signal is Signal.ABSENT:
        return replace(changed, pending=None, leaving=at if delay.present else None)
    return replace(changed, pending=None, leaving=None, score=0, spell=None)


def due(delay: Delay, on_delay: int, off_delay: int) -> int | None:
    """When the condition will change if the signal stays as it is; None if it will not."""
    if delay.present:
        return delay.leaving + off_delay if delay.leaving is not None else None
    return _raise_at(delay, on_delay)


def raised(delay: Delay, at: int) -> Delay:
    """The condition made present at once, whatever the delays say."""
    return replace(delay, present=True, pending=None, leaving=None, score=0, spell=None, at=at)


def _present(delay: Delay, at: int) -> Delay:
    if delay.present:
        return replace(delay, leaving=None)
    return replace(delay, pending=at, spell=at if delay.spell is None else delay.spell)


def _raise_at(delay: Delay, on_delay: int) -> int | None:
    """When the on-delay or the spell is over, whichever comes first, if the signal stays."""
    times = []
    if delay.pending is not None:
        times.append(delay.pending + on_delay)
    if delay.spell is not None and delay.signal is not Signal.KEEP:
        whole = delay.spell + spell_time(on_delay)
        if delay.signal is Signal.PRESENT or delay.at + delay.score >= whole:
            times.append(whole)
    return min(times) if times else None


def _run(delay: Delay, at: int, on_delay: int, off_delay: int) -> Delay:
    when = due(delay, on_delay, off_delay)
    if when is not None and when <= at:
        if not delay.present:
            delay = raised(delay, when)
            return replace(delay, at=at, leaving=when if delay.signal is Signal.ABSENT else None)
        return replace(delay, present=False, leaving=None, at=at)
    return _scored(delay, at, on_delay)


def _scored(delay: Delay, at: int, on_delay: int) -> Delay:
    passed = at - delay.at
    if delay.spell is None or delay.signal is Signal.KEEP:
        return replace(delay, at=at)
    if delay.signal is Signal.PRESENT:
        return replace(delay, at=at, score=min(on_delay, delay.score + passed))
    if passed >= delay.score:
        return replace(delay, at=at, score=0, spell=None)
    return replace(delay, at=at, score=delay.score - passed)
