"""What commands have in common: who, where, which alarm, until when; and what became of one.

In: a person's words as the command carries them. Out: what they mean, or a `Refused` that says
what there is instead. Changes nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from relayd.core.conditions import of_panel, of_unit
from relayd.core.draft import UNIT, Draft
from relayd.core.plan import Panel, Person
from relayd.core.refusal import Refused
from relayd.core.saying import sentences, when


@dataclass(frozen=True, slots=True)
class Done:
    """What was done and what follows: one word for programs, a sentence, the subjects that changed."""

    code: str
    say: str
    subjects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """Where something is meant: a panel, or the unit itself (no panel)."""

    subject: str
    name: str
    panel: Panel | None = None


def near(wrong: str, known: Iterable[str]) -> str:
    """'; did you mean ...?' where one of `known` is spelt much like `wrong`, else ''."""
    found = get_close_matches(wrong.lower(), list(known), 1)
    return f"; did you mean '{found[0]}'?" if found else ""


def person_of(draft: Draft, name: str) -> Person | Refused:
    """The person of that id."""
    person = draft.plan.people.get(name)
    if person is not None:
        return person
    known = sorted(draft.plan.people)
    say = f"nobody is called '{name}'; the plan knows: {', '.join(known)}{near(name, known)}"
    return Refused("unknown-person", say)


def panel_of(draft: Draft, name: str) -> Place | Refused:
    """The panel of that id."""
    panel = draft.plan.panels.get(name)
    if panel is not None:
        return Place(f"panel:{name}", panel.name, panel)
    return _no_place(name, list(draft.plan.panels))


def place_of(draft: Draft, name: str) -> Place | Refused:
    """The panel of that id, or the unit; a panel that is called as the unit goes first."""
    if name == draft.plan.unit and name not in draft.plan.panels:
        return Place(UNIT, draft.plan.unit_name)
    found = panel_of(draft, name)
    if isinstance(found, Refused):
        return _no_place(name, [*draft.plan.panels, draft.plan.unit])
    return found


def _no_place(name: str, known: list[str]) -> Refused:
    say = f"no panel is called '{name}'; the plan knows: {', '.join(known)}{near(name, known)}"
    return Refused("unknown-panel", say)


def condition_at(draft: Draft, place: Place, asked: str) -> str | Refused:
    """The condition that is meant there: as it is called, as screens write it, or pump by pump."""
    known = of_panel(place.panel) if place.panel else of_unit(draft.plan)
    name = "-".join(asked.lower().split())
    if name in known:
        return name
    # Where there is one pump its conditions carry no number, but people may write it.
    if name.removesuffix("-1") in known:
        return name.removesuffix("-1")
    of_pumps = [each for each in known if each.rpartition("-")[0] == name and each[-1].isdigit()]
    if of_pumps:
        return Refused("unknown-condition", f"say of which pump: {', '.join(of_pumps)}")
    say = f"{place.name} has no condition '{asked}'; it has: {', '.join(known)}"
    return Refused("unknown-condition", say + near(name, known))


def end_of(
    draft: Draft, until: int | None, within: int | None, longest: str, usual: int | None = None
) -> int | Refused:
    """The boot time that is meant, given once; `usual` (ns from now) where none is given.

    `longest` says in words how far away it may be; the stations hold people to it.
    """
    now = draft.now
    if until is not None and within is not None:
        return Refused("bad-time", "give 'until' or 'within', not both")
    within = usual if until is None and within is None else within
    if within is not None:
        end = now.up + within
    elif until is None:
        return Refused("no-end", f"say until when (until 08:00) or for how long: {longest}")
    elif not now.trusted:
        return Refused("bad-time", "the unit's clock is not set: say how long instead (within 4 h)")
    else:
        end = now.up + until - now.wall
    if end <= now.up:
        return Refused("bad-time", "that time is over: give one that is still to come")
    return end


def until_words(draft: Draft, end: int) -> str:
    """'until 08:00', or 'for 4 h 00 min' where the clock is not set, of a boot time to come."""
    return when.until(draft.plan, draft.now.wall + end - draft.now.up, end, draft.now)


def called(place: Place, condition: str) -> str:
    """The condition as screens write it, and where: 'High level at Cabin tank'."""
    return f"{sentences.name(condition, place.panel)} at {place.name}"
