"""The short form: one text message, of at most 160 septets, whatever the names are.

In: its parts, already in the reader's language. Out: text in the alphabet of text messages. What
must be done is cut last: first the place, then the rest of what is said, the answer never.
"""

from relayd.core.saying import gsm7
from relayd.core.saying.language import Speech
from relayd.core.saying.letter import NO_REPLY_SHORT

_LEAST = 4
"""Septets of a place below which it says nothing."""


def answer(say: Speech, person: str, asked: bool) -> str:
    """How to answer, for whoever is asked; and that nobody reads a reply."""
    no_reply = say(NO_REPLY_SHORT)
    how = f"relayd ack --by {person}. {no_reply}" if asked else no_reply
    return how if gsm7.septets(gsm7.spelled(how)) <= gsm7.ONE_MESSAGE else no_reply


def fitted(what: str, place: str, step: str, end: str) -> str:
    """'<what> <place>. <step> <end>', cut where it hurts least."""
    end = gsm7.spelled(end)
    room = gsm7.ONE_MESSAGE - gsm7.septets(end) - 1
    what = gsm7.cut(what, max(2, room - 1))
    room -= gsm7.septets(what) + 1
    step = gsm7.spelled(step)
    if step and gsm7.septets(step) + 1 <= room:
        room -= gsm7.septets(step) + 1
    else:
        step = ""
    name = gsm7.cut(place, room - 1) if room - 1 >= _LEAST else ""
    head = f"{what} {name}." if name else f"{what.rstrip(',')}."
    return " ".join(filter(None, (head, step, end)))


def whole(text: str, end: str) -> str:
    """A text that a site wrote, cut so that the answer stays."""
    end = gsm7.spelled(end)
    room = gsm7.ONE_MESSAGE - gsm7.septets(end) - 1
    return f"{gsm7.cut(text, max(2, room))} {end}" if room > 2 else end
