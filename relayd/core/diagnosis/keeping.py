"""Findings that conclude nothing: what stands is kept as it stands; inputs that cannot be believed.

In: conditions, the subject as it is remembered. Out: findings. Knows nothing of delays or people.
"""

from collections.abc import Iterable, Mapping

from relayd.core.conditions import character
from relayd.core.diagnosis.facts import comes_and_goes
from relayd.core.findings import Finding
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Input
from relayd.core.state import InputState, Signal, Subject


def kept(conditions: Iterable[str], before: Subject) -> dict[str, Finding]:
    """Those conditions left as they are, with the notes, the priority and the mark they have."""
    return {each: _kept(each, before) for each in conditions}


def _kept(condition: str, before: Subject) -> Finding:
    alarm = before.alarms.get(condition)
    if alarm is None:
        return Finding(Signal.KEEP)
    # By night and by day a priority of its own goes on.
    fixed = alarm.process in ACTIVE and character(condition).night is None
    return Finding(
        Signal.KEEP,
        notes=alarm.notes,
        priority=alarm.priority if fixed else None,
        suppressed=alarm.suppressed,
    )


def lost(specs: Iterable[Input], inputs: Mapping[str, InputState]) -> Finding:
    """Inputs that cannot be read: which, and why."""
    states = [(each.id, inputs.get(each.id, InputState()).lost) for each in specs]
    gone = [f"{name}: {why}" for name, why in states if why]
    return Finding(Signal.PRESENT if gone else Signal.ABSENT, "P19", "; ".join(gone))


def blindness(
    specs: Iterable[Input], inputs: Mapping[str, InputState], cut: bool, at: int
) -> Finding:
    """Whether these references, of which one is lost or not (`cut`), leave us blind now and then."""
    if names := comes_and_goes(specs, inputs, at):
        return Finding(Signal.PRESENT, "S1", ", ".join(names))
    return Finding(Signal.PRESENT if cut else Signal.ABSENT, "S0")
