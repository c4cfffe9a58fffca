"""A panel with a horn in a simulated world, and what people do and say there: invented."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from relayd.core.calling import callout
from relayd.core.conditions import character
from relayd.core.draft import Draft
from relayd.core.events import LevelRead, Wire
from relayd.core.plan import HOUR, MINUTE, SECOND, CallList, Input, Means, Panel, Plan, Step
from relayd.core.refusal import Refused
from relayd.core.state import Alarm, Horn, HornStanding, LooseEnd, Process, Subject, Visit
from relayd.core.upkeep import horn, loose, visits
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

CABIN = "panel:cabin"
LEVEL, CIRCUIT = "cabin.high-level", "cabin.alarm-power"
DRIVEN, HEARD, PARKED = "cabin.horn-driven", "cabin.horn-heard", "cabin.horn-wire-parked"
DOOR, OFF = "cabin.panel-door", "cabin.in-off"
V, S, K, A = Means.HORN_DRIVEN, Means.HORN_HEARD, Means.HORN_WIRE_PARKED, Means.ALARM_POWER
SLOW = frozenset({V, S})


def wired(means: Means, **changes: object) -> Input:
    """An input of that means; those of the horn hold three seconds, as the loader gives them."""
    slow = {"open_time": 3 * SECOND} if means in SLOW else {}
    return contact(means, **{**slow, **changes})  # type: ignore[arg-type]


def cabin(*means: Means, **changes: object) -> Panel:
    """A cabin's panel with a high-level contact and those inputs."""
    return panel("cabin", wired(Means.HIGH_LEVEL), *(wired(each) for each in means), **changes)


def plan(*means: Means, **changes: object) -> Plan:
    """The cabin with Anna, Ben and Carla: Carla and then Ben look after what was left undone."""
    low = CallList("low", (Step(0, ("carla", "anna")), Step(HOUR, ("ben",))))
    base = plan_of(cabin(*means, **{"low_list": "low", **changes}))
    return Plan(
        **{
            **{name: getattr(base, name) for name in base.__slots__},
            "call_lists": {**base.call_lists, "low": low},
        }
    )


def world(*means: Means, **changes: object) -> World:
    """That cabin, started ten seconds ago and at rest."""
    return World(plan(*means, **changes)).start().run(10)


def owner(at: World) -> Subject:
    """The cabin's panel as it now is."""
    return at.state.subjects[CABIN]


def horn_of(at: World) -> Horn:
    """What is known of its horn."""
    return owner(at).horn


def standing(at: World) -> HornStanding:
    """The horn's standing."""
    return horn_of(at).standing


def ends(at: World) -> dict[str, LooseEnd]:
    """The cabin's loose ends."""
    return dict(owner(at).loose)


def visit_of(at: World) -> Visit | None:
    """Who is at the cabin."""
    return owner(at).visit


def says(at: World, act: Callable[[Draft], Refused | None]) -> Refused | None:
    """What a station answers; then every contact is read again, as the daemon would."""
    draft = Draft(at.plan, at.state, at.now())
    refused = act(draft)
    at.state, effects = draft.finished()
    at.made |= at.state.notices
    at.effects += [(at.up, each) for each in effects]
    state = at.state.live[CABIN].inputs[LEVEL].filter
    at.give(LevelRead(LEVEL, bool(state and state.raw), at.up))
    return refused


def raised(at: World, condition: str, contact_id: str) -> World:
    """That contact is in its alarm, and its condition has outlasted its on-delay."""
    at.alarm(contact_id)

    def puts(draft: Draft) -> None:
        made = owner(at).alarms.get(condition) or Alarm(condition, character(condition).priority)
        if made.process is not Process.UNACK:
            made = replace(
                made, process=Process.UNACK, occurrence=draft.number(), raised=draft.stamp
            )
            draft.put_alarm(CABIN, callout.begin(draft, CABIN, made))

    says(at, puts)
    return at


def gone(at: World, condition: str, contact_id: str) -> World:
    """That contact is back, and its condition's off-delay is over."""
    at.alarm(contact_id, False)
    at.run(61)
    made = owner(at).alarms[condition]
    says(at, lambda draft: draft.put_alarm(CABIN, replace(made, process=Process.NORM, call=None)))
    return at.run(1)


def wire(at: World, what: Wire, by: str = "ben", why: str = "") -> Refused | None:
    """Somebody declares the horn's wire off or back."""
    return says(at, lambda draft: horn.declare(draft, CABIN, by, what, why))


def settle(at: World, key: str, by: str = "ben") -> Refused | None:
    """Somebody says that a loose end is done away with."""
    return says(at, lambda draft: loose.settled(draft, CABIN, key, by))


def put_off(at: World, key: str, length: int, why: str = "part on order") -> Refused | None:
    """Ben puts a loose end off for `length` ns."""
    until = at.up + length
    return says(at, lambda draft: loose.put_off(draft, CABIN, key, "ben", until, why))


def arrive(at: World, by: str = "ben", length: int = 2 * HOUR) -> Refused | None:
    """Somebody begins a visit."""
    until = at.up + length
    return says(at, lambda draft: visits.begin(draft, CABIN, by, until))


def stay(at: World, by: str = "ben", length: int = HOUR) -> Refused | None:
    """The visitor stays longer."""
    until = at.up + length
    return says(at, lambda draft: visits.extend(draft, CABIN, by, until))


def leave(at: World, *left: str, by: str = "ben", why: str = "") -> Refused | None:
    """The visitor leaves."""
    return says(at, lambda draft: visits.end(draft, CABIN, by, left, why))


def move(at: World, inputs: Iterable[str], on: bool = True) -> World:
    """Move those contacts to their alarm sides, or back."""
    for each in inputs:
        at.alarm(each, on)
    return at


def sounds(at: World, *inputs: str) -> World:
    """High level begins with those contacts, and the trial of the horn is over."""
    move(at, (LEVEL, *inputs))
    return at.run(30)


__all__ = ["MINUTE", "World"]
