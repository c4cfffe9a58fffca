"""From a panel's facts to its conditions: which are present, by which row of the tables.

In: the panel's inputs as they now are, what was believed before, which conditions stand.
Out: a `Diagnosis`. Knows nothing of delays, alarms or people.

The power table is total over alarm circuit and pump power, each on, lost, or not known (not
wired, bad or settling): a bad input is taken as not known, never as on. A row changes the text
of an open alarm and never raises a second one for the same cause.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from relayd.core import belief as level
from relayd.core import filter as flt
from relayd.core.belief import Seen
from relayd.core.conditions import ALARM_POWER, HIGH_LEVEL, INPUT_LOST, PUMP_POWER
from relayd.core.events import EdgeSeen, Event, InputFound, InputLost, LevelRead
from relayd.core.plan import Input, Means, Panel, Position
from relayd.core.state import Belief, Fact, InputState, Signal


class Supply(StrEnum):
    """A supply as far as it is known."""

    ON = "on"
    LOST = "lost"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Power:
    """A row of the power table: its name and the signals for the two conditions."""

    row: str
    alarm_power: Signal
    pump_power: Signal


ON, LOST, NOT_KNOWN = Supply.ON, Supply.LOST, Supply.NOT_KNOWN
_YES, _NO, _KEEP = Signal.PRESENT, Signal.ABSENT, Signal.KEEP

POWER: dict[tuple[Supply, Supply], Power] = {
    (ON, ON): Power("P1", _NO, _NO),
    (ON, LOST): Power("P2", _NO, _YES),
    (ON, NOT_KNOWN): Power("P9", _NO, _KEEP),
    (LOST, ON): Power("P4", _YES, _NO),
    (LOST, LOST): Power("P5", _YES, _KEEP),
    (LOST, NOT_KNOWN): Power("P6", _YES, _KEEP),
    (NOT_KNOWN, ON): Power("P7", _KEEP, _NO),
    (NOT_KNOWN, LOST): Power("P8", _KEEP, _YES),
    (NOT_KNOWN, NOT_KNOWN): Power("P10", _KEEP, _KEEP),
}
"""Alarm circuit, pump power -> row. In P5 one alarm tells both; a pump-power alarm that stood stays."""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the facts say together: belief, a signal and a row for each condition that can be told."""

    belief: Belief
    signals: Mapping[str, Signal]
    rows: Mapping[str, str]
    details: Mapping[str, str]


def taken_in(state: InputState, spec: Input, event: Event, at: int) -> InputState:
    """The input's state after `event` (which is about this input) or after time alone."""
    if isinstance(event, InputLost):
        return InputState(lost=event.why or "lost", missed=state.missed)
    if isinstance(event, (LevelRead, EdgeSeen, InputFound)):
        missed = state.missed + (event.lost if isinstance(event, EdgeSeen) else 0)
        fresh = replace(state, lost="", missed=missed)
        if state.filter is None:
            begun = flt.started(event.closed, event.at, spec.close_time, spec.open_time)
            return _run(replace(fresh, filter=begun), spec, None, at)
        return _run(_run(fresh, spec, event.closed, event.at), spec, None, at)
    return _run(state, spec, None, at)


def fact(state: InputState, spec: Input) -> Seen:
    """The input's fact, seen from the alarm, with its edges; release hold included."""
    bounce = state.filter
    if state.lost or bounce is None or bounce.closed is None:
        return Seen(Fact.UNKNOWN)
    alarm = state.held or _in_alarm(bounce.closed, spec)
    return Seen(Fact.ALARM if alarm else Fact.NORMAL, bounce.began, bounce.changed)


def input_due(state: InputState, spec: Input) -> int | None:
    """When this input's fact changes if no edge comes, in boot time."""
    bounce = state.filter
    if state.lost or bounce is None:
        return None
    times = [flt.due(bounce, spec.close_time, spec.open_time)]
    if state.held and bounce.closed is not None and not _in_alarm(bounce.closed, spec):
        times.append(bounce.changed + _hold(spec))
    return min((each for each in times if each is not None), default=None)


def diagnose(
    panel: Panel,
    inputs: Mapping[str, InputState],
    before: Belief,
    present: Mapping[str, bool],
    at: int,
) -> Diagnosis:
    """The panel's conditions at `at`; `present` tells which stand after their delays."""
    facts = {each.means: fact(inputs.get(each.id, InputState()), each) for each in panel.inputs}
    lost = {each.means: inputs.get(each.id, InputState()).lost for each in panel.inputs}
    signals: dict[str, Signal] = {}
    rows: dict[str, str] = {}
    power = POWER[_supply(facts, Means.ALARM_POWER), _supply(facts, Means.PUMP_POWER)]
    if Means.ALARM_POWER in facts:
        signals[ALARM_POWER], rows[ALARM_POWER] = power.alarm_power, power.row
    if Means.PUMP_POWER in facts:
        signals[PUMP_POWER], rows[PUMP_POWER] = power.pump_power, power.row
    believed = before
    contact = panel.input(Means.HIGH_LEVEL)
    if contact is not None:
        circuit = None if lost.get(Means.ALARM_POWER) else facts.get(Means.ALARM_POWER)
        seen = facts[Means.HIGH_LEVEL]
        stands = present.get(HIGH_LEVEL, False)
        signals[HIGH_LEVEL] = Signal.KEEP
        if seen.fact is not Fact.UNKNOWN or lost[Means.HIGH_LEVEL]:
            believed, signal = level.believe(before, seen, circuit, panel, contact, stands, at)
            only_held = _only_held(inputs.get(contact.id, InputState()), contact)
            signals[HIGH_LEVEL] = signal if stands else _unraised(signal, believed.row, only_held)
        rows[HIGH_LEVEL] = believed.row
    gone = [f"{each.id}: {lost[each.means]}" for each in panel.inputs if lost[each.means]]
    signals[INPUT_LOST] = Signal.PRESENT if gone else Signal.ABSENT
    rows[INPUT_LOST] = "P19"
    return Diagnosis(believed, signals, rows, {INPUT_LOST: "; ".join(gone)} if gone else {})


def _unraised(signal: Signal, row: str, only_held: bool) -> Signal:
    """While no alarm stands, what is not known raises none, and a contact that has let go waits.

    L5 is high level whatever the contact does now.
    """
    if signal is Signal.KEEP or (only_held and row != "L5"):
        return Signal.ABSENT
    return signal


def _only_held(state: InputState, spec: Input) -> bool:
    """In alarm by the release hold alone: the contact itself has gone back."""
    settled = state.filter.closed if state.filter else None
    return state.held and settled is not None and not _in_alarm(settled, spec)


def diagnosis_due(panel: Panel, believed: Belief, at: int) -> int | None:
    """When the diagnosis changes by time alone."""
    contact = panel.input(Means.HIGH_LEVEL)
    return level.due(believed, panel, contact, at) if contact else None


def _run(state: InputState, spec: Input, raw: bool | None, at: int) -> InputState:
    if state.filter is None:
        return state
    bounce = flt.advance(state.filter, raw, at, spec.close_time, spec.open_time)
    held = state.held
    if bounce.closed is not None:
        alarm = _in_alarm(bounce.closed, spec)
        held = alarm or (held and bounce.at < bounce.changed + _hold(spec))
    return replace(state, filter=bounce, held=held)


def _in_alarm(closed: bool, spec: Input) -> bool:
    return closed == (spec.in_alarm is Position.CLOSED)


def _hold(spec: Input) -> int:
    """Only a level contact is held: the fact of a lost supply, and of its return, works at once."""
    return spec.release_hold if spec.means is Means.HIGH_LEVEL else 0


def _supply(facts: Mapping[Means, Seen], means: Means) -> Supply:
    seen = facts.get(means)
    if seen is None or seen.fact is Fact.UNKNOWN:
        return NOT_KNOWN
    return LOST if seen.fact is Fact.ALARM else ON
