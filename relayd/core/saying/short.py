"""The short form: one text message, of at most 160 septets, whatever the names are.

In: its parts, already in the reader's language. Out: text in the alphabet of text messages. What
it is about (with its cause), the place's name and how to answer are always there; what else fits is
kept in the order of its worth: what to do, since when, the place's whole name, where it is, the
caution.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from relayd.core.saying import gsm7
from relayd.core.saying.language import Speech
from relayd.core.saying.letter import NO_REPLY_SHORT

_LEAST = 4
"""Septets of a place below which it says nothing."""
_NAMED = 24
"""Septets of a place that other parts must leave to it."""


@dataclass(frozen=True, slots=True)
class Parts:
    """'<what> <since>, <place>, <where>. <step> <caution> <end>'; `step` in ways, the fullest first."""

    what: str
    place: str
    end: str
    since: str = ""
    where: str = ""
    step: tuple[str, ...] = ()
    caution: str = ""


def answer(say: Speech, person: str, asked: bool) -> str:
    """How to answer, for whoever is asked; and that nobody reads a reply."""
    no_reply = say(NO_REPLY_SHORT)
    how = f"relayd ack --by {person}. {no_reply}" if asked else no_reply
    return how if gsm7.septets(gsm7.spelled(how)) <= gsm7.ONE_MESSAGE else no_reply


def made(parts: Parts) -> str:
    """One text message of these parts, the least worth left out first."""
    kept = _bare(parts)
    kept = _first(kept, [replace(kept, step=(each,)) for each in parts.step])
    kept = _first(kept, [replace(kept, since=parts.since)])
    kept = _named(kept, parts.place)
    if kept.place == gsm7.spelled(parts.place):
        kept = _first(kept, [replace(kept, where=parts.where)])
    return _joined(_first(kept, [replace(kept, caution=parts.caution)]))


def _bare(parts: Parts) -> Parts:
    """What is never left out: what it is about, the begin of the place's name, how to answer."""
    end = gsm7.spelled(parts.end)
    room = gsm7.ONE_MESSAGE - gsm7.septets(end) - 1
    bare = Parts(gsm7.cut(parts.what, max(2, room - 1)), "", end)
    return _named(bare, gsm7.cut(parts.place, _NAMED))


def _named(parts: Parts, place: str) -> Parts:
    """With as much of the place's name as fits."""
    joined = _joined(replace(parts, place="x"))
    name = gsm7.cut(place, max(2, gsm7.ONE_MESSAGE - gsm7.septets(joined) + 1))
    return replace(parts, place=name) if gsm7.septets(name) >= _LEAST else parts


def _first(kept: Parts, ways: Iterable[Parts]) -> Parts:
    """The first of these that fits; as it was where none does."""
    fit = (each for each in ways if gsm7.septets(_joined(each)) <= gsm7.ONE_MESSAGE)
    return next(fit, kept)


def _joined(parts: Parts) -> str:
    """These parts as one text, spelled."""
    what = f"{parts.what} {parts.since}" if parts.since else parts.what
    place = ", ".join(filter(None, (parts.place, parts.where)))
    open_end = what.endswith((",", ".", "?", ":"))
    head = f"{what}{' ' if open_end else ', '}{place}." if place else f"{what.rstrip(',')}."
    return gsm7.spelled(" ".join(filter(None, (head, *parts.step[:1], parts.caution, parts.end))))


def whole(text: str, end: str) -> str:
    """A text that a site wrote, cut so that the answer stays."""
    end = gsm7.spelled(end)
    room = gsm7.ONE_MESSAGE - gsm7.septets(end) - 1
    return f"{gsm7.cut(text, max(2, room))} {end}" if room > 2 else end
