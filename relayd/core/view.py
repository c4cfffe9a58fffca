"""What there is to see: the whole state in words, for a screen or a program; and why it is quiet.

In: plan, state, time. Out: plain dicts and lists of text. Changes nothing.
"""

from relayd.core import panel as panels
from relayd.core import sentences, when
from relayd.core.callout import list_of
from relayd.core.conditions import MQTT_DOWN, SENDER_DOWN
from relayd.core.events import Now
from relayd.core.plan import Input, Panel, Plan
from relayd.core.state import Alarm, Fact, InputState, Live, Process, State, Subject

Json = dict[str, object]


WAYS = {"sender": SENDER_DOWN, "mqtt": MQTT_DOWN}


def status(
    plan: Plan, state: State, now: Now, journal: str = "", ways: tuple[str, ...] = tuple(WAYS)
) -> Json:
    """The unit, its panels, and every alarm that is not over; `ways` out are those that there are."""
    said = (state.subjects.get("unit") or Subject("unit")).said
    others = [name for name in state.subjects if not name.startswith("panel:")]
    return {
        "unit": {
            "id": plan.unit,
            "name": plan.unit_name,
            "clock": "set" if now.trusted else "not set",
            "zone": plan.zone,
            "journal": f"late: {journal}" if journal else "in time",
            "ways": {
                way: f"down: {said[WAYS[way]]}" if WAYS[way] in said else "up" for way in ways
            },
            "alarms": [each for name in others for each in _alarms(plan, state, name, now)],
        },
        "panels": [_panel(plan, state, each, now) for each in plan.panels.values()],
    }


def why(plan: Plan, state: State, name: str, now: Now) -> list[str]:
    """Why nobody is being told about this panel right now, fact by fact."""
    panel = plan.panels[name]
    subject = state.subjects.get(f"panel:{name}") or Subject(f"panel:{name}")
    live = state.live.get(subject.id, Live())
    lines = [_why_input(live.inputs.get(each.id, InputState()), each, now) for each in panel.inputs]
    for condition, delay in live.delays.items():
        if delay.pending is not None and not delay.present:
            waits = when.lasted(now.up - delay.pending)
            lines.append(
                f"{sentences.NAMES[condition]}: there for {waits}, its on-delay is still running."
            )
    for alarm in subject.alarms.values():
        lines += _why_alarm(plan, alarm, now)
    lines.append(sentences.level(subject))
    return lines


def _panel(plan: Plan, state: State, panel: Panel, now: Now) -> Json:
    name = f"panel:{panel.id}"
    subject = state.subjects.get(name) or Subject(name)
    inputs = state.live.get(name, Live()).inputs
    return {
        "id": panel.id,
        "name": panel.name,
        "where": panel.where,
        "kind": panel.kind.value,
        "level": sentences.level(subject),
        "row": subject.belief.row,
        "inputs": [_input(inputs.get(each.id, InputState()), each) for each in panel.inputs],
        "alarms": _alarms(plan, state, name, now),
    }


def reads(state: InputState) -> str:
    """`closed`, `open`, `lost` or `settling`."""
    if state.lost:
        return "lost"
    if state.filter is None or state.filter.closed is None:
        return "settling"
    return "closed" if state.filter.closed else "open"


def inputs(state: State) -> dict[str, str]:
    """What every input reads, by its full id."""
    return {name: reads(each) for live in state.live.values() for name, each in live.inputs.items()}


def _input(state: InputState, spec: Input) -> Json:
    return {
        "id": spec.id,
        "means": spec.means.value,
        "reads": reads(state),
        "fact": panels.fact(state, spec).fact.value,
        "lost": state.lost,
        "missed": state.missed,
    }


def _alarms(plan: Plan, state: State, name: str, now: Now) -> list[Json]:
    subject = state.subjects.get(name)
    if subject is None:
        return []
    shown = [each for each in subject.alarms.values() if each.process is not Process.NORM]
    return [_alarm(plan, state, subject, each, now) for each in shown]


def _alarm(plan: Plan, state: State, subject: Subject, alarm: Alarm, now: Now) -> Json:
    panel = plan.panels.get(subject.id.removeprefix("panel:"))
    raised = alarm.raised
    return {
        "subject": subject.id,
        "condition": alarm.condition,
        "name": sentences.NAMES[alarm.condition],
        "state": alarm.process.value,
        "priority": alarm.priority.value,
        "occurrence": f"{plan.unit}.{state.epoch}.{alarm.occurrence}",
        "row": alarm.row,
        "text": sentences.standing(panel, subject, alarm),
        "since": when.since(plan, raised, now) if raised else "",
        "for": when.lasted(now.up - raised.up) if raised else "",
        "told": _names(plan, alarm.told),
        "seen": _names(plan, tuple(alarm.seen)),
        "taken": _taken(plan, alarm, now),
        "next": _next(plan, subject.id, alarm, now),
    }


def _names(plan: Plan, persons: tuple[str, ...]) -> list[str]:
    return [plan.people[each].name for each in persons if each in plan.people]


def _taken(plan: Plan, alarm: Alarm, now: Now) -> Json | None:
    take = alarm.taken
    if take is None:
        return None
    name = plan.people[take.person].name if take.person in plan.people else take.person
    return {"by": name, "until": when.until(plan, take.until_wall, take.until, now)}


def _next(plan: Plan, subject: str, alarm: Alarm, now: Now) -> Json | None:
    call = alarm.call
    if call is None or call.due is None:
        return None
    calls = list_of(plan, subject)
    step = calls.steps[call.step].persons if call.step < len(calls.steps) else None
    persons = step or tuple(dict.fromkeys(each for one in calls.steps for each in one.persons))
    return {"in": when.lasted(call.due - now.up), "who": _names(plan, persons)}


def _why_input(state: InputState, spec: Input, now: Now) -> str:
    seen = panels.fact(state, spec)
    if state.lost:
        return f"{spec.id} cannot be read: {state.lost}."
    if state.filter is None or seen.fact is Fact.UNKNOWN:
        return f"{spec.id} has not settled yet."
    raw = "closed" if state.filter.raw else "open"
    held = (
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
    return f"{spec.id} reads {reads(state)}, {seen.fact.value}{held}, for {since}{bounce}."


def _agrees(state: InputState, spec: Input) -> bool:
    return state.filter is not None and state.filter.closed == (spec.in_alarm.value == "closed")


def _why_alarm(plan: Plan, alarm: Alarm, now: Now) -> list[str]:
    name = sentences.NAMES[alarm.condition]
    if alarm.process is Process.NORM:
        return []
    told = ", ".join(_names(plan, alarm.told)) or "nobody yet"
    lines = [f"{name} stands as {alarm.process.value}; told: {told}."]
    if alarm.taken is not None:
        take = _taken(plan, alarm, now)
        lines.append(
            f"{name}: {take['by']} has it {take['until']}; until then nobody else is told."
            if take
            else ""
        )
    for person, quiet in alarm.seen.items():
        if quiet > now.up:
            who = ", ".join(_names(plan, (person,))) or person
            lines.append(
                f"{name}: {who} has seen it and is left alone for {when.lasted(quiet - now.up)}."
            )
    if alarm.process is Process.RTNUN:
        lines.append(
            f"{name}: it returned to normal and was never acknowledged; the call list has stopped."
        )
    return lines
