"""Why it is quiet: every reason for which nobody is being told of a panel, or of the unit, now.

In: plan, state, time. Out: sentences, fact by fact. Changes nothing.
"""

from collections.abc import Iterator, Mapping

from relayd.core.calling import duty, lists
from relayd.core.diagnosis import facts
from relayd.core.events import Now
from relayd.core.life import bursts
from relayd.core.plan import Input, Panel, Plan, Priority
from relayd.core.saying import sentences, when
from relayd.core.state import (
    Alarm,
    Away,
    Fact,
    InputState,
    Live,
    Mark,
    Process,
    State,
    Subject,
)

NOBODY = "nobody, for who is named there is away or has seen it"


def lines(plan: Plan, state: State, now: Now, wanted: str) -> list[dict[str, str]]:
    """Why nobody is told, of one panel or ('') of every panel and the unit: `panel` and `say`."""
    names = [wanted] if wanted else list(plan.panels)
    found = [{"panel": name, "say": say} for name in names for say in why(plan, state, name, now)]
    if not wanted:
        found += [{"panel": plan.unit, "say": say} for say in why_unit(plan, state, now)]
    return found


def why(plan: Plan, state: State, name: str, now: Now) -> list[str]:
    """Why nobody is being told about this panel right now, fact by fact."""
    panel = plan.panels[name]
    subject = state.subjects.get(f"panel:{name}") or Subject(f"panel:{name}")
    live = state.live.get(subject.id, Live())
    return [
        *(_input(live.inputs.get(each.id, InputState()), each, now) for each in panel.inputs),
        *_of_subject(plan, panel, state, subject, now),
        *_at_panel(plan, panel, subject, now),
        *_of_site(plan, state, now),
        sentences.level(subject),
    ]


def why_unit(plan: Plan, state: State, now: Now) -> list[str]:
    """Why nobody is being told about the unit itself, fact by fact."""
    subject = state.subjects.get("unit") or Subject("unit")
    live = state.live.get(subject.id, Live())
    return [
        *(_input(live.inputs.get(each.id, InputState()), each, now) for each in plan.inputs),
        *_of_subject(plan, None, state, subject, now),
        *_of_site(plan, state, now),
    ]


def marks(plan: Plan, subject: Subject, alarm: Alarm, now: Now) -> str:
    """'paused until 08:00 by Anna (why)' and its like: why this alarm is not told; '' where it is."""
    if subject.out is not None:
        return f"its panel is {_mark(plan, 'out of service', subject.out, now)}"
    if alarm.out is not None:
        return _mark(plan, "out of service", alarm.out, now)
    if alarm.shelved is not None:
        return _mark(plan, "paused", alarm.shelved, now)
    return f"not shown because {alarm.suppressed}" if alarm.suppressed else ""


def out(plan: Plan, subject: Subject, now: Now) -> str:
    """'out of service until 08:00 by Anna (why)'; '' where the panel is in service."""
    return _mark(plan, "out of service", subject.out, now) if subject.out else ""


def held(plan: Plan, alarm: Alarm, now: Now) -> Iterator[str]:
    """'held for Anna until 07:00', person by person."""
    for person, at in alarm.held.items():
        yield f"held for {named(plan, person)} {ending(plan, at, now)}"


def coming(
    plan: Plan, away: Mapping[str, Away], subject: str, alarm: Alarm, now: Now
) -> tuple[str, list[str]] | None:
    """In how long the next step of its call list comes, and whom it tells; None where none does.

    Who has seen it and is left alone then is not told; where nobody of the whole list is there,
    an alarm of high priority tells all of it.
    """
    due = _due(alarm)
    if due is None:
        return None
    told = told_next(plan, away, subject, alarm, now)
    return when.lasted(due - now.up), [named(plan, each) for each in told]


def told_next(
    plan: Plan, away: Mapping[str, Away], subject: str, alarm: Alarm, at: Now
) -> tuple[str, ...]:
    """Whom the next step of its call list tells, as duty stands at that instant."""
    call, due = alarm.call, _due(alarm)
    if call is None or due is None:
        return ()
    calls = lists.calls_for(plan, subject, alarm.condition, alarm.priority)
    everyone = lists.everyone(calls)
    persons = duty.persons(plan, away, lists.names_at(calls, call.step), at)
    if alarm.priority is Priority.HIGH and not duty.persons(plan, away, everyone, at):
        persons = duty.everybody(plan, everyone)
    return tuple(each for each in persons if alarm.seen.get(each, 0) <= due)


def _due(alarm: Alarm) -> int | None:
    """Boot time of the next step of its call list; None where none comes."""
    return None if alarm.call is None or bursts.waits(alarm) else alarm.call.due


def named(plan: Plan, person: str) -> str:
    """The person's name; the id where the plan does not know it."""
    return plan.people[person].name if person in plan.people else person


def ending(plan: Plan, at: int, now: Now) -> str:
    """'until 07:00' of a boot time to come."""
    return when.until(plan, now.wall + at - now.up, at, now)


def _mark(plan: Plan, what: str, mark: Mark, now: Now) -> str:
    why = f" ({mark.why})" if mark.why else ""
    end = when.until(plan, mark.until_wall, mark.until, now)
    return f"{what} {end} by {named(plan, mark.by)}{why}"


def _of_subject(
    plan: Plan, panel: Panel | None, state: State, subject: Subject, now: Now
) -> Iterator[str]:
    away = (state.subjects.get("unit") or Subject("unit")).away
    for condition, delay in state.live.get(subject.id, Live()).delays.items():
        if delay.pending is not None and not delay.present:
            waits = when.lasted(now.up - delay.pending)
            name = sentences.name(condition, panel)
            yield f"{name}: there for {waits}, its on-delay is still running."
    for alarm in subject.alarms.values():
        name = sentences.name(alarm.condition, panel)
        yield from (f"{name}{each}" for each in _alarm(plan, away, subject, alarm, now))


def _at_panel(plan: Plan, panel: Panel, subject: Subject, now: Now) -> Iterator[str]:
    visit = subject.visit
    if visit is not None and visit.until > now.up:
        end = when.until(plan, visit.until_wall, visit.until, now)
        name, alone = named(plan, visit.person), "until water has stood for too long"
        yield f"{name} is at the panel {end}: its alarms go to {name} alone, {alone}."
    for end_ in subject.loose.values():
        if end_.put_off is not None:
            about = sentences.loose_end(end_.key, panel)
            yield f"{about}: reminders {_mark(plan, 'put off', end_.put_off, now)}."


def _of_site(plan: Plan, state: State, now: Now) -> Iterator[str]:
    unit = state.subjects.get("unit") or Subject("unit")
    for gone in unit.away.values():
        end = when.until(plan, gone.until_wall, gone.until, now)
        told = (
            f"{named(plan, gone.stand_in)} is told instead" if gone.stand_in else "nobody stands in"
        )
        yield f"{named(plan, gone.person)} is away {end}; {told}."
    if unit.burst is not None:
        yield f"An alarm burst has gone on for {when.lasted(now.up - unit.burst)}."


def _input(state: InputState, spec: Input, now: Now) -> str:
    seen = facts.fact(state, spec)
    if state.lost:
        return f"{spec.id} cannot be read: {state.lost}."
    if state.filter is None or seen.fact is Fact.UNKNOWN:
        return f"{spec.id} has not settled yet."
    raw = "closed" if state.filter.raw else "open"
    hold = (
        " (back, but not long enough to be believed)"
        if seen.fact is Fact.ALARM and not _agrees(state, spec)
        else ""
    )
    bounce = (
        ""
        if state.filter.raw == state.filter.closed
        else f"; now {raw}, which the filter has not passed yet"
    )
    since = when.lasted(now.up - seen.changed)
    return f"{spec.id} reads {reads(state)}, {seen.fact.value}{hold}, for {since}{bounce}."


def reads(state: InputState) -> str:
    """`closed`, `open`, `lost` or `settling`."""
    if state.lost:
        return "lost"
    if state.filter is None or state.filter.closed is None:
        return "settling"
    return "closed" if state.filter.closed else "open"


def _agrees(state: InputState, spec: Input) -> bool:
    return state.filter is not None and state.filter.closed == (spec.in_alarm.value == "closed")


def _alarm(
    plan: Plan, away: Mapping[str, Away], subject: Subject, alarm: Alarm, now: Now
) -> Iterator[str]:
    """Each reason after the alarm's name."""
    quiet = marks(plan, subject, alarm, now)
    if alarm.process is not Process.NORM:
        told = ", ".join(plan.people[each].name for each in alarm.told if each in plan.people)
        yield f" stands as {alarm.process.value}; told: {told or 'nobody yet'}."
    if quiet:
        yield f": {quiet}."
    if alarm.chattering is not None:
        lasts = when.lasted(now.up - alarm.chattering)
        yield f": it comes and goes, for {lasts}: repeats are recorded and not told."
    if alarm.process is not Process.NORM:
        yield from _people(plan, alarm, now)
        yield from _coming(plan, away, subject, alarm, now)


def _people(plan: Plan, alarm: Alarm, now: Now) -> Iterator[str]:
    if alarm.priority is Priority.RECORD_ONLY:
        yield ": it is recorded and never told."
    take = alarm.taken
    if take is not None:
        end = when.until(plan, take.until_wall, take.until, now)
        yield f": {named(plan, take.person)} has it {end}; until then nobody else is told."
    for person, quiet in alarm.seen.items():
        if quiet > now.up:
            alone = f"is left alone for {when.lasted(quiet - now.up)}"
            yield f": {named(plan, person)} has seen it and {alone}."
    yield from (f": {each}." for each in held(plan, alarm, now))
    if bursts.waits(alarm):
        yield ": it is normal at this moment; the call list waits until it is back."
    elif alarm.process is Process.RTNUN:
        yield ": it returned to normal and was never acknowledged; the call list has stopped."
    if alarm.process in (Process.LATUN, Process.LATAK):
        yield ": it stays until it is reset; the call list has stopped."


def _coming(
    plan: Plan, away: Mapping[str, Away], subject: Subject, alarm: Alarm, now: Now
) -> Iterator[str]:
    """What the call list waits for."""
    found = coming(plan, away, subject.id, alarm, now)
    if found is not None:
        waits, names = found
        whom = ", ".join(names) or NOBODY
        yield f": the next step of the call list comes in {waits}: {whom}."
