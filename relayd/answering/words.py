"""What the words of an answer mean: one line, taken whole, in every language that is offered.

In: a line that a person wrote. Out: the act and its time, or None. Strict on purpose: a line that
holds more than an answer ('not seen', 'who has taken it?') is not taken for one.
"""

import re
from dataclasses import dataclass

from relayd.core.events import Act
from relayd.core.plan import HOUR, MINUTE

LONGEST = 24 * HOUR
_SEEN = r"seen|i have seen it|visto|lo he visto|lo vi"
_TAKEN = r"taken|take it|i have it|i take it|mine|on my way|tomado|lo tomo|lo tengo|voy|en camino"
_OK = r"ok|okay|1"
_TIME = (
    r"(?:(?:until|till|by|at|for|hasta(?: las)?|a las|por)\s+)?"
    r"(?:(?P<hour>\d{1,2})(?::(?P<minute>\d\d))?\s?(?P<half>am|pm|a\.m\.?|p\.m\.?)?"
    r"|(?P<count>\d{1,4})\s?(?P<unit>min|minutes|minutos|h|hours?|horas?))"
)
_ANSWER = re.compile(
    rf"(?:(?P<seen>{_SEEN})|(?P<taken>{_TAKEN})|(?P<ok>{_OK}))(?:\s*,?\s+{_TIME})?\s*[.!]*", re.I
)


@dataclass(frozen=True, slots=True)
class Said:
    """`act` None: by the person's standing. `clock` is a local time of day, `within` a span (ns)."""

    act: Act | None
    clock: int | None = None
    within: int | None = None


def understood(line: str, codes: tuple[str, ...] = ()) -> Said | None:
    """What the line means once the codes are taken out of it; None where that is not certain."""
    for code in codes:
        line = re.sub(
            rf"\b(?:c(?:ode|[oó]digo)\W*)?{re.escape(code)}\b[:,]?", " ", line, flags=re.I
        )
    found = _ANSWER.fullmatch(" ".join(line.split()).strip(" ,:"))
    if found is None:
        return None
    clock, within = _clock(found), _within(found)
    timed = clock is not None or within is not None
    if (found["hour"] or found["count"]) and not timed:
        return None
    act = Act.TAKEN if found["taken"] else Act.SEEN if found["seen"] else None
    if timed and act is Act.SEEN:
        return None
    return Said(Act.TAKEN if timed else act, clock, within)


def _clock(found: re.Match[str]) -> int | None:
    if found["hour"] is None or (found["minute"] is None and found["half"] is None):
        return None  # a bare number may be anything
    hour, minute, half = int(found["hour"]), int(found["minute"] or 0), found["half"]
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half.lower().startswith("p") else 0)
    return hour * HOUR + minute * MINUTE if hour < 24 and minute < 60 else None


def _within(found: re.Match[str]) -> int | None:
    if found["count"] is None:
        return None
    span = int(found["count"]) * (MINUTE if found["unit"].lower().startswith("m") else HOUR)
    return span if 0 < span <= LONGEST else None
