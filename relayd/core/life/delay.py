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

A gap shorter than `hold` (a lamp that flashes, a float that bobs) does not begin the on-delay
anew, but it completes none either: an alarm is raised while its signal is there. Where nothing
is known (keep) the on-delay waits and goes on afterwards: a signal that is lost now and then
must not starve it.
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


def advance(
    delay: Delay, signal: Signal, at: int, on_delay: int, off_delay: int, hold: int = 0
) -> Delay:
    """Run both delays on to `at`, then take the signal that holds from `at` on."""
    if signal is delay.signal and rests(delay):
        return delay
    at = max(at, delay.at)
    delay = _run(delay, at, on_delay, off_delay, hold)
    if signal is delay.signal:
        return delay
    return _run(_taken(delay, signal, at, hold), at, on_delay, off_delay, hold)


def due(delay: Delay, on_delay: int, off_delay: int) -> int | None:
    """When the condition will change if the signal stays as it is; None if it will not."""
    if delay.present:
        return delay.leaving + off_delay if delay.leaving is not None else None
    return None if delay.signal is Signal.KEEP else _raise_at(delay, on_delay)


def raised(delay: Delay, at: int) -> Delay:
    """The condition made present at once, whatever the delays say."""
    return replace(delay, present=True, pending=None, leaving=None, score=0, spell=None, at=at)


def rests(delay: Delay) -> bool:
    """Whether time changes nothing as long as the signal stays as it is."""
    if delay.leaving is not None:
        return False
    return delay.present or (delay.pending is None and delay.spell is None)


def _taken(delay: Delay, signal: Signal, at: int, hold: int) -> Delay:
    """The delay with its new signal; `leaving` is when the signal went, for as long as that counts."""
    delay = replace(delay, signal=signal)
    if signal is Signal.ABSENT:
        bridged = delay.present or (hold > 0 and delay.pending is not None)
        return replace(delay, leaving=at) if bridged else replace(delay, pending=None)
    if delay.present:
        return replace(delay, leaving=None)
    if signal is Signal.KEEP:
        return delay
    began = at if delay.pending is None else delay.pending
    spell = at if delay.spell is None else delay.spell
    return replace(delay, pending=began, spell=spell, leaving=None)


def _raise_at(delay: Delay, on_delay: int) -> int | None:
    """When the on-delay or the spell is over, whichever comes first, if the signal stays."""
    there = delay.signal is Signal.PRESENT
    times = [delay.pending + on_delay] if there and delay.pending is not None else []
    if delay.spell is not None:
        whole = delay.spell + spell_time(on_delay)
        if there or delay.at + delay.score >= whole:
            times.append(whole)
    return min(times, default=None)


def _run(delay: Delay, at: int, on_delay: int, off_delay: int, hold: int) -> Delay:
    when = due(delay, on_delay, off_delay)
    if when is None or when > at:
        return _scored(delay, at, on_delay, hold)
    if delay.present:
        return replace(delay, present=False, leaving=None, at=at)
    leaving = when if delay.signal is Signal.ABSENT else None
    return replace(raised(delay, when), at=at, leaving=leaving)


def _scored(delay: Delay, at: int, on_delay: int, hold: int) -> Delay:
    passed = at - delay.at
    delay = replace(delay, at=at)
    if delay.present:
        return delay
    if delay.signal is Signal.KEEP:
        return _waited(delay, passed)
    if delay.signal is Signal.PRESENT:
        return replace(delay, score=min(on_delay, delay.score + passed))
    if delay.leaving is not None and at >= delay.leaving + hold:
        delay = replace(delay, pending=None, leaving=None)
    if passed >= delay.score:
        return replace(delay, score=0, spell=None)
    return replace(delay, score=delay.score - passed)


def _waited(delay: Delay, passed: int) -> Delay:
    """Time that does not count: everything that runs began that much later."""
    pending, leaving, spell = (
        None if each is None else each + passed
        for each in (delay.pending, delay.leaving, delay.spell)
    )
    return replace(delay, pending=pending, leaving=leaving, spell=spell)
