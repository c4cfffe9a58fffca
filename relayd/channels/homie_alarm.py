"""One alarm as a broker shows it: its state, what is known, who was told, and where its call list stands.

In: an alarm of a subject, plan, time. Out: a node, and the text of its alert.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from relayd.channels.devices import Node, Property, choice, count, flag, instant, names, text
from relayd.channels.homie_times import iso, moment, upcoming
from relayd.core.calling import hours
from relayd.core.conditions import character
from relayd.core.events import Now
from relayd.core.life.alarm import ACTIVE
from relayd.core.life.shown import shown
from relayd.core.plan import Panel, Plan, Priority
from relayd.core.saying import sentences
from relayd.core.showing import quietness
from relayd.core.state import Alarm, Call, CallStop, Process, State, Subject, outside_id

STATES = (*Process, "SHLVD", "DSUPR", "OOSRV")
"""The process states of ISA-18.2, and its three marks: an alarm's state is shown with them."""
CALLS = ("none", "calling", "waiting", *CallStop)
"""A call list: not at work, with a next step, waiting for a mark or a visit to end, stopped."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What every node of one tree is made from."""

    state: State
    plan: Plan
    now: Now


def node(scene: Scene, panel: Panel | None, subject: Subject, condition: str) -> Node:
    """The node of that condition, whether or not it stands."""
    alarm = subject.alarms.get(condition) or Alarm(condition, character(condition).priority)
    properties = {
        "state": choice("State (ISA-18.2)", shown(alarm, subject), STATES),
        "present": flag("The condition, after its delays", alarm.process in ACTIVE, "gone,present"),
        "priority": choice("Priority", alarm.priority.value, Priority),
        "quiet": text("Why nobody is told", quietness.marks(scene.plan, subject, alarm, scene.now)),
        **_known(scene, panel, subject, alarm),
        **_people(scene, alarm),
        **_calling(scene, subject, alarm),
        **_marks(scene, alarm),
    }
    return Node(sentences.name(condition, panel), properties, "alarm")


def _known(
    scene: Scene, panel: Panel | None, subject: Subject, alarm: Alarm
) -> Mapping[str, Property]:
    stands = alarm.process is not Process.NORM
    number = outside_id(scene.plan.unit, scene.state, alarm.occurrence) if stands else ""
    raised = moment(alarm.raised if stands else None, scene.state, scene.plan, scene.now)
    returned = alarm.returned if stands and alarm.process not in ACTIVE else None
    return {
        "row": text("Row of the diagnosis", alarm.row if stands else ""),
        "says": text("What is known", sentences.standing(panel, subject, alarm) if stands else ""),
        "occurrence": text("Occurrence, for acknowledging", number),
        "since": instant("Raised at", raised),
        "returned": instant(
            "Normal again since", moment(returned, scene.state, scene.plan, scene.now)
        ),
    }


def _people(scene: Scene, alarm: Alarm) -> Mapping[str, Property]:
    stands = alarm.process is not Process.NORM
    taken = alarm.taken if stands else None
    return {
        "told": names("Persons told", alarm.told if stands else ()),
        "seen": names("Persons who have seen it", alarm.seen if stands else ()),
        "taken-by": text("Taken by", taken.person if taken else ""),
        "taken-until": instant(
            "Taken until", iso(taken.until_wall, scene.plan) if taken and scene.now.trusted else ""
        ),
    }


def _calling(scene: Scene, subject: Subject, alarm: Alarm) -> Mapping[str, Property]:
    stands = alarm.process is not Process.NORM
    call = alarm.call if stands else None
    due = call.due if call and call.stopped is None else None
    return {
        "call": choice("Call list", _call(call), CALLS),
        "call-step": count("Steps of it that were reached", call.step if call else 0),
        "call-round": count("How often it began", call.round if call else 0),
        "call-next": instant("Its next step", upcoming(due, scene.plan, scene.now)),
        "call-tells": names("Whom its next step tells", _next(scene, subject, alarm, due)),
    }


def _next(scene: Scene, subject: Subject, alarm: Alarm, due: int | None) -> tuple[str, ...]:
    """As duty will stand then, so that it does not change with time alone."""
    if due is None:
        return ()
    unit, then = scene.state.subjects.get("unit") or Subject("unit"), hours.later(scene.now, due)
    return quietness.told_next(scene.plan, unit.away, subject.id, alarm, then)


def _call(call: Call | None) -> str:
    if call is None:
        return "none"
    if call.stopped is not None:
        return call.stopped.value
    return "waiting" if call.due is None else "calling"


def _marks(scene: Scene, alarm: Alarm) -> Mapping[str, Property]:
    trusted, plan = scene.now.trusted, scene.plan
    paused = iso(alarm.shelved.until_wall, plan) if alarm.shelved and trusted else ""
    out = iso(alarm.out.until_wall, plan) if alarm.out and trusted else ""
    return {
        "paused-until": instant("Paused until", paused),
        "out-until": instant("Out of service until", out),
        "by-design": text("Quiet by design, because", alarm.suppressed),
    }


def alerts(scene: Scene, panel: Panel | None, subject: Subject) -> dict[str, str]:
    """One text for each alarm that is not NORM, whatever its condition."""
    return {
        each.condition: alert(scene, panel, subject, each)
        for each in subject.alarms.values()
        if each.process is not Process.NORM
    }


def alert(scene: Scene, panel: Panel | None, subject: Subject, alarm: Alarm) -> str:
    """What stands, since when, how urgent, who has it, and what is known."""
    name = sentences.name(alarm.condition, panel)
    since = moment(alarm.raised, scene.state, scene.plan, scene.now)
    who = f"taken by {alarm.taken.person}" if alarm.taken else "not taken by anybody"
    says = sentences.standing(panel, subject, alarm)
    begun = f" since {since}" if since else ""
    return f"{name}{begun} ({shown(alarm, subject)}, {alarm.priority.value}, {who}). {says}"
