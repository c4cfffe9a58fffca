"""What the unit knows of itself, its peers and its channels: from events to findings.

In: events of the shell (a way is down, a peer is silent, the board is hot), what was noted before.
Out: notes in `Subject.said`, and the findings that follow from them. Knows nothing of contacts.
What relayd senses stands until it is judged again; a start alone ends none of it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from relayd.core.conditions import (
    CHANNEL_FAILING,
    FAULT,
    JOURNAL_DAMAGED,
    JOURNAL_LATE,
    PLAN_REFUSED,
    UNWATCHED,
    of_itself,
    of_peer,
    of_way,
)
from relayd.core.draft import UNIT, Draft
from relayd.core.events import (
    ChannelDown,
    ChannelUp,
    ClockJudged,
    FaultFound,
    JournalJudged,
    PeerHeard,
    PlanJudged,
    UnitSensed,
)
from relayd.core.findings import Finding
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import SECOND, Priority
from relayd.core.state import InputState, Live, Signal

Judged = ChannelDown | ChannelUp | JournalJudged | PlanJudged | FaultFound | PeerHeard | UnitSensed
_AS = ":as"
"""After a condition's name: the priority that it was noted with."""
NOT_KNOWN = "not known"
SHORT = f"{UNWATCHED}:short"
"""Noted where the time without a watch was short: it is said, and wakes nobody."""
BY = f"{UNWATCHED}:by"
"""Noted beside it: until when (boot ns) its message may wait for the contacts to be read."""
READ_WITHIN = 10 * SECOND
HARMS = 8
"""Things that are said at once of a damaged journal, the newest first."""


def noted(draft: Draft, event: Judged | ClockJudged) -> Iterable[str]:
    """Note what the event says of the unit; the subjects that it is about."""
    if isinstance(event, ClockJudged):
        draft.record("clock judged", UNIT, trusted=event.trusted)
        return ()
    condition, why, priority = _about(event)
    unit = draft.subject(UNIT)
    before = unit.said.get(condition, "")
    if condition == JOURNAL_DAMAGED:
        why = _added(before, why)
    said = {k: v for k, v in unit.said.items() if k not in (condition, condition + _AS)}
    if why:
        said[condition] = why
    if why and priority is not None:
        said[condition + _AS] = priority.value
    if before != why:
        draft.record("unit judged", UNIT, condition=condition, why=why or "well again")
    if said != unit.said:
        draft.put(replace(unit, said=said))
    return (UNIT,)


def _about(event: Judged) -> tuple[str, str, Priority | None]:
    if isinstance(event, PeerHeard):
        return of_peer(event.peer), event.why, event.priority
    if isinstance(event, UnitSensed):
        return event.condition, event.why, event.priority
    return *_of_part(event), None


def _added(before: str, why: str) -> str:
    """What was found before as well, as long as nobody has answered for it: each thing once."""
    found = dict.fromkeys([*why.split("; "), *before.split("; ")])
    return "; ".join([each for each in found if each][:HARMS])


def _of_part(
    event: ChannelDown | ChannelUp | JournalJudged | PlanJudged | FaultFound,
) -> tuple[str, str]:
    if isinstance(event, ChannelDown):
        return of_way(event.channel), event.why or "down"
    if isinstance(event, ChannelUp):
        return of_way(event.channel), ""
    if isinstance(event, JournalJudged):
        return JOURNAL_LATE, (event.why or "the disk does not answer in time") if event.late else ""
    if isinstance(event, PlanJudged):
        return PLAN_REFUSED, (event.why or "see relayd check") if event.refused else ""
    return FAULT, f"{event.where}: {event.what}"


def findings(draft: Draft, subject: str) -> dict[str, Finding]:
    """The unit and the channels: a condition is present while it is said to be."""
    said = draft.subject(subject).said
    known = of_itself(draft.plan) if subject == UNIT else (CHANNEL_FAILING,)
    found = {name: _finding(said, name) for name in known}
    return found | _unwatched(draft, said) if subject == UNIT else found


def _finding(said: Mapping[str, str], name: str) -> Finding:
    if name not in said:
        return Finding(Signal.ABSENT)
    given = said.get(name + _AS)
    return Finding(
        Signal.PRESENT, detail=said[name], priority=None if given is None else Priority(given)
    )


def _unwatched(draft: Draft, said: Mapping[str, str]) -> dict[str, Finding]:
    """Nobody watched for a time: it is there until it has been raised, then for as long as it says so.

    It is raised when every contact has been read, so that its message says how they stand. High where an alarm was left open and the time is known to have been long.
    """
    known = draft.subject(UNIT).alarms.get(UNWATCHED)
    if UNWATCHED not in said:
        return {UNWATCHED: Finding(Signal.ABSENT, priority=known.priority)} if known else {}
    if waits(draft):
        return {UNWATCHED: Finding(Signal.KEEP)}
    left = {k: v for k, v in said.items() if k not in (UNWATCHED, SHORT, BY)}
    draft.put(replace(draft.subject(UNIT), said=left))
    priority = Priority.HIGH if _graver(draft, said) else Priority.LOW
    return {UNWATCHED: Finding(Signal.PRESENT, detail=said[UNWATCHED], priority=priority)}


def waits(draft: Draft) -> bool:
    """Whether a gap in the watch is to be told, and the contacts are not all read yet."""
    said = draft.subject(UNIT).said
    if UNWATCHED not in said or draft.now.up >= int(said.get(BY, 0)):
        return False
    seen = (draft.live.get(f"panel:{name}", Live()).inputs for name in draft.plan.panels)
    wired = sum(len(each.inputs) for each in draft.plan.panels.values())
    known = [each for inputs in seen for each in inputs.values() if _is_known(each)]
    return len(known) < wired


def due(draft: Draft) -> int | None:
    """When to look again whether the contacts are read (boot ns)."""
    return draft.now.up + SECOND if waits(draft) else None


def _is_known(state: InputState) -> bool:
    return bool(state.lost) or (state.filter is not None and state.filter.closed is not None)


def _graver(draft: Draft, said: Mapping[str, str]) -> bool:
    if SHORT in said or said[UNWATCHED].startswith(NOT_KNOWN):
        return False
    open_ = (each for owner in draft.subjects.values() for each in owner.alarms.values())
    return any(each.process in ACTIVE and each.priority is Priority.HIGH for each in open_)
