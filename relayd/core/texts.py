"""What a message says: what, where, since when; what to do first, safely; who else; how to answer.

In: plan, alarm, person. Out: title, short form (one text message) and long form. Knows nothing of
services. A step that opens an enclosure is given to qualified persons only, and no text ever says
'breaker off' without saying which. Advice and cautions are common practice, no source, except
where a source is named in advice.py.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from relayd.core import advice, gsm7, when
from relayd.core.conditions import HIGH_LEVEL
from relayd.core.events import Now
from relayd.core.plan import Panel, Person, Plan
from relayd.core.sentences import GONE, NAMES, sentence
from relayd.core.state import Alarm, NoticeKind, Subject

_ACTIVE = ("UNACK", "ACKED")


@dataclass(frozen=True, slots=True)
class Text:
    """One message: a title line, at most 160 septets, and the whole of it."""

    title: str
    short: str
    long: str


def compose(
    plan: Plan,
    subjects: Mapping[str, Subject],
    subject: str,
    alarm: Alarm,
    person: str,
    kind: NoticeKind,
    now: Now,
    ref: Callable[[int], str],
) -> Text:
    """The message to `person` about `alarm`; `ref` makes an occurrence's outside id."""
    panel = plan.panels.get(subject.removeprefix("panel:"))
    name = _named(plan, subject, panel)
    reader = plan.people[person]
    head = _head(plan, alarm, kind, now)
    title = f"{_lead(alarm, kind)} - {name}"
    body = [f"{head} {name}{_where(panel)}."]
    body += _body(plan, subjects, subject, panel, alarm, reader, kind, now)
    answer = _answer(subject, alarm, reader, kind, ref(alarm.occurrence))
    others = [] if kind is NoticeKind.STAND_DOWN else _others(plan, alarm, person)
    lines = [_standing(plan, alarm, person, kind), *body, *others, *answer]
    return Text(
        title, _short(plan, panel, name, alarm, reader, kind, now), "\n".join(filter(None, lines))
    )


def _lead(alarm: Alarm, kind: NoticeKind) -> str:
    name = NAMES[alarm.condition]
    over = "No longer watched" if alarm.row == GONE else "Alarm over"
    return {
        NoticeKind.RAISED: name.upper(),
        NoticeKind.UPDATE: f"{name}: news",
        NoticeKind.TAKEN: f"{name}: somebody has it",
        NoticeKind.STAND_DOWN: f"{over}: {name}",
    }[kind]


def _head(plan: Plan, alarm: Alarm, kind: NoticeKind, now: Now) -> str:
    since = when.since(plan, alarm.raised, now) if alarm.raised else ""
    if kind is NoticeKind.STAND_DOWN and alarm.raised:
        if alarm.row == GONE:
            return f"No longer in the plan: {NAMES[alarm.condition]},"
        return f"Over: {NAMES[alarm.condition]}, after {when.lasted(now.up - alarm.raised.up)},"
    if kind is NoticeKind.TAKEN and alarm.taken:
        until = when.until(plan, alarm.taken.until_wall, alarm.taken.until, now)
        return f"{plan.people[alarm.taken.person].name} has it {until}: {NAMES[alarm.condition]},"
    again = "Still there: " if alarm.call and alarm.call.round > 1 else ""
    return f"{again}{NAMES[alarm.condition]} {since},"


def _named(plan: Plan, subject: str, panel: Panel | None) -> str:
    """What people call it: the panel; else the unit, and which channel (or panel that is gone)."""
    kind, _, name = subject.partition(":")
    if panel is not None:
        return panel.name
    return f"{plan.unit_name}, {kind} {name}" if name else plan.unit_name


def _where(panel: Panel | None) -> str:
    return f", {panel.where}" if panel and panel.where else ""


def _body(
    plan: Plan,
    subjects: Mapping[str, Subject],
    subject: str,
    panel: Panel | None,
    alarm: Alarm,
    reader: Person,
    kind: NoticeKind,
    now: Now,
) -> list[str]:
    owner = subjects.get(subject) or Subject(subject)
    told = [sentence(panel, owner, alarm, kind)]
    if kind is NoticeKind.STAND_DOWN:
        return told + _remains(plan, owner, alarm)
    if kind is NoticeKind.TAKEN or panel is None:
        return told
    return told + advice.lines(panel, alarm.condition, reader)


def _remains(plan: Plan, owner: Subject, alarm: Alarm) -> list[str]:
    others = [
        NAMES[each.condition].lower()
        for each in owner.alarms.values()
        if each.condition != alarm.condition and each.process in _ACTIVE
    ]
    return (
        [f"This does not mean that all is well: still open here: {', '.join(others)}."]
        if others
        else []
    )


def _standing(plan: Plan, alarm: Alarm, person: str, kind: NoticeKind) -> str:
    """The first line: who is to act."""
    if kind in (NoticeKind.STAND_DOWN, NoticeKind.TAKEN):
        return ""
    before = [plan.people[each].name for each in alarm.told if each != person]
    if alarm.taken:
        return f"{plan.people[alarm.taken.person].name} has it."
    if not before:
        return "You are first: nobody else has been told."
    return f"{', '.join(before)} told before you; nobody has taken it."


def _others(plan: Plan, alarm: Alarm, person: str) -> list[str]:
    told = [plan.people[each].name for each in alarm.told if each != person]
    seen = [plan.people[each].name for each in alarm.seen if each != person]
    lines = [f"Told as well: {', '.join(told)}."] if told else []
    return lines + ([f"Seen by: {', '.join(seen)}."] if seen else [])


def _answer(
    subject: str, alarm: Alarm, reader: Person, kind: NoticeKind, occurrence: str
) -> list[str]:
    if kind in (NoticeKind.STAND_DOWN, NoticeKind.TAKEN):
        return ["Do not reply to this message: nobody reads it."]
    what = "take it" if reader.responds else "say that you have seen it"
    lines = [
        f"To {what}: relayd ack {occurrence} --by {reader.id} (on the unit), or the acknowledge"
        f" command over MQTT for {occurrence}.",
        "Do not reply to this message: nobody reads it.",
    ]
    if alarm.condition == HIGH_LEVEL and alarm.row in ("L3", "L5", "L15"):
        panel = subject.removeprefix("panel:")
        lines.insert(
            0, f"Whoever has looked says so: relayd looked {panel} --level normal --by {reader.id}."
        )
    return lines


def _short(
    plan: Plan,
    panel: Panel | None,
    name: str,
    alarm: Alarm,
    reader: Person,
    kind: NoticeKind,
    now: Now,
) -> str:
    """One text message; what identifies the place is cut before what must be done."""
    what = f"{_head(plan, alarm, kind, now)} "
    tail = {
        NoticeKind.STAND_DOWN: " See the long message for what remains. No replies.",
        NoticeKind.TAKEN: " No replies.",
    }.get(
        kind, f"{advice.shortest(panel, alarm.condition)} relayd ack --by {reader.id}. No replies."
    )
    room = gsm7.ONE_MESSAGE - gsm7.septets(gsm7.spelled(what + tail)) - 1
    place = gsm7.cut(f"{name}{_where(panel)}", max(4, room))
    return gsm7.cut(f"{what}{place}.{tail}", gsm7.ONE_MESSAGE)
