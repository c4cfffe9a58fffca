"""The stations in their order: one event in, the next state, what to do, and when to come again.

`step` is pure: time is an argument, ids come from the state, chance has no place. An error inside
one subject's part is caught here, recorded, told as a fault of relayd, and the other subjects go
on. The one deadline that comes out is the least over all stations; after a step with an event of
that time it lies later than now, or there is none.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from relayd.core import commands, lifecycle, outbox, panel, restart
from relayd.core.conditions import (
    CHANNEL_FAILING,
    FAULT,
    JOURNAL_LATE,
    MQTT_DOWN,
    PLAN_REFUSED,
    SENDER_DOWN,
)
from relayd.core.draft import UNIT, Draft, changed
from relayd.core.effects import Effect
from relayd.core.events import (
    ChannelDown,
    ChannelUp,
    ClockJudged,
    Commanded,
    EdgeSeen,
    Event,
    FaultFound,
    InputFound,
    InputLost,
    JournalJudged,
    LevelRead,
    Now,
    PlanJudged,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.plan import SECOND, Panel, Plan
from relayd.core.state import InputState, Live, Signal, State

AFTER_FAULT = 60 * SECOND
_UNIT_CONDITIONS = (JOURNAL_LATE, SENDER_DOWN, MQTT_DOWN, PLAN_REFUSED, FAULT)
_WAYS = {"sender": SENDER_DOWN, "mqtt": MQTT_DOWN}
_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a step: the next state, effects in their order, and when to step again (boot ns)."""

    state: State
    effects: tuple[Effect, ...]
    due: int | None


def step(plan: Plan, state: State, event: Event, now: Now) -> Outcome:
    """Take one event at `now`."""
    draft = Draft(plan, state, now)
    if isinstance(event, Started):
        restart.begun(draft, state, event)
    touched = _route(draft, state, event)
    for subject in touched:
        _guarded(draft, subject, event)
    _outbox(draft, event)
    due = _due(draft)
    after, effects = draft.finished()
    return Outcome(after, effects, due)


def _route(draft: Draft, state: State, event: Event) -> Iterable[str]:
    """The subjects that this event is about; what it says of the unit itself is noted at once."""
    if isinstance(event, (LevelRead, EdgeSeen, InputLost, InputFound)):
        spec = draft.plan.input(event.input)
        if spec is None:
            draft.record("unknown input", UNIT, input=event.input)
            return ()
        return (f"panel:{spec.panel}",)
    if isinstance(event, Commanded):
        return commands.obey(draft, event)
    if isinstance(event, Started):
        return list(draft.live)
    if isinstance(event, TimePassed):
        late = [
            name
            for name, live in draft.live.items()
            if live.due is not None and live.due <= draft.now.up
        ]
        return late
    if isinstance(event, Sent):
        outbox.sent(draft, event)
        return changed(state.subjects, draft.subjects)
    return _noted(draft, event)


def _noted(
    draft: Draft,
    event: ChannelDown | ChannelUp | ClockJudged | JournalJudged | PlanJudged | FaultFound,
) -> Iterable[str]:
    if isinstance(event, ClockJudged):
        draft.record("clock judged", UNIT, trusted=event.trusted)
        return ()
    condition, why = _about_unit(event)
    unit = draft.subject(UNIT)
    said = (
        {**unit.said, condition: why}
        if why
        else {k: v for k, v in unit.said.items() if k != condition}
    )
    if said != unit.said:
        draft.record("unit judged", UNIT, condition=condition, why=why or "well again")
    draft.put(replace(unit, said=said))
    return (UNIT,)


def _about_unit(
    event: ChannelDown | ChannelUp | JournalJudged | PlanJudged | FaultFound,
) -> tuple[str, str]:
    if isinstance(event, ChannelDown):
        return _WAYS[event.channel], event.why or "down"
    if isinstance(event, ChannelUp):
        return _WAYS[event.channel], ""
    if isinstance(event, JournalJudged):
        return JOURNAL_LATE, (event.why or "the disk does not answer in time") if event.late else ""
    if isinstance(event, PlanJudged):
        return PLAN_REFUSED, (event.why or "see relayd check") if event.refused else ""
    return FAULT, f"{event.where}: {event.what}"


def _guarded(draft: Draft, subject: str, event: Event) -> None:
    kept = (
        dict(draft.subjects),
        dict(draft.notices),
        list(draft.closed),
        dict(draft.live),
        list(draft.effects),
    )
    try:
        _settle(draft, subject, event)
    except Exception as error:  # noqa: BLE001 - one subject's fault must not stop the others
        draft.subjects, draft.notices, draft.closed, draft.live, draft.effects = kept
        _fault(draft, subject, error)


def _fault(draft: Draft, subject: str, error: Exception) -> None:
    what = f"{type(error).__name__}: {error}"
    draft.record("fault in relayd", subject, what=what)
    live = draft.live.get(subject, Live())
    draft.put_live(subject, replace(live, due=draft.now.up + AFTER_FAULT))
    if subject != UNIT:
        unit = draft.subject(UNIT)
        draft.put(replace(unit, said={**unit.said, FAULT: f"{subject}: {what}"}))
        _guarded(draft, UNIT, TimePassed())


def _settle(draft: Draft, subject: str, event: Event) -> None:
    kind, _, name = subject.partition(":")
    spec = draft.plan.panels.get(name) if kind == "panel" else None
    if spec is not None:
        _inputs(draft, subject, spec, event)
    for _ in range(_ROUNDS):
        before = draft.subject(subject)
        _diagnose(draft, subject, spec)
        if draft.subject(subject) is before:
            break
    lifecycle.call(draft, subject)
    _note_due(draft, subject, spec)


def _inputs(draft: Draft, subject: str, spec: Panel, event: Event) -> None:
    """Take the event into its input, and time into all of them."""
    live = draft.live.get(subject, Live())
    inputs = dict(live.inputs)
    for each in spec.inputs:
        before = inputs.get(each.id, InputState())
        mine = (
            isinstance(event, (LevelRead, EdgeSeen, InputLost, InputFound))
            and event.input == each.id
        )
        inputs[each.id] = panel.taken_in(
            before, each, event if mine else TimePassed(), draft.now.up
        )
        if inputs[each.id].lost != before.lost:
            kind = "input lost" if inputs[each.id].lost else "input found"
            draft.record(kind, subject, input=each.id, why=inputs[each.id].lost)
    draft.put_live(subject, replace(live, inputs=inputs))


def _diagnose(draft: Draft, subject: str, spec: Panel | None) -> None:
    if spec is None:
        _judge(draft, subject)
        return
    owner = draft.subject(subject)
    inputs = draft.live.get(subject, Live()).inputs
    stands = lifecycle.present(draft, subject)
    found = panel.diagnose(spec, inputs, owner.belief, stands, draft.now.up)
    draft.put(replace(owner, belief=found.belief))
    lifecycle.settle(draft, subject, spec, found.signals, found.rows, found.details)


def _judge(draft: Draft, subject: str) -> None:
    """The unit and the channels: a condition is present while it is said to be."""
    said = draft.subject(subject).said
    known = _UNIT_CONDITIONS if subject == UNIT else (CHANNEL_FAILING,)
    signals = {name: Signal.PRESENT if name in said else Signal.ABSENT for name in known}
    lifecycle.settle(draft, subject, None, signals, {}, said)


def _note_due(draft: Draft, subject: str, spec: Panel | None) -> None:
    times = [lifecycle.due(draft, subject, spec)]
    live = draft.live.get(subject, Live())
    if spec is not None:
        times.append(panel.diagnosis_due(spec, draft.subject(subject).belief, draft.now.up))
        times += [
            panel.input_due(live.inputs.get(each.id, InputState()), each) for each in spec.inputs
        ]
    due = min((each for each in times if each is not None), default=None)
    if due != live.due or subject not in draft.live:
        draft.put_live(subject, replace(live, due=due))


def _outbox(draft: Draft, event: Event) -> None:
    """Hand out what is due; a channel that failed meanwhile is a subject of its own."""
    if not draft.notices:
        return
    before = dict(draft.subjects)
    outbox.hand_out(draft)
    for subject in changed(before, draft.subjects):
        _guarded(draft, subject, TimePassed())


def _due(draft: Draft) -> int | None:
    times = [live.due for live in draft.live.values()] + [outbox.due(draft)]
    return min((each for each in times if each is not None), default=None)
