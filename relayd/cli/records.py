"""Lines of the journal as sentences. An unknown kind shows its facts as they are."""

from collections.abc import Iterator
from datetime import UTC, datetime, tzinfo

from relayd.cli.out import Line, Tone
from relayd.cli.tell import Told, names, number, part, parts, text
from relayd.core.conditions import base_of
from relayd.core.plan import SECOND
from relayd.core.saying.sentences import LEVEL_NOW, NAMES, TABLES

SENTENCES = {
    "acknowledged": "{person} {act} it: {condition}",
    "alarm burst began": "an alarm burst began: {raisings} alarms in ten minutes",
    "alarm burst ended": "the alarm burst is over",
    "alarm withdrawn": "{condition} was withdrawn: {why}",
    "asked": "{persons} asked whether the horn's wire was taken off",
    "away": "{person} is away; told instead: {stand_in} (said by {by})",
    "back": "{person} is back",
    "answer not used": "an answer from afar ({way}) was not used, {why}: {say}",
    "button pressed": "somebody pressed the button at the unit; it acknowledges nothing",
    "call list begins again": "{condition}: the call list begins again: {why}",
    "call list begun": "{condition}: the call list began: {why}",
    "call list stopped": "{condition}: the call list stopped: {why}",
    "chattering": "{condition} comes and goes: repeats are recorded, not told",
    "chattering ended": "{condition} no longer comes and goes",
    "clock judged": "the clock is {trusted}",
    "command done": "{by} asked for it ({way}): {code}",
    "command refused": "{by} was refused ({way}): {say}",
    "dropped": "{what} {name} was dropped: {why}",
    "fault in relayd": "a fault in relayd: {what}",
    "fleeting": "{condition} was there for less than 10 s",
    "held": "{condition}: held for {person} {until}: {why}",
    "horn": "the horn is {standing}: {says}",
    "horn wire": "horn wire {wire} (said by {person}): {why}",
    "in service": "{condition} is in service again {by}",
    "input": "{input} reads {reads}",
    "input found": "{input} can be read again",
    "input lost": "{input} cannot be read: {why}",
    "late outcome": "an answer came for send {send}, which nobody waited for: {outcome}",
    "loose end": "to be undone: {key} ({why})",
    "loose end done": "no longer to be undone: {key} ({why})",
    "looked": "{person} looked and says the level is {level} ({way})",
    "nobody answered": "{condition}: nobody answered it",
    "no way to tell": "{person} could not be told: no channel is left",
    "not told": "{person} was not told of it: {condition}: {why}",
    "next step at once": "{condition}: no way to {persons} works: the next step comes at once",
    "messages folded": "{count} messages for {person} over {channel} became one: it tells what is so now",
    "sends lost": "notice {notice} had lost its sends and goes again over every way",
    "send waits": "notice {notice} waits for {channel}: {why}",
    "not answered": "nobody answered the question about the horn's wire",
    "notes changed": "{condition}: what explains it changed",
    "notice made": "notice {notice} for {person} over {channels} ({why}): {condition}",
    "occurrence ended": "{condition} is over ({occurrence})",
    "out of service": "{condition} was taken out of service by {by}: {why}",
    "priority changed": "{condition} is {priority} now, it was {before}",
    "put off": "{by} put reminders of {key} off: {why}",
    "raised": "{condition} was raised ({occurrence}) {row} {detail}",
    "re-alarmed": "{condition} still stands: the call list begins again",
    "reminded": "{persons} reminded of {key} (time {times})",
    "weekly message": "the weekly message goes to {persons}",
    "reset": "{condition} was let go by {person}",
    "returned": "{condition} went back to normal ({occurrence})",
    "row changed": "{condition}: what is known changed. {row}",
    "send": "notice {ref} goes out over {channel}: {title}",
    "send failed": "{channel} did not take notice {notice} (try {tries}): {outcome} {detail}",
    "send given up": "notice {notice} was given up on {channel} (try {tries}): {outcome} {detail}",
    "send taken": "{channel} took notice {notice} (try {tries})",
    "send withdrawn": "notice {notice} was taken back: {why}",
    "shelved": "{condition} was paused by {by}: {why}",
    "shelving ended": "{condition} is no longer paused {by}",
    "stale": "{condition} has stood for more than a day",
    "started": "relayd started; it was down for: {down}. {why}",
    "suppressed by design": "{condition} is not shown because {why}",
    "suppression ended": "{condition} is shown again; it was not because {why}",
    "unit judged": "{condition}: {why}",
    "unknown input": "{input} is not in the plan",
    "visit begun": "{person} is at the panel",
    "visitor leaves": "{person} wants to leave and has not said what stays: its alarms call everybody",
    "answer told": "{persons} hear what {by} answered about {what}",
    "visit ended": "the visit is over ({person}); left as it is: {left} ({why})",
    "visit extended": "{person} stays at the panel",
}
_URGENT = ("raised", "re-alarmed", "fault in relayd", "no way to tell")
_WARN = (
    "send failed",
    "send given up",
    "input lost",
    "not told",
    "command refused",
    "answer not used",
    "started",
)
_ROWS = {**{row: say for each in TABLES.values() for row, say in each.items()}, **LEVEL_NOW, "": ""}
_CODES = {"shelved": "paused", "unshelved": "no longer paused"}
"""What was done, where the word for programs is none for people."""
_ACTS = {"seen": "has seen", "taken": "has taken"}


class _Blanks(dict[str, str]):
    def __missing__(self, key: str) -> str:
        return "?"


def lines(answer: Told, zone: tzinfo = UTC) -> Iterator[Line]:
    """The records of an answer, in their order."""
    records = parts(answer, "records")
    if not records:
        yield Line("no records", Tone.QUIET)
    for each in records:
        yield line(each, zone)


def line(record: Told, zone: tzinfo = UTC) -> Line:
    """'02:10:31 creek-1: high level was raised (…)'; from a stored record or a live event."""
    kind = text(record, "kind") or text(record, "what")
    words = [when(record, zone), f"{_subject(text(record, 'subject'))}{sentence(record)}"]
    tone = Tone.URGENT if kind in _URGENT else Tone.WARN if kind in _WARN else Tone.PLAIN
    return Line("  ".join(filter(None, words)), tone)


def sentence(record: Told) -> str:
    """What happened, in words; the daemon's own words where it gives some."""
    kind = text(record, "kind") or text(record, "what")
    body = part(record, "body") or record
    if text(record, "say"):
        return text(record, "say")
    if "missed" in record and not kind:
        return f"{text(record, 'missed')} events are missing here: they came too fast"
    if kind in SENTENCES:
        said = " ".join(SENTENCES[kind].format_map(_Blanks(_words(body))).split())
        return said.replace(" ()", "").rstrip(" :")
    facts = {key: value for key, value in body.items() if key not in ("what", "subject")}
    return " ".join([f"{kind}:", *(f"{key}={value}" for key, value in facts.items())])


def when(record: Told, zone: tzinfo = UTC) -> str:
    """The time as the daemon says it, else in that zone, with its name. Live events have none."""
    if text(record, "when"):
        return text(record, "when")
    wall = number(record, "wall")
    if wall is None:
        return ""
    shown = f"{datetime.fromtimestamp(wall // SECOND, zone):%Y-%m-%d %H:%M:%S %Z}"
    return shown if record.get("trusted", True) else f"{shown} (clock not set)"


def why_lines(answer: Told) -> Iterator[Line]:
    """Why nobody was told, fact by fact."""
    found = parts(answer, "lines")
    if not found:
        yield Line("nothing is known of that", Tone.QUIET)
    for each in found:
        about = text(each, "panel")
        words = [text(each, "when"), f"{f'{about}: ' if about else ''}{text(each, 'say')}"]
        yield Line("  ".join(filter(None, words)))


def _subject(subject: str) -> str:
    kind, _, name = subject.partition(":")
    if not name:
        return f"{kind}: " if kind else ""
    return f"{name}: " if kind == "panel" else f"{kind} {name}: "


def _words(body: Told) -> dict[str, str]:
    words = {key: text(body, key) for key in body}
    words["condition"] = _condition(text(body, "condition"))
    words["act"] = _ACTS.get(text(body, "act"), "acknowledged")
    words["code"] = _CODES.get(text(body, "code"), text(body, "code").replace("-", " "))
    words["channels"] = names(body, "channels") or "no channel"
    words["persons"] = names(body, "persons") or "nobody"
    words["left"] = names(body, "left") or "nothing"
    words["detail"] = text(body, "detail")
    words["row"] = _ROWS.get(text(body, "row"), "")
    words["trusted"] = "set" if body.get("trusted") else "not set"
    return words


def _condition(condition: str) -> str:
    """'Overload tripped (overload-2)': the name alone where it carries no number."""
    if not condition or condition in NAMES:
        return NAMES.get(condition, "the whole panel")
    name = NAMES.get(base_of(condition))
    return f"{name} ({condition})" if name else condition
