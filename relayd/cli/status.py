"""What the daemon tells of itself and its panels, in lines for people."""

from collections.abc import Iterator

from relayd.cli.out import Line, Tone
from relayd.cli.tell import Told, names, part, parts, text
from relayd.core.conditions import HIGH_LEVEL

_WAITING = ("UNACK", "RTNUN", "LATUN")
_HORN = {"proved": Tone.PLAIN}
_NOBODY = "nobody (away, or has seen it)"
_STATES = {
    "UNACK": "nobody has answered yet",
    "ACKED": "acknowledged",
    "LATUN": "over, but it stays until it is reset; nobody has answered yet",
    "LATAK": "over, but it stays until it is reset; acknowledged",
    "NORM": "over",
}


def lines(status: Told) -> Iterator[Line]:
    """The whole status: open alarms first in each panel, and the unit at the end."""
    panels = parts(status, "panels")
    unit = part(status, "unit")
    count = sum(len(parts(each, "alarms")) for each in [*panels, unit])
    yield Line(f"open alarms: {count or 'none'}", Tone.URGENT if count else Tone.HEAD)
    for panel in panels:
        yield Line("")
        yield from _panel(panel)
    if unit:
        yield Line("")
        yield from _unit(unit)


def open_places(status: Told) -> list[str]:
    """The panels, and the unit, at which an alarm can be acknowledged."""
    found = [*parts(status, "panels"), part(status, "unit")]
    return [text(each, "id") for each in found if parts(each, "alarms")]


def standing(alarm: Told) -> str:
    """Who knows of an alarm and who has it, in words."""
    taken, seen, state = part(alarm, "taken"), names(alarm, "seen"), text(alarm, "state")
    if state == "RTNUN":
        fell = text(alarm, "condition") == HIGH_LEVEL
        return f"{'level fell' if fell else 'over'}, not acknowledged"
    if taken:
        return f"taken by {text(taken, 'by')} {_until(text(taken, 'until'))}".rstrip()
    if seen and state in ("UNACK", "ACKED"):
        return f"seen by {seen}; nobody has taken it yet"
    return _STATES.get(state, state)


def _panel(panel: Told) -> Iterator[Line]:
    facts = [text(panel, "where"), text(panel, "kind").replace("-", " ")]
    yield Line(", ".join([_titled(panel), *filter(None, facts)]), Tone.HEAD)
    for alarm in parts(panel, "alarms"):
        yield from _alarm(alarm)
    yield from _set_aside(panel)
    if text(panel, "level"):
        yield Line(f"  level: {text(panel, 'level')}")
    yield from _work(panel)
    for each in parts(panel, "inputs"):
        yield _input(each)


def _alarm(alarm: Told) -> Iterator[Line]:
    condition = text(alarm, "name") or text(alarm, "condition").replace("-", " ")
    priority = f" ({text(alarm, 'priority')})" if text(alarm, "priority") else ""
    tone = Tone.URGENT if text(alarm, "state") in _WAITING else Tone.WARN
    yield Line(f"  ALARM {condition}{priority}: {standing(alarm)}", tone)
    dated = ", ".join(filter(None, [_since(alarm), text(alarm, "occurrence")]))
    told, following = names(alarm, "told"), part(alarm, "next")
    chatters = text(alarm, "chattering")
    yield from (
        Line(f"    {each}")
        for each in (
            dated,
            text(alarm, "text"),
            text(alarm, "quiet"),
            f"it comes and goes, for {chatters}: repeats are not told" if chatters else "",
            "stays until reset" if alarm.get("stays") is True else "",
            f"told: {told}" if told else "told: nobody yet",
            names(alarm, "held"),
            _next(following) if following else "",
        )
        if each
    )


def _set_aside(owner: Told) -> Iterator[Line]:
    """What nobody would be told of, although nothing is wrong with it now."""
    if text(owner, "out"):
        yield Line(f"  {text(owner, 'out')}", Tone.WARN)
    for alarm in parts(owner, "aside"):
        yield Line(f"  {text(alarm, 'name')}: {text(alarm, 'quiet')}", Tone.WARN)


def _work(owner: Told) -> Iterator[Line]:
    """The horn, who is there, and what is still to be undone."""
    horn, visit = part(owner, "horn"), part(owner, "visit")
    if text(horn, "standing"):
        facts = ", ".join(filter(None, [text(horn, "standing"), text(horn, "since")]))
        why = f": {text(horn, 'why')}" if text(horn, "why") else ""
        yield Line(f"  horn: {facts}{why}", _HORN.get(text(horn, "standing"), Tone.WARN))
    if text(horn, "asked"):
        yield Line("  horn: was its wire taken off? Nobody has answered yet", Tone.WARN)
    if visit:
        name = text(visit, "name")
        there = f"  {name} is at the panel {text(visit, 'until')}"
        yield Line(f"{there}: its alarms go to {name} alone", Tone.WARN)
    for end in parts(owner, "loose"):
        off = f"; put off {text(end, 'put_off')}" if text(end, "put_off") else ""
        facts = ", ".join(filter(None, [text(end, "since"), text(end, "by")]))
        words = f"  still open: {text(end, 'key')}: {text(end, 'say')} ({facts}){off}"
        yield Line(words, Tone.WARN)


def _since(alarm: Told) -> str:
    """'since 02:10, for 12 min'; only the second where the clock is not set."""
    since, lasted = text(alarm, "since"), text(alarm, "for")
    if since.startswith("for "):
        return since
    began = since if not since or since.startswith("since ") else f"since {since}"
    return ", ".join(filter(None, [began, f"for {lasted}" if lasted else ""]))


def _until(until: str) -> str:
    return until if not until or until.startswith(("until ", "for ")) else f"until {until}"


def _next(following: Told) -> str:
    when = f"at {text(following, 'at')}" if text(following, "at") else f"in {text(following, 'in')}"
    return f"next to be told: {names(following, 'who') or _NOBODY}, {when}"


def _input(each: Told) -> Line:
    reads, fact = text(each, "reads") or "not known", text(each, "fact")
    since = f" since {text(each, 'since')}" if text(each, "since") else ""
    means = {"alarm": "in alarm", "normal": "normal", "unknown": "not known"}.get(fact, fact)
    lost = f" ({text(each, 'lost')})" if text(each, "lost") else ""
    tone = Tone.PLAIN if fact == "normal" else Tone.WARN
    words = ", ".join(filter(None, [f"reads {reads}{since}{lost}", means]))
    return Line(f"  input {text(each, 'id')} ({text(each, 'means')}): {words}", tone)


def _unit(unit: Told) -> Iterator[Line]:
    yield Line(f"unit {_titled(unit)}", Tone.HEAD)
    for alarm in parts(unit, "alarms"):
        yield from _alarm(alarm)
    yield from _set_aside(unit)
    yield from _work(unit)
    for gone in parts(unit, "away"):
        told = text(gone, "stand_in")
        instead = f"{told} is told instead" if told else "nobody stands in"
        yield Line(f"  {text(gone, 'name')} is away {text(gone, 'until')}; {instead}", Tone.WARN)
    if text(unit, "burst"):
        yield Line(f"  alarm burst: it has gone on {text(unit, 'burst')}", Tone.WARN)
    for each in parts(unit, "inputs"):
        yield _input(each)
    judged = {
        "clock": (text(unit, "clock"), "set"),
        "journal": (text(unit, "journal"), "in time"),
        **{way: (str(says), "up") for way, says in part(unit, "ways").items()},
    }
    for what, (says, well) in judged.items():
        if says:
            yield Line(f"  {what}: {says}", Tone.PLAIN if says == well else Tone.WARN)


def _titled(owner: Told) -> str:
    name, id = text(owner, "name"), text(owner, "id")
    return f"{name} ({id})" if name and name != id else id or "no name"
