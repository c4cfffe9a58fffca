"""Lines of the journal as sentences. An unknown kind shows its facts as they are."""

from collections.abc import Iterator
from datetime import UTC, datetime, tzinfo

from relayd.cli.out import Line, Tone
from relayd.cli.tell import Told, names, number, part, parts, text
from relayd.core.plan import SECOND
from relayd.core.sentences import LEVEL_NOW, NAMES, POWER_ROWS

SENTENCES = {
    "acknowledged": "{person} {act} it: {condition}",
    "alarm withdrawn": "{condition} was withdrawn: {why}",
    "call list stopped": "{condition}: the call list stopped: {why}",
    "clock judged": "the clock is {trusted}",
    "command refused": "{by} was refused ({way}): {say}",
    "fault in relayd": "a fault in relayd: {what}",
    "input": "{input} reads {reads}",
    "input found": "{input} can be read again",
    "input lost": "{input} cannot be read: {why}",
    "late outcome": "an answer came for send {send}, which nobody waited for: {outcome}",
    "looked": "{person} looked and says the level is {level} ({way})",
    "no way to tell": "{person} could not be told: no channel is left",
    "not told": "{person} was not told of it: {condition}: {why}",
    "notice made": "notice {notice} for {person} over {channels} ({why}): {condition}",
    "occurrence ended": "{condition} is over ({occurrence})",
    "raised": "{condition} was raised ({occurrence}) {row} {detail}",
    "re-alarmed": "{condition} still stands: the call list begins again",
    "returned": "{condition} went back to normal ({occurrence})",
    "row changed": "{condition}: what is known changed. {row}",
    "send": "notice {ref} goes out over {channel}: {title}",
    "send failed": "{channel} did not take notice {notice} (try {tries}): {outcome} {detail}",
    "send given up": "notice {notice} was given up on {channel} (try {tries}): {outcome} {detail}",
    "send taken": "{channel} took notice {notice} (try {tries})",
    "send withdrawn": "notice {notice} was taken back: {why}",
    "started": "relayd started; it was down for: {down}. {why}",
    "unit judged": "{condition}: {why}",
    "unknown input": "{input} is not in the plan",
}
_URGENT = ("raised", "re-alarmed", "fault in relayd", "no way to tell")
_WARN = ("send failed", "send given up", "input lost", "not told", "command refused", "started")
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
        return " ".join(SENTENCES[kind].format_map(_Blanks(_words(body))).split())
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
    words["condition"] = NAMES.get(text(body, "condition"), text(body, "condition") or "?")
    words["act"] = _ACTS.get(text(body, "act"), "acknowledged")
    words["channels"] = names(body, "channels") or "no channel"
    words["detail"] = text(body, "detail")
    words["row"] = {**LEVEL_NOW, "": "", **POWER_ROWS}.get(text(body, "row"), "")
    words["trusted"] = "set" if body.get("trusted") else "not set"
    return words
