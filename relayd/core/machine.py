"""The stations in their order: one event in, the next state, what to do, and when to come again.

`step` is pure: time is an argument, ids come from the state, chance has no place. An error inside
one subject's part is caught here, recorded, told as a fault of relayd, and the other subjects go
on. The one deadline that comes out is the least over all stations; after a step with an event of
that time it lies later than now, or there is none.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from relayd.core.asking import commands
from relayd.core.calling import callout, duty, outbox
from relayd.core.conditions import (
    CHANNEL_FAILING,
    FAULT,
    JOURNAL_LATE,
    MQTT_DOWN,
    PLAN_REFUSED,
    SENDER_DOWN,
    UNIT_CONDITIONS,
)
from relayd.core.diagnosis import facts, panel, site
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
from relayd.core.findings import Finding, Site
from relayd.core.life import lifecycle, marks
from relayd.core.plan import SECOND, Input, Panel, Plan
from relayd.core.start import restart
from relayd.core.state import InputState, Live, Signal, State
from relayd.core.upkeep import horn, loose, visits

AFTER_FAULT = 60 * SECOND
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
    before = site.seen(plan, state.live)
    for subject in touched:
        _guarded(draft, subject, event)
    if site.seen(plan, draft.live) != before:
        for subject in (UNIT, *(f"panel:{each}" for each in plan.panels)):
            _guarded(draft, subject, TimePassed())
    _release(draft)
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
        return (UNIT if spec.panel == UNIT else f"panel:{spec.panel}",)
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
    inputs = spec.inputs if spec else draft.plan.inputs if subject == UNIT else ()
    _inputs(draft, subject, inputs, event)
    found: int | None = None
    for _ in range(_ROUNDS):
        before = draft.subject(subject)
        found = _diagnose(draft, subject, spec)
        if draft.subject(subject) is before:
            break
    marks.expire(draft, subject)
    duty.expire(draft, subject)
    visits.watch(draft, subject)
    loose.watch(draft, subject, spec)
    lifecycle.call(draft, subject)
    _note_due(draft, subject, spec, found)


def _inputs(draft: Draft, subject: str, specs: tuple[Input, ...], event: Event) -> None:
    """Take the event into its input, and time into all of them."""
    if not specs:
        return
    live = draft.live.get(subject, Live())
    inputs = dict(live.inputs)
    for each in specs:
        before = inputs.get(each.id, InputState())
        mine = (
            isinstance(event, (LevelRead, EdgeSeen, InputLost, InputFound))
            and event.input == each.id
        )
        inputs[each.id] = facts.taken_in(
            before, each, event if mine else TimePassed(), draft.now.up
        )
        if inputs[each.id].lost != before.lost:
            kind = "input lost" if inputs[each.id].lost else "input found"
            draft.record(kind, subject, input=each.id, why=inputs[each.id].lost)
    draft.put_live(subject, replace(live, inputs=inputs))


def _diagnose(draft: Draft, subject: str, spec: Panel | None) -> int | None:
    """Let the alarms follow the facts; when the diagnosis changes by time alone."""
    where = site.seen(draft.plan, draft.live)
    if spec is None:
        return _judge(draft, subject, where)
    owner = draft.subject(subject)
    inputs = draft.live.get(subject, Live()).inputs
    stands = lifecycle.present(draft, subject)
    found = panel.diagnose(spec, inputs, owner, stands, where, draft.stamp)
    draft.put(
        replace(
            owner,
            belief=found.belief,
            beliefs=found.beliefs,
            pumps=found.pumps,
            highs=found.highs,
            hot=found.hot,
        )
    )
    heard = horn.findings(draft, subject, spec, facts.facts(spec, inputs, where))
    lifecycle.settle(draft, subject, spec, {**found.findings, **heard})
    return found.due


def _judge(draft: Draft, subject: str, where: Site) -> int | None:
    """The unit and the channels: a condition is present while it is said to be."""
    said = draft.subject(subject).said
    known = UNIT_CONDITIONS if subject == UNIT else (CHANNEL_FAILING,)
    findings = {
        name: Finding(Signal.PRESENT if name in said else Signal.ABSENT, detail=said.get(name, ""))
        for name in known
    }
    due = None
    if subject == UNIT:
        own = site.diagnose(draft.plan, draft.live, where, draft.subject(UNIT), draft.stamp)
        findings |= own.findings
        due = own.due
    lifecycle.settle(draft, subject, None, findings)
    return due


def _note_due(draft: Draft, subject: str, spec: Panel | None, found: int | None) -> None:
    live = draft.live.get(subject, Live())
    specs = spec.inputs if spec else draft.plan.inputs if subject == UNIT else ()
    times = [
        found,
        lifecycle.due(draft, subject, spec),
        marks.due(draft, subject),
        duty.due(draft, subject),
        visits.due(draft, subject),
        loose.due(draft, subject),
        horn.due(draft, subject, spec) if spec else None,
        *(facts.input_due(live.inputs.get(each.id, InputState()), each) for each in specs),
    ]
    due = min((each for each in times if each is not None), default=None)
    if due != live.due or subject not in draft.live:
        draft.put_live(subject, replace(live, due=due))


def _release(draft: Draft) -> None:
    """Tell what was held for somebody's hours; an error in it is recorded, and it is tried again."""
    before = (dict(draft.subjects), dict(draft.notices), list(draft.closed), list(draft.effects))
    try:
        released = callout.release(draft)
    except Exception as error:  # noqa: BLE001 - what was held for one must not stop the others
        draft.subjects, draft.notices, draft.closed, draft.effects = before
        late = [name for name, each in draft.live.items() if _is_late(each, draft.now.up)]
        for subject in late:
            _fault(draft, subject, error)
        return
    for subject in released:
        _guarded(draft, subject, TimePassed())


def _is_late(live: Live, now: int) -> bool:
    return live.due is not None and live.due <= now


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
