"""The alarm contacts of a panel and their belief: stage two of the diagnosis.

In: a panel's facts, what was believed before, which conditions stand. Out: one finding and one
belief for each alarm contact (high level, high-high level, common alarm). Knows nothing of delays,
alarms or people. The rows are belief.py's; L13 names a common alarm, L16 a return without a pump.

While an alarm does not stand, what is not known raises none: with a dead alarm circuit it is
suppressed by design. One that stands is held, with its call list.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from relayd.core.conditions import COMMON_ALARM, HIGH_LEVEL, QUIET_AGAIN
from relayd.core.diagnosis import belief as level
from relayd.core.diagnosis.belief import Dead, Seen
from relayd.core.diagnosis.facts import is_unsettled, only_held
from relayd.core.findings import Finding
from relayd.core.plan import ALARM_CONTACTS, HOUR, Input, Means, Panel
from relayd.core.state import Alarm, Belief, Fact, InputState, Signal, Subject

CIRCUIT_DEAD = "the alarm circuit is dead"
AFTER_RETURN = 2 * HOUR
_NOBODY = InputState()

SAYS = {
    "L13": "The panel calls: one of what its common alarm carries. Look which lamp is lit.",
    "L16": "The level is normal again, but the pump was not seen to run meanwhile.",
    "S0": "The supply of the inputs, or the cable's loop, is lost: nothing that hangs on it tells"
    " anything, and no new alarm on it would be noticed. What stood is held.",
    "S1": "The supply of the inputs, or the cable's loop, comes and goes: a loose wire or a failing"
    " supply. While it is away nothing that hangs on it tells anything.",
    "W1": "Both sides of a contact read open: its common wire or its cable is cut. What it tells is"
    " not known.",
    "W2": "Both sides of a contact read closed: a short, or wrong wiring. What it tells is not known.",
    "U0": "A contact chatters: what it tells is doubtful.",
    "U1": "The high-level contact is chattering: treat as high level until somebody has looked.",
}
"""Rows and notes of the inputs themselves, and of the level rows beside belief.py's."""


@dataclass(frozen=True, slots=True)
class Levels:
    """What stage two says of a panel, and when it changes by time alone (boot ns)."""

    findings: Mapping[str, Finding] = field(default_factory=dict)
    beliefs: Mapping[str, Belief] = field(default_factory=dict)
    """By condition, high level's among them."""
    due: int | None = None


def diagnose(
    panel: Panel,
    facts: Mapping[str, Seen],
    inputs: Mapping[str, InputState],
    faulty: Mapping[str, str],
    before: Subject,
    present: Mapping[str, bool],
    at: int,
    since: int | None = None,
) -> Levels:
    """Each alarm contact; `faulty` names contacts whose two throws say the same, `since` is from
    when on the references are believed."""
    wired = panel.input(Means.ALARM_POWER)
    is_read = wired and not (inputs.get(wired.id, _NOBODY).lost or wired.id in faulty)
    circuit = facts[wired.id] if wired and is_read else None
    found: dict[str, Finding] = {}
    beliefs: dict[str, Belief] = {}
    times: list[int | None] = []
    for spec in filter(None, map(panel.input, ALARM_CONTACTS)):
        name, state = spec.means.value, inputs.get(spec.id, _NOBODY)
        was = before.belief if name == HIGH_LEVEL else before.beliefs.get(name, Belief())
        stands = present.get(name, False)
        cannot = bool(state.lost) or spec.id in faulty
        now, signal = was, Signal.KEEP
        if facts[spec.id].fact is not Fact.UNKNOWN or cannot:
            now, signal = level.believe(was, facts[spec.id], circuit, panel, spec, stands, at)
        now = replace(now, chattered=_chattered(now, state, spec, stands, at, since))
        if signal is Signal.ABSENT and stands and _waits(now, facts[spec.id]):
            until = facts[spec.id].changed + QUIET_AGAIN
            unproved = name == HIGH_LEVEL and _stood_still(panel, facts, before, at)
            if unproved or until > at:
                now, signal = replace(now, row="L18" if unproved else "L17"), Signal.KEEP
                times.append(until if until > at else None)
        held = only_held(state, spec) and facts[spec.id].fact is Fact.ALARM
        signal = signal if stands else _unraised(signal, now.row, held)
        why = _suppressed(signal, circuit, spec, stands)
        found[name] = Finding(signal, _row(name, now.row, signal), suppressed=why)
        beliefs[name] = now
        times.append(level.due(now, panel, spec, at))
    if HIGH_LEVEL in found:
        notes = _unseen_run(panel, facts, beliefs[HIGH_LEVEL], before, at)
        found[HIGH_LEVEL] = replace(found[HIGH_LEVEL], notes=notes)
    return Levels(found, beliefs, min((each for each in times if each is not None), default=None))


def _chattered(
    now: Belief, state: InputState, spec: Input, stands: bool, at: int, since: int | None
) -> bool:
    """Whether the contact has chattered since this alarm began, or does so now."""
    return (now.chattered and stands) or is_unsettled(state, spec, at, since)


def _waits(now: Belief, seen: Seen) -> bool:
    """Whether its contact chattered, and is not believed back at once; a person who has looked is."""
    return now.chattered and now.looked is None and seen.fact is Fact.NORMAL


def _unraised(signal: Signal, row: str, held: bool) -> Signal:
    """While no alarm stands, what is not known raises none, and a contact that has let go waits.

    L5 is high level whatever the contact does now.
    """
    if signal is Signal.KEEP or (held and row != "L5"):
        return Signal.ABSENT
    return signal


def _suppressed(signal: Signal, circuit: Seen | None, spec: Input, stands: bool) -> str:
    dead = circuit is not None and circuit.fact is Fact.ALARM
    if not dead or stands or signal is Signal.PRESENT or level.dead_side(spec) is Dead.HOLDS:
        return ""
    return CIRCUIT_DEAD


def _row(name: str, row: str, signal: Signal) -> str:
    """A common alarm that is believed is never called high level."""
    common = name == COMMON_ALARM and signal is Signal.PRESENT and row in {"L1", "L10", "L11"}
    return "L13" if common else row


def _unseen_run(
    panel: Panel, facts: Mapping[str, Seen], now: Belief, before: Subject, at: int
) -> tuple[str, ...]:
    """L16: the level went back, and no pump was seen to run since the alarm began."""
    normal = now.row in {"L2", "L14"}
    return ("L16",) if normal and _stood_still(panel, facts, before, at) else ()


def _stood_still(panel: Panel, facts: Mapping[str, Seen], before: Subject, at: int) -> bool:
    """Whether no pump was seen to run since high level began, lately; False where none can be seen."""
    alarm = before.alarms.get(HIGH_LEVEL)
    runs = [facts[each.id] for each in panel.inputs if each.means is Means.PUMP_RUNNING]
    if not runs or not _is_recent(alarm, at):
        return False
    assert alarm is not None
    assert alarm.raised is not None
    return not any(_ran(runs, alarm.raised.up))


def _is_recent(alarm: Alarm | None, at: int) -> bool:
    if alarm is None or alarm.raised is None:
        return False
    return alarm.returned is None or at < alarm.returned.up + AFTER_RETURN


def _ran(runs: list[Seen], since: int) -> Iterator[bool]:
    """Whether each run contact tells of a run at or after `since`; one that is not known may have."""
    for seen in runs:
        yield seen.fact is not Fact.NORMAL or seen.began >= since
