"""What there is to see: the whole state in words, for a screen or a program.

In: plan, state, time. Out: plain dicts and lists of text. Changes nothing. Its keys:

    unit     id, name, clock, zone, journal, ways, alarms, aside, inputs, away, burst, loose
    panels   id, name, where, kind, level, row, inputs, alarms, aside, out, horn, loose, visit
    alarms   subject, condition, name, state, shown, priority, occurrence, row, text, notes, since,
             for, told, seen, taken, next, quiet, held, chattering, stays
    aside    alarms that are normal and yet put aside: the same keys
    horn     standing, since, why, row, by, asked
    loose    key, say, since, by, why, reminded, put_off
    visit    person, name, until; away: person, name, until, stand_in
    who      place, priority, steps: after, in, who, held

`quiet` says why an alarm is not told ('paused until 08:00 by Anna'), `shown` is its state with the
marks (OOSRV, SHLVD, DSUPR), `stays` whether it stays until it is reset. Why it is quiet at all is
told by quietness.py.
"""

from collections.abc import Iterable, Mapping

from relayd.core.calling import concerned, lists
from relayd.core.conditions import of_way
from relayd.core.diagnosis import facts
from relayd.core.events import Now
from relayd.core.life.shown import shown
from relayd.core.plan import Input, Panel, Plan, Priority
from relayd.core.saying import sentences, when
from relayd.core.showing import quietness
from relayd.core.showing.quietness import named, reads, why, why_unit
from relayd.core.state import Alarm, Away, InputState, Live, LooseEnd, Process, State, Subject

__all__ = ["inputs", "reads", "status", "who", "why", "why_unit"]

Json = dict[str, object]

WAYS = ("sender", "mqtt")


def status(
    plan: Plan, state: State, now: Now, journal: str = "", ways: tuple[str, ...] = WAYS
) -> Json:
    """The unit, its panels, and every alarm that is not over; `ways` out are those that there are."""
    own = _unit(state)
    said = own.said
    others = [name for name in state.subjects if not name.startswith("panel:")]
    return {
        "unit": {
            "id": plan.unit,
            "name": plan.unit_name,
            "clock": "set" if now.trusted else "not set",
            "zone": plan.zone,
            "journal": f"late: {journal}" if journal else "in time",
            "ways": {
                way: f"down: {said[of_way(way)]}" if of_way(way) in said else "up" for way in ways
            },
            "alarms": [each for name in others for each in _alarms(plan, state, name, now)],
            "aside": [each for name in others for each in _aside(plan, state, name, now)],
            "inputs": _inputs(state, "unit", plan.inputs),
            "away": [_away(plan, each, now) for each in own.away.values()],
            "burst": f"for {when.lasted(now.up - own.burst)}" if own.burst is not None else "",
            "loose": [_loose(plan, None, each, now) for each in own.loose.values()],
        },
        "panels": [_panel(plan, state, each, now) for each in plan.panels.values()],
    }


def who(plan: Plan, state: State, name: str, priority: Priority, now: Now) -> Json:
    """Who would be told of an alarm of that priority at that panel ('' = the unit), now and next."""
    subject = f"panel:{name}" if name else "unit"
    steps = lists.foreseen(plan, state.subjects, subject, priority, now)
    owner = state.subjects.get(subject) or Subject(subject)
    beside = concerned.beside(plan, owner, _unit(state).away, priority, now)
    return {
        "place": plan.panels[name].name if name else plan.unit_name,
        "priority": priority.value,
        "steps": [
            {
                "after": each.after,
                "in": when.lasted(each.after) if each.after else "now",
                "who": [named(plan, one) for one in _told(each.persons, beside, number)],
                "held": {
                    named(plan, one): quietness.ending(plan, at, now)
                    for one, at in each.held.items()
                },
            }
            for number, each in enumerate(steps)
        ],
    }


def _told(
    persons: Iterable[str], beside: tuple[tuple[str, ...], tuple[str, ...]], step: int
) -> tuple[str, ...]:
    """Who is told at that step; at the first, those too who are in the middle of something there."""
    first, after = beside if step == 0 else ((), ())
    return tuple(dict.fromkeys((*first, *persons, *after)))


def _unit(state: State) -> Subject:
    return state.subjects.get("unit") or Subject("unit")


def _panel(plan: Plan, state: State, panel: Panel, now: Now) -> Json:
    name = f"panel:{panel.id}"
    subject = state.subjects.get(name) or Subject(name)
    return {
        "id": panel.id,
        "name": panel.name,
        "where": panel.where,
        "kind": panel.kind.value,
        "level": sentences.level(subject),
        "row": subject.belief.row,
        "inputs": _inputs(state, name, panel.inputs),
        "alarms": _alarms(plan, state, name, now),
        "aside": _aside(plan, state, name, now),
        "out": quietness.out(plan, subject, now),
        "horn": _horn(plan, subject, now),
        "loose": [_loose(plan, panel, each, now) for each in subject.loose.values()],
        "visit": _visit(plan, subject, now),
    }


def inputs(state: State) -> dict[str, str]:
    """What every input reads, by its full id."""
    return {name: reads(each) for live in state.live.values() for name, each in live.inputs.items()}


def _inputs(state: State, name: str, specs: tuple[Input, ...]) -> list[Json]:
    known = state.live.get(name, Live()).inputs
    return [_input(known.get(each.id, InputState()), each) for each in specs]


def _horn(plan: Plan, subject: Subject, now: Now) -> Json:
    horn = subject.horn
    return {
        "standing": horn.standing.value,
        "since": when.since(plan, horn.since, now) if horn.since else "",
        "why": horn.why,
        "row": horn.row,
        "by": named(plan, horn.by) if horn.by else "",
        "asked": when.since(plan, horn.asked, now) if horn.asked else "",
    }


def _loose(plan: Plan, panel: Panel | None, end: LooseEnd, now: Now) -> Json:
    off = end.put_off
    return {
        "key": end.key,
        "say": sentences.loose_end(end.key, panel),
        "since": when.since(plan, end.since, now),
        "by": named(plan, end.by) if end.by else "",
        "why": end.why,
        "reminded": end.reminded,
        "put_off": when.until(plan, off.until_wall, off.until, now) if off else "",
    }


def _visit(plan: Plan, subject: Subject, now: Now) -> Json | None:
    visit = subject.visit
    if visit is None:
        return None
    end = when.until(plan, visit.until_wall, visit.until, now)
    return {"person": visit.person, "name": named(plan, visit.person), "until": end}


def _away(plan: Plan, gone: Away, now: Now) -> Json:
    return {
        "person": gone.person,
        "name": named(plan, gone.person),
        "until": when.until(plan, gone.until_wall, gone.until, now),
        "stand_in": named(plan, gone.stand_in) if gone.stand_in else "",
    }


def _input(state: InputState, spec: Input) -> Json:
    return {
        "id": spec.id,
        "means": spec.means.value,
        "reads": reads(state),
        "fact": facts.fact(state, spec).fact.value,
        "lost": state.lost,
        "missed": state.missed,
    }


def _alarms(plan: Plan, state: State, name: str, now: Now) -> list[Json]:
    """Every alarm of the subject that is not over."""
    subject = state.subjects.get(name) or Subject(name)
    there = [each for each in subject.alarms.values() if each.process is not Process.NORM]
    return [_alarm(plan, state, subject, each, now) for each in there]


def _aside(plan: Plan, state: State, name: str, now: Now) -> list[Json]:
    """Every alarm that is normal, and of which nobody would be told."""
    subject = state.subjects.get(name) or Subject(name)
    normal = [each for each in subject.alarms.values() if each.process is Process.NORM]
    marked = [each for each in normal if each.shelved or each.out or each.suppressed]
    return [_alarm(plan, state, subject, each, now) for each in marked]


def _alarm(plan: Plan, state: State, subject: Subject, alarm: Alarm, now: Now) -> Json:
    panel = lists.panel_of(plan, subject.id)
    raised = alarm.since
    return {
        "subject": subject.id,
        "condition": alarm.condition,
        "name": sentences.name(alarm.condition, panel),
        "state": alarm.process.value,
        "shown": shown(alarm, subject),
        "priority": alarm.priority.value,
        "occurrence": f"{plan.unit}.{state.epoch}.{alarm.occurrence}",
        "row": alarm.row,
        "notes": list(alarm.notes),
        "text": sentences.standing(panel, subject, alarm),
        "since": when.since(plan, raised, now) if raised else "",
        "for": when.lasted(now.up - raised.up) if raised else "",
        "told": _names(plan, alarm.told),
        "seen": _names(plan, tuple(alarm.seen)),
        "taken": _taken(plan, alarm, now),
        "next": _next(plan, _unit(state).away, subject.id, alarm, now),
        "quiet": quietness.marks(plan, subject, alarm, now),
        "held": list(quietness.held(plan, alarm, now)),
        "chattering": when.lasted(now.up - alarm.chattering) if alarm.chattering else "",
        "stays": alarm.latching,
    }


def _names(plan: Plan, persons: tuple[str, ...]) -> list[str]:
    return [plan.people[each].name for each in persons if each in plan.people]


def _taken(plan: Plan, alarm: Alarm, now: Now) -> Json | None:
    take = alarm.taken
    if take is None:
        return None
    end = when.until(plan, take.until_wall, take.until, now)
    return {"by": named(plan, take.person), "until": end}


def _next(
    plan: Plan, away: Mapping[str, Away], subject: str, alarm: Alarm, now: Now
) -> Json | None:
    found = quietness.coming(plan, away, subject, alarm, now)
    return None if found is None else {"in": found[0], "who": found[1]}
