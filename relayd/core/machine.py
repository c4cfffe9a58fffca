"""The stations in their order: one event in, the next state, what to do, and when to come again.

`step` is pure: time is an argument, ids come from the state, chance has no place. An error inside
one part (a subject, a command, a notice, a person's digest) is caught here, recorded, told as a
fault of relayd, and the other parts go on. The one deadline that comes out is the least over all stations; after a step with an event of
that time it lies later than now, or there is none.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial

from relayd.core import guard, itself
from relayd.core.asking import afar, commands
from relayd.core.calling import bundles, digests, duty, no_way, outbox
from relayd.core.diagnosis import facts, panel, site
from relayd.core.draft import UNIT, Draft, changed
from relayd.core.effects import Answer, Effect
from relayd.core.events import (
    AnswerUnused,
    Commanded,
    EdgeSeen,
    Event,
    InputFound,
    InputLost,
    LevelRead,
    Now,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.findings import Site
from relayd.core.life import lifecycle, marks
from relayd.core.plan import Input, Panel, Plan
from relayd.core.start import restart
from relayd.core.state import InputState, Live, State
from relayd.core.upkeep import all_well, button, horn, loose, visits

_ROUNDS = 4
RESTLESS = "it does not come to rest: it was due again in the very step that was to settle it"


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
    before = site.seen(plan, state.live, state.subjects.get(UNIT))
    for subject in touched:
        _guarded(draft, subject, event)
    if site.seen(plan, draft.live, draft.subject(UNIT)) != before:
        for subject in (UNIT, *(f"panel:{each}" for each in plan.panels)):
            _guarded(draft, subject, TimePassed())
    _release(draft)
    _outbox(draft)
    if isinstance(event, TimePassed):
        _rest(draft)
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
        return _obeyed(draft, state, event)
    if isinstance(event, AnswerUnused):
        _whole(draft, "an answer from afar", lambda: afar.unused(draft, event))
        return ()
    if isinstance(event, Started):
        return list(draft.live)
    if isinstance(event, TimePassed):
        return _late(draft)
    if isinstance(event, Sent):
        _whole(draft, f"send {event.send}", lambda: _outcome(draft, event))
        return changed(state.subjects, draft.subjects)
    return itself.noted(draft, event)


def _outcome(draft: Draft, event: Sent) -> None:
    outbox.sent(draft, event)
    _followed(draft)


def _followed(draft: Draft) -> None:
    """What a person's ways told: the next step where none works, one message where one works again."""
    for notice in draft.missed:
        no_way.missed(draft, notice)
    for channel in draft.works:
        bundles.works_again(draft, channel)
    draft.missed.clear()
    draft.works.clear()


def _obeyed(draft: Draft, state: State, event: Commanded) -> Iterable[str]:
    """Everybody gets an answer, also who asks for what relayd fails at.

    What is refused may change something too: who wants to leave shares the panel's alarms again.
    """
    found: list[str] = []
    wrong = _whole(draft, "a command", lambda: found.extend(commands.obey(draft, event)))
    if wrong:
        say = f"nothing was done: this program failed at it ({wrong}); it is recorded and told"
        draft.effects.append(Answer(event.token, False, "fault-in-relayd", say))
    return dict.fromkeys([*found, *changed(state.subjects, draft.subjects)])


def _whole(draft: Draft, where: str, act: Callable[[], object]) -> str:
    """Do something that belongs to no one subject; what went wrong in it, which the unit tells."""
    wrong = guard.attempt(draft, where, act)
    if wrong:
        guard.note(draft, where, wrong)
        _guarded(draft, UNIT, TimePassed())
    return wrong


def _guarded(draft: Draft, subject: str, event: Event) -> None:
    wrong = guard.attempt(draft, subject, lambda: _settle(draft, subject, event))
    if wrong:
        _fault(draft, subject, wrong)


def _fault(draft: Draft, subject: str, what: str) -> None:
    """Tell of it, and try that subject again in a minute."""
    if subject == UNIT:
        guard.last_word(draft, what)
    else:
        guard.note(draft, subject, what)
        _guarded(draft, UNIT, TimePassed())
    guard.later(draft, subject)


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
    button.watch(draft, subject)
    marks.expire(draft, subject)
    duty.expire(draft, subject)
    visits.watch(draft, subject)
    loose.watch(draft, subject, spec)
    all_well.watch(draft, subject)
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
    where = site.seen(draft.plan, draft.live, draft.subject(UNIT))
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
    """The unit and the channels: what they know of themselves, and what the unit's inputs tell."""
    found, due = itself.findings(draft, subject), None
    if subject == UNIT:
        own = site.diagnose(draft.plan, draft.live, where, draft.subject(UNIT), draft.stamp)
        found |= own.findings
        due = min((each for each in (own.due, itself.due(draft)) if each is not None), default=None)
    lifecycle.settle(draft, subject, None, found)
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
        all_well.due(draft, subject),
        horn.due(draft, subject, spec) if spec else None,
        *(facts.input_due(live.inputs.get(each.id, InputState()), each) for each in specs),
    ]
    due = min((each for each in times if each is not None), default=None)
    if due != live.due or subject not in draft.live:
        draft.put_live(subject, replace(live, due=due))


def _release(draft: Draft) -> None:
    """Tell what was held for somebody's hours; one person's message that fails stops no other's."""
    moved: dict[str, None] = {}
    failed: dict[str, None] = {}
    for person, items in digests.due_now(draft).items():
        told = partial(digests.tell, draft, person, items)
        wrong = guard.attempt(draft, UNIT, told)
        if wrong:
            guard.note(draft, f"a message to {person}", wrong)
        (failed if wrong else moved).update(dict.fromkeys(each.subject for each in items))
    for subject in {**moved, UNIT: None} if failed else moved:
        _guarded(draft, subject, TimePassed())
    for subject in failed:
        guard.later(draft, subject)


def _outbox(draft: Draft) -> None:
    """Hand out what is due; a channel that failed meanwhile is a subject of its own."""
    if not draft.notices:
        return
    before = dict(draft.subjects)
    _whole(draft, "messages in one", partial(bundles.gather, draft))
    _whole(draft, "messages that wait", partial(bundles.bound, draft))
    for notice in outbox.due_now(draft):
        where = f"notice {draft.ref(notice)}"
        if _whole(draft, where, partial(outbox.hand_out, draft, notice)):
            outbox.put_off(draft, notice, guard.AFTER_FAULT)
    _whole(draft, "what follows from sends", partial(_followed, draft))
    for subject in changed(before, draft.subjects):
        _guarded(draft, subject, TimePassed())


def _rest(draft: Draft) -> None:
    """What is still due after its own time has come would turn round and round: a fault, told."""
    late = _late(draft)
    for subject in late:
        draft.record("fault in relayd", subject, what=RESTLESS)
        guard.note(draft, subject, RESTLESS)
    if late:
        _guarded(draft, UNIT, TimePassed())
        for subject in _late(draft):
            guard.later(draft, subject)


def _late(draft: Draft) -> list[str]:
    now = draft.now.up
    return [name for name, each in draft.live.items() if each.due is not None and each.due <= now]


def _due(draft: Draft) -> int | None:
    times = [live.due for live in draft.live.values()] + [outbox.due(draft)]
    return min((each for each in times if each is not None), default=None)
