"""From the inputs to their facts: in alarm, normal, or not known.

In: the events of each input, in time. Out: each input's state, its fact, and when the fact changes
by time alone. Knows nothing of conditions, alarms or people. Times in nanoseconds of boot time;
every input of a subject has been brought to the same moment before its facts are asked for.

A fact is not known while its input is lost or has not settled; while a reference on which it hangs
(the wetting supply, the cable's loop) is not good; and while the two throws of its contact say the
same. A reference is lost by its raw level, before any filter: what drops with it is filtered, and
so is never taken for a move of its own. It is good again when it was good for a whole second. One
that is lost three times within ten minutes comes and goes, which is told as being blind.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from relayd.core.conditions import LEVELS
from relayd.core.diagnosis import filter as flt
from relayd.core.diagnosis.belief import Seen
from relayd.core.events import EdgeSeen, Event, InputFound, InputLost, LevelRead
from relayd.core.findings import Site
from relayd.core.plan import MINUTE, REFERENCES, SECOND, Input, Panel, Position
from relayd.core.state import Fact, Filter, InputState

GOOD_AGAIN = SECOND
"""A reference is believed again when it was good for that long."""
DISCREPANCY = SECOND
"""Both throws of a contact alike for longer is a fault; a relay in flight takes 20 ms."""
MANY_EDGES, EDGES_IN = 10, 2 * SECOND
MANY_TURNS, TURNS_IN = 6, 60 * SECOND
"""More raw edges, or more changes of the filtered value, in that time: the contact is unsettled."""
DROPS, DROPS_IN = 3, 10 * MINUTE
"""A reference that was lost so often in that time comes and goes: as a supply does."""
STAYS_LOST = MINUTE
"""One that is lost for longer no longer comes and goes: it is lost."""
_READ = (LevelRead, EdgeSeen, InputFound)
_UNKNOWN = Seen(Fact.UNKNOWN)
_NOBODY = InputState()


def taken_in(state: InputState, spec: Input, event: Event, at: int) -> InputState:
    """The input's state after `event` (which is about this input) or after time alone."""
    if isinstance(event, InputLost):
        return InputState(lost=event.why or "lost", missed=state.missed)
    if not isinstance(event, _READ):
        return _run(state, spec, None, at)
    missed = event.lost if isinstance(event, EdgeSeen) else 0
    fresh = replace(state, lost="", missed=state.missed + missed)
    if state.filter is None:
        begun = flt.started(event.closed, event.at, spec.close_time, spec.open_time)
        return _run(replace(fresh, filter=begun), spec, None, at)
    moves = missed + (isinstance(event, EdgeSeen) or event.closed != state.filter.raw)
    moved = (event.at,) * min(moves, MANY_EDGES + 1)
    fresh = replace(fresh, edges=(*state.edges, *moved)[-MANY_EDGES - 1 :])
    fresh = replace(fresh, drops=_drops(state, spec, event.closed, event.at))
    return _run(_run(fresh, spec, event.closed, event.at), spec, None, at)


def fact(state: InputState, spec: Input) -> Seen:
    """The input's own fact, seen from the alarm, with its edges; release hold included."""
    bounce = state.filter
    if state.lost or bounce is None or bounce.closed is None:
        return _UNKNOWN
    alarm = state.held or in_alarm(bounce.closed, spec)
    return Seen(Fact.ALARM if alarm else Fact.NORMAL, bounce.began, bounce.changed)


def facts(panel: Panel, inputs: Mapping[str, InputState], site: Site) -> dict[str, Seen]:
    """Every input's fact by its full id; not known where what it hangs on is lost."""
    if site.blind:
        return dict.fromkeys((each.id for each in panel.inputs), _UNKNOWN)
    faulty, since = faults(panel, inputs), seen_since(panel, inputs, site)
    cut = lost_reference(panel.inputs, inputs)
    return {
        each.id: _UNKNOWN
        if (cut and each.means not in REFERENCES) or each.id in faulty
        else believed(inputs.get(each.id, _NOBODY), each, since)
        for each in panel.inputs
    }


def believed(state: InputState, spec: Input, since: int | None) -> Seen:
    """The input's fact where its reference has been good since then.

    A contact that came back with its wetting supply did not move: no hold keeps it in alarm.
    """
    seen = fact(state, spec)
    if since is not None and only_held(state, spec) and seen.changed <= since:
        return replace(seen, fact=Fact.NORMAL)
    return seen


def input_due(state: InputState, spec: Input) -> int | None:
    """When this input's fact changes if no edge comes, or what is known of its edges (boot time)."""
    bounce = state.filter
    if state.lost or bounce is None:
        return None
    due = flt.due_pulses if spec.exempt else flt.due
    times = [due(bounce, spec.close_time, spec.open_time)]
    if only_held(state, spec):
        times.append(bounce.changed + _hold(spec))
    times += [each for each in _counted_until(state, spec, bounce) if each > bounce.at]
    return min((each for each in times if each is not None), default=None)


def _counted_until(state: InputState, spec: Input, bounce: Filter) -> Iterator[int]:
    if spec.means in REFERENCES:
        yield good_from(state, spec)
    if len(state.edges) > MANY_EDGES:
        yield state.edges[-MANY_EDGES - 1] + EDGES_IN
    if len(state.turns) > MANY_TURNS:
        yield state.turns[-MANY_TURNS - 1] + TURNS_IN


def in_alarm(closed: bool, spec: Input) -> bool:
    """Whether a contact in that position stands on its alarm side."""
    return closed == (spec.in_alarm is Position.CLOSED)


def only_held(state: InputState, spec: Input) -> bool:
    """In alarm by the release hold alone: the contact itself has gone back."""
    settled = state.filter.closed if state.filter else None
    return state.held and settled is not None and not in_alarm(settled, spec)


# References


def good_from(state: InputState, spec: Input) -> int:
    """From when on this reference is believed, if it stays as it is; it must be read."""
    assert state.filter is not None
    begun = state.filter.settles - spec.close_time - spec.open_time
    return (state.edges[-1] if state.edges else begun) + GOOD_AGAIN


def is_good(state: InputState, spec: Input) -> bool:
    """Whether this reference is good, and has been for long enough."""
    bounce = state.filter
    if state.lost or bounce is None or in_alarm(bounce.raw, spec):
        return False
    return bounce.at >= good_from(state, spec)


def _drops(state: InputState, spec: Input, closed: bool, at: int) -> tuple[int, ...]:
    """Its losses, with one now where it was believed until now."""
    if spec.means not in REFERENCES or not in_alarm(closed, spec):
        return state.drops
    was_good = is_good(_run(state, spec, None, at), spec)
    return (*state.drops, at)[-DROPS:] if was_good else state.drops


def _drops_until(state: InputState) -> int:
    """Until when this reference comes and goes, as far as its losses tell; 0: it does not."""
    drops = state.drops
    many = len(drops) == DROPS and drops[-1] - drops[0] < DROPS_IN
    return drops[-1] + DROPS_IN if many else 0


def comes_and_goes(specs: Iterable[Input], inputs: Mapping[str, InputState], at: int) -> list[str]:
    """The references among those inputs that come and go; one that stays lost is no longer named."""
    found = []
    for each in specs:
        state = inputs.get(each.id, _NOBODY)
        stays = not is_good(state, each) and state.drops and at >= state.drops[-1] + STAYS_LOST
        if at < _drops_until(state) and not stays:
            found.append(each.id)
    return found


def drops_due(specs: Iterable[Input], inputs: Mapping[str, InputState], at: int) -> int | None:
    """When a reference no longer comes and goes, or has stayed lost (boot time)."""
    times: list[int] = []
    for each in specs:
        state = inputs.get(each.id, _NOBODY)
        if until := _drops_until(state):
            times += [until, state.drops[-1] + STAYS_LOST]
    return min((each for each in times if each > at), default=None)


def lost_reference(specs: Iterable[Input], inputs: Mapping[str, InputState]) -> Input | None:
    """The first reference among those inputs that is not good, or None."""
    for each in specs:
        if each.means in REFERENCES and not is_good(inputs.get(each.id, _NOBODY), each):
            return each
    return None


def reference_since(specs: Iterable[Input], inputs: Mapping[str, InputState]) -> int | None:
    """Since when all references among those inputs are believed; None: there is none, or it is lost."""
    known = [each for each in specs if each.means in REFERENCES]
    if not known or lost_reference(known, inputs):
        return None
    return max(good_from(inputs[each.id], each) for each in known)


def seen_since(panel: Panel, inputs: Mapping[str, InputState], site: Site) -> int | None:
    """Since when this panel's contacts are believed by the references; None where there is none."""
    loop = reference_since(panel.inputs, inputs)
    times = [each for each in (site.seen_since, loop) if each is not None]
    return max(times, default=None)


# Form C


def faults(panel: Panel, inputs: Mapping[str, InputState]) -> dict[str, str]:
    """Contacts whose two throws have said the same for too long: full id -> row of the wiring."""
    pairs = [(panel_input(panel, each.throw_of), each) for each in panel.inputs if each.throw_of]
    found = {}
    for main, throw in pairs:
        if main is not None and (row := _alike(inputs.get(main.id), inputs.get(throw.id))):
            found[main.id] = row
    return found


def panel_input(panel: Panel, input_id: str) -> Input | None:
    """The panel's input of that full id, or None."""
    return next((each for each in panel.inputs if each.id == input_id), None)


def faults_due(panel: Panel, inputs: Mapping[str, InputState], at: int) -> int | None:
    """When two throws that are alike become a fault (boot time)."""
    known = {name: each.filter for name, each in inputs.items() if each.filter}
    pairs = [(known.get(each.throw_of), known.get(each.id)) for each in panel.inputs]
    times = [max(a.changed, b.changed) + DISCREPANCY for a, b in pairs if a and b]
    return min((each for each in times if each > at), default=None)


def _alike(one: InputState | None, other: InputState | None) -> str:
    """W1: both open; W2: both closed; '' where they differ, or for so short a time."""
    a, b = one and one.filter, other and other.filter
    if not a or not b or a.closed is None or a.closed != b.closed:
        return ""
    if max(a.at, b.at) - max(a.changed, b.changed) < DISCREPANCY:
        return ""
    return "W2" if a.closed else "W1"


# Unsettled


def is_unsettled(state: InputState, spec: Input, at: int, since: int | None) -> bool:
    """Whether this contact chatters; what happened while its reference was bad does not count."""
    if spec.exempt:
        return False
    from_ = since if since is not None and spec.means not in REFERENCES else -1
    edges = [each for each in state.edges if each > max(at - EDGES_IN, from_)]
    turns = [each for each in state.turns if each > max(at - TURNS_IN, from_)]
    return len(edges) > MANY_EDGES or len(turns) > MANY_TURNS


# One input


def _run(state: InputState, spec: Input, raw: bool | None, at: int) -> InputState:
    if state.filter is None:
        return state
    advance = flt.advance_pulses if spec.exempt else flt.advance
    bounce = advance(state.filter, raw, at, spec.close_time, spec.open_time)
    held = state.held
    if bounce.closed is not None:
        alarm = in_alarm(bounce.closed, spec)
        held = alarm or (held and bounce.at < bounce.changed + _hold(spec))
    return replace(state, filter=bounce, held=held, turns=_turned(state, state.filter, bounce))


def _turned(state: InputState, before: Filter, after: Filter) -> tuple[int, ...]:
    if before.closed is None or after.changed == before.changed:
        return state.turns
    # The same value at another time: it has turned, and turned back.
    times = 2 if after.closed == before.closed else 1
    return (*state.turns, *(after.changed,) * times)[-MANY_TURNS - 1 :]


def _hold(spec: Input) -> int:
    """Only a level contact is held: the fact of a lost supply, and of its return, works at once."""
    return spec.release_hold if spec.means in LEVELS else 0
