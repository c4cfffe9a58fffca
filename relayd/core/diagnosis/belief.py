"""Is the level to be believed? From the level contact and the alarm circuit to one row and a signal.

In: the two facts with their edges, the contact's declared properties, what was believed before.
Out: the belief as it now is, and whether high level is present, absent, or stays as it is.
Knows nothing of delays, alarms or people. Times in nanoseconds of boot time.

A contact tells two things apart from the water: whether its alarm circuit is alive, and whether
somebody pressed Silence or Reset. Both have the same look as 'the water fell' or 'the water
rose'. So the rows here never take a release for a return without evidence, and never take the
loss of the circuit for high water, nor hide the one behind the other. The rows' names (L1 ...)
are explained one by one in DEVELOPERS.md.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from relayd.core.plan import MINUTE, Follows, Input, Panel, Unpowered
from relayd.core.state import Belief, Fact, Signal

SILENCE_MARGIN = 15 * MINUTE


class Dead(StrEnum):
    """Where the contact stands with a dead alarm circuit, seen from the alarm."""

    ALARM_SIDE = "its alarm side"
    NORMAL_SIDE = "its normal side"
    HOLDS = "holds"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Seen:
    """A fact with the first edge of the move that made it and the time at which it was made."""

    fact: Fact
    began: int = 0
    changed: int = 0


def dead_side(contact: Input) -> Dead:
    """Where this contact stands when its alarm circuit is dead."""
    if contact.unpowered is Unpowered.HOLDS:
        return Dead.HOLDS
    if contact.unpowered is Unpowered.UNKNOWN:
        return Dead.UNKNOWN
    alike = contact.unpowered.value == contact.in_alarm.value
    return Dead.ALARM_SIDE if alike else Dead.NORMAL_SIDE


def believe(
    before: Belief,
    contact: Seen,
    circuit: Seen | None,
    panel: Panel,
    spec: Input,
    present: bool,
    at: int,
) -> tuple[Belief, Signal]:
    """The belief at `at`; `circuit` None where no input tells of it (or that input is lost).

    `present` says whether high level stands after its delays.
    """
    dead = dead_side(spec)
    now = _moved(before, contact, at)
    now = _circuit(now, None if dead is Dead.HOLDS else circuit, panel, dead, present)
    if contact.fact is Fact.UNKNOWN:
        return _contact_unknown(now, present)
    if dead is Dead.HOLDS:
        return _alive(now, contact, panel, spec, present, at)
    if circuit is None:
        return _circuit_not_wired(now, contact, panel, spec, present, at)
    if circuit.fact is Fact.UNKNOWN:
        return now, Signal.PRESENT if contact.fact is Fact.ALARM else Signal.KEEP
    if circuit.fact is Fact.ALARM:
        return _circuit_lost(now, contact, panel, dead, present)
    return _alive(now, contact, panel, spec, present, at)


def due(belief: Belief, panel: Panel, spec: Input, at: int) -> int | None:
    """When the belief changes by time alone: a settle time or a silence time is over."""
    times = []
    if belief.circuit_back is not None and not belief.circuit_lost:
        times += [belief.circuit_back + panel.settle_alarm, belief.circuit_back + panel.settle]
    if belief.row in {"L3", "L15"} and panel.silence_time is not None:
        times.append(_silence_over(belief, panel.silence_time))
    later = [each for each in times if each > at]
    return min(later) if later else None


def _moved(belief: Belief, contact: Seen, at: int) -> Belief:
    """Remember the first edge of each move of the contact, and what it was when it was lost."""
    if contact.fact is belief.contact:
        return belief
    if contact.fact is Fact.ALARM:
        return replace(belief, contact=Fact.ALARM, alarm_edge=contact.began, looked=None)
    if contact.fact is Fact.NORMAL:
        return replace(belief, contact=Fact.NORMAL, normal_edge=contact.began)
    lost_in_alarm = belief.contact is Fact.ALARM and belief.row in {"L1", "L6", "L9", "L10"}
    return replace(belief, contact=Fact.UNKNOWN, was_alarm=belief.was_alarm or lost_in_alarm)


def _circuit(
    belief: Belief, circuit: Seen | None, panel: Panel, dead: Dead, present: bool
) -> Belief:
    """Follow the alarm circuit; at its loss, decide whether the contact had told the truth."""
    if circuit is None or circuit.fact is Fact.UNKNOWN:
        return belief
    if circuit.fact is Fact.ALARM and not belief.circuit_lost:
        lost = replace(belief, circuit_lost=True, circuit_edge=circuit.began)
        true = present or belief.was_alarm or _was_true(lost, panel, dead)
        return replace(lost, was_alarm=true)
    if circuit.fact is Fact.NORMAL and belief.circuit_lost:
        return replace(belief, circuit_lost=False, circuit_back=circuit.changed)
    return belief


def _was_true(belief: Belief, panel: Panel, dead: Dead) -> bool:
    """Whether the contact was in alarm before the loss of the circuit, and not because of it."""
    lost, alarm = belief.circuit_edge, belief.alarm_edge
    if lost is None or alarm is None or belief.contact is Fact.UNKNOWN:
        return False
    if belief.contact is Fact.NORMAL and (belief.normal_edge or 0) < lost - panel.window:
        return False
    if dead is Dead.NORMAL_SIDE:
        return alarm <= lost
    alive = (
        alarm
        if belief.circuit_back is None
        else max(alarm, belief.circuit_back + panel.settle_alarm)
    )
    return alive < lost - panel.window


def _contact_unknown(belief: Belief, present: bool) -> tuple[Belief, Signal]:
    if belief.looked is not None:
        return replace(belief, row="L12", was_alarm=False), Signal.ABSENT
    kept = Signal.PRESENT if belief.was_alarm or present else Signal.KEEP
    return replace(belief, row="L12"), kept


def _circuit_lost(
    belief: Belief, contact: Seen, panel: Panel, dead: Dead, present: bool
) -> tuple[Belief, Signal]:
    in_alarm = contact.fact is Fact.ALARM
    if belief.looked is not None and not in_alarm:
        return replace(belief, row="L8", was_alarm=False), Signal.ABSENT
    if belief.was_alarm or (present and not in_alarm):
        return replace(belief, row="L5", was_alarm=True), Signal.PRESENT
    if not in_alarm:
        return replace(belief, row="L8"), Signal.KEEP
    if dead is Dead.NORMAL_SIDE:
        return replace(belief, row="L6"), Signal.PRESENT
    after = (belief.alarm_edge or 0) - (belief.circuit_edge or 0)
    return replace(belief, row="L4" if after <= panel.window else "L7"), Signal.KEEP


def _circuit_not_wired(
    belief: Belief, contact: Seen, panel: Panel, spec: Input, present: bool, at: int
) -> tuple[Belief, Signal]:
    dead = dead_side(spec)
    if contact.fact is Fact.ALARM:
        row = "L10" if dead is Dead.NORMAL_SIDE else "L9"
        return replace(belief, row=row), Signal.PRESENT
    if not present or belief.looked is not None:
        return replace(belief, row="L14", was_alarm=False), Signal.ABSENT
    if dead is not Dead.ALARM_SIDE:
        return replace(belief, row="L15"), Signal.KEEP
    if _release_is_return(belief, panel, spec, at):
        return replace(belief, row="L14", was_alarm=False), Signal.ABSENT
    return replace(belief, row="L3"), Signal.KEEP


def _alive(
    belief: Belief, contact: Seen, panel: Panel, spec: Input, present: bool, at: int
) -> tuple[Belief, Signal]:
    """The alarm circuit is on, or the contact does not need it."""
    back = belief.circuit_back
    settling = back is not None and at < back + panel.settle
    if contact.fact is Fact.ALARM:
        early = back is not None and at < back + panel.settle_alarm
        believed = not early or belief.was_alarm or present
        row = "L11" if settling else "L1"
        return replace(belief, row=row), Signal.PRESENT if believed else Signal.KEEP
    if settling:
        return replace(belief, row="L11"), Signal.KEEP
    if not present or belief.looked is not None or _release_is_return(belief, panel, spec, at):
        return replace(belief, row="L2", was_alarm=False), Signal.ABSENT
    return replace(belief, row="L3"), Signal.KEEP


def _release_is_return(belief: Belief, panel: Panel, spec: Input, at: int) -> bool:
    """Whether the contact's going back proves that the water fell, the circuit being alive."""
    if spec.follows in {Follows.LEVEL, Follows.LAMP}:
        return True
    return panel.silence_time is not None and at >= _silence_over(belief, panel.silence_time)


def _silence_over(belief: Belief, silence_time: int) -> int:
    """When the panel would have sounded again if the water still stood at the float."""
    since = max(belief.normal_edge or 0, belief.circuit_back or 0)
    return since + silence_time + SILENCE_MARGIN
