"""Contacts that chatter: one finding for all of them, which never loses an alarm.

In: inputs with what is remembered of their edges, since when it has stood. Out: a finding and when
it changes by time alone. Knows nothing of delays, alarms or people.
"""

from collections.abc import Iterable, Mapping

from relayd.core.calling.lists import RANK
from relayd.core.conditions import BLIND, BY_MEANS, LEVELS, UNSETTLED, character
from relayd.core.diagnosis.facts import is_unsettled
from relayd.core.findings import Finding
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import REFERENCES, SECOND, Input, Priority
from relayd.core.state import InputState, Signal, Subject

OWN_PRIORITY_AFTER = 60 * SECOND
_LESS = {Priority.HIGH: Priority.MEDIUM, Priority.MEDIUM: Priority.LOW}


def finding(
    specs: Iterable[Input],
    inputs: Mapping[str, InputState],
    before: Subject,
    since: int | None,
    at: int,
) -> Finding:
    """Which of those inputs chatter; `since` is from when on their references are believed."""
    found = [
        each for each in specs if is_unsettled(inputs.get(each.id, InputState()), each, at, since)
    ]
    if not found:
        return Finding(Signal.ABSENT)
    own = max((_priority(each) for each in found), key=RANK.__getitem__)
    began = _began(before)
    long = began is not None and at >= began + OWN_PRIORITY_AFTER
    priority = own if long else _LESS.get(own, own)
    row = "U1" if any(each.means in LEVELS for each in found) else "U0"
    names = ", ".join(each.id for each in found)
    return Finding(Signal.PRESENT, row, names, priority=priority)


def due(before: Subject, at: int) -> int | None:
    """When an unsettled contact gets its role's own priority (boot time)."""
    began = _began(before)
    later = None if began is None else began + OWN_PRIORITY_AFTER
    return later if later is not None and later > at else None


def _began(before: Subject) -> int | None:
    alarm = before.alarms.get(UNSETTLED)
    if alarm is None or alarm.process not in ACTIVE or alarm.raised is None:
        return None
    return alarm.raised.up


def _priority(spec: Input) -> Priority:
    """The priority of what this contact tells; the least where it tells no condition by itself."""
    if spec.priority is not None:
        return spec.priority
    base = BLIND if spec.means in REFERENCES else BY_MEANS.get(spec.means)
    return character(base).priority if base else Priority.LOW
