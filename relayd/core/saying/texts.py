"""What a message says: who is to act; what, where, since when; what to do first, safely; who else.

In: plan, alarm, person. Out: title, short form (one text message) and long form, in the reader's
language. Knows nothing of services. A step that opens an enclosure is given to qualified persons
only, and no text ever says 'breaker off' without saying which.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from relayd.core import conditions as c
from relayd.core.diagnosis import pump_rows
from relayd.core.events import Now
from relayd.core.plan import Panel, Plan
from relayd.core.saying import advice, letter, short, templates, when
from relayd.core.saying.hand import Matter
from relayd.core.saying.language import Speech, marked
from relayd.core.saying.letter import NO_REPLY, Desk, Text
from relayd.core.saying.sentences import GONE, sentence
from relayd.core.saying.sentences import level as level_of
from relayd.core.saying.sentences import name as named
from relayd.core.saying.templates import TEMPLATE_NAMES, template_problem
from relayd.core.saying.texts_horn import breaker
from relayd.core.saying.texts_other import digest, of_visit, question, reminder
from relayd.core.state import Alarm, HornStanding, NoticeKind, Subject

__all__ = (
    "TEMPLATE_NAMES",
    "Text",
    "breaker",
    "compose",
    "digest",
    "of_visit",
    "question",
    "reminder",
    "template_problem",
)
_ACTIVE = ("UNACK", "ACKED")
_ASKED = (NoticeKind.RAISED, NoticeKind.UPDATE)
_LEVELS = frozenset({c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM})
_SURE = frozenset({"", "L1", "L10", "L11", "L13"})
"""Rows beside which a site's own text may stand alone; another row's doubt is always said."""
_RESERVED = frozenset(
    {c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM, c.ALARM_POWER, c.CONTROL_POWER, c.PUMP_POWER}
    | {c.NO_CURRENT, c.NOT_FALLING, c.REDUNDANT_OFF, c.OVERLOAD, c.PHASE_FAULT, c.PUMP_FAULT}
    | {c.ALARM_LEFT_OFF, c.UNSETTLED, c.IN_OFF, c.NOT_IN_AUTO}
)
"""Conditions in which how long the basin holds decides what is done."""


_SHOWN_BY = {
    **dict.fromkeys(("R1", "R1-hand", "R1-off"), c.NOT_IN_AUTO),
    "R2": c.PUMP_POWER,
    "R3": c.NO_CURRENT,
    "R4": c.NOT_FALLING,
}
"""Rows of the pump table beside a high level -> what they show before its own delay is over."""


@dataclass(frozen=True, slots=True)
class _Case:
    """One message about an alarm."""

    desk: Desk
    alarm: Alarm
    kind: NoticeKind
    ref: str

    @property
    def say(self) -> Speech:
        return self.desk.say

    @property
    def name(self) -> str:
        return named(self.alarm.condition, self.desk.panel, self.say)

    @property
    def asked(self) -> bool:
        return self.kind in _ASKED


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
    desk = Desk(plan, subjects, subject, plan.people[person], now)
    case = _Case(desk, alarm, kind, ref(alarm.occurrence))
    lines = [
        _standing(case),
        f"{_head(case)} {desk.place}{desk.where}.",
        *_body(case),
        *(() if kind is NoticeKind.STAND_DOWN else _others(case)),
        *_answer(case),
    ]
    return Text(f"{_lead(case)} - {desk.place}", _short(case), "\n".join(filter(None, lines)))


_LEADS = {
    NoticeKind.UPDATE: marked("{name}: news"),
    NoticeKind.TAKEN: marked("{name}: somebody has it"),
    NoticeKind.STAND_DOWN: marked("Alarm over: {name}"),
}


def _lead(case: _Case) -> str:
    if case.kind is NoticeKind.STAND_DOWN and case.alarm.row == GONE:
        return case.say("No longer watched: {name}", name=case.name)
    lead = _LEADS.get(case.kind)
    return case.say(lead, name=case.name) if lead else case.name.upper()


def _head(case: _Case) -> str:
    """What, since when; it ends where the place follows."""
    desk, alarm, say = case.desk, case.alarm, case.say
    if case.kind is NoticeKind.STAND_DOWN and alarm.raised:
        if alarm.row == GONE:
            return say("No longer in the plan: {name},", name=case.name)
        lasted = when.lasted(desk.now.up - alarm.raised.up)
        return say("Over: {name}, after {lasted},", name=case.name, lasted=lasted)
    if case.kind is NoticeKind.TAKEN and alarm.taken:
        until = when.until(desk.plan, alarm.taken.until_wall, alarm.taken.until, desk.now, say)
        who = desk.called(alarm.taken.person)
        return say("{who} has it {until}: {name},", who=who, until=until, name=case.name)
    since = when.since(desk.plan, alarm.raised, desk.now, say) if alarm.raised else ""
    told = f"{case.name} {since},".replace(" ,", ",")
    return say("Still there: {what}", what=told) if alarm.call and alarm.call.round > 1 else told


def _standing(case: _Case) -> str:
    """The first line: who is to act."""
    desk, alarm, say = case.desk, case.alarm, case.say
    if not case.asked:
        return ""
    if alarm.taken:
        return say("{who} has it.", who=desk.called(alarm.taken.person))
    before = _before(alarm, desk.reader.id)
    if not before and set(alarm.told) <= {desk.reader.id}:
        return say("You are first: nobody else has been told.")
    if not before:
        return say("You are first, and nobody has taken it.")
    names = ", ".join(desk.called(each) for each in before)
    nth = say(_NTH[min(len(before), len(_NTH)) - 1])
    return say("{names} told before you and nobody has taken it: {you}", names=names, you=nth)


_NTH = (marked("you are second."), marked("you are third."), marked("act, or call those named."))


def _before(alarm: Alarm, person: str) -> tuple[str, ...]:
    """Who was told before that person, in their order."""
    told = alarm.told
    return told[: told.index(person)] if person in told else told


def _body(case: _Case) -> list[str]:
    desk, alarm, say = case.desk, case.alarm, case.say
    told = _what(case)
    if case.kind is NoticeKind.STAND_DOWN:
        return [*told, *_remains(case), *letter.undone(desk)]
    if not case.asked:
        return [*told, *letter.undone(desk)]
    if c.base_of(alarm.condition) in _RESERVED and desk.panel:
        told.append(letter.reserve(desk, alarm))
    told += [*letter.put_aside(desk, alarm), *letter.pressing(desk)]
    if desk.panel is None:
        return told + advice.of_unit(alarm.condition, say)
    steps = advice.lines(_matter(case, desk.panel), alarm.priority)
    return [*told, *steps, *letter.not_pressing(desk)]


def _matter(case: _Case, panel: Panel) -> Matter:
    desk, alarm = case.desk, case.alarm
    unit = desk.subjects.get(letter.UNIT) or Subject(letter.UNIT)
    standing = {
        each.condition
        for each in (*desk.owner.alarms.values(), *unit.alarms.values())
        if each.process in _ACTIVE
    }
    standing |= set(_shown_by(alarm))
    standing |= {each for each in desk.owner.loose if c.base_of(each) in c.CHARACTERS}
    horn = desk.owner.horn.standing
    return Matter(
        panel,
        desk.reader,
        alarm.condition,
        alarm.row,
        frozenset(standing),
        letter.from_now(desk, alarm),
        horn is HornStanding.DISCONNECTED,
        case.say,
    )


def _shown_by(alarm: Alarm) -> Iterator[str]:
    """Conditions of pumps that the notes of an alarm show before their own delays are over."""
    for note in alarm.notes:
        row, pump = pump_rows.split(note)
        if row in _SHOWN_BY:
            yield f"{_SHOWN_BY[row]}-{pump}" if pump else _SHOWN_BY[row]


def _what(case: _Case) -> list[str]:
    """What is known; the site's own words where it has any, a row's doubt beside them."""
    desk, alarm = case.desk, case.alarm
    built_in = sentence(desk.panel, desk.owner, alarm, case.kind, case.say)
    if not case.asked:
        return [built_in]
    own = templates.own(desk.plan, alarm.condition, case.say.language, "long", _values(case))
    if own and c.base_of(alarm.condition) not in _LEVELS:
        return [own]
    if own:
        return [own] if alarm.row in _SURE else [own, built_in]
    return [built_in]


def _values(case: _Case) -> dict[str, str]:
    """What the names of a site's own text stand for."""
    desk, alarm, say = case.desk, case.alarm, case.say
    raised = alarm.raised
    return {
        "panel": desk.place,
        "where": desk.panel.where if desk.panel else "",
        "site": desk.plan.unit_name,
        "name": case.name,
        "since": when.since(desk.plan, raised, desk.now, say) if raised else "",
        "lasted": when.lasted(desk.now.up - raised.up) if raised else "",
        "level": level_of(desk.owner, say),
        "reserve": letter.reserve(desk, alarm),
        "told": ", ".join(desk.called(each) for each in alarm.told if each != desk.reader.id),
        "person": desk.reader.name,
        "number": case.ref,
    }


def _remains(case: _Case) -> list[str]:
    names = [
        named(each.condition, case.desk.panel, case.say)
        for each in case.desk.owner.alarms.values()
        if each.condition != case.alarm.condition and each.process in _ACTIVE
    ]
    if not names:
        return []
    return [
        case.say(
            "This does not mean that all is well: still open here: {names}.", names=", ".join(names)
        )
    ]


def _others(case: _Case) -> list[str]:
    desk, alarm, say = case.desk, case.alarm, case.say
    # Whom the first line names is not named again.
    named_first = _before(alarm, desk.reader.id) if case.asked and not alarm.taken else ()
    others = [each for each in alarm.told if each not in (desk.reader.id, *named_first)]
    told = ", ".join(map(desk.called, others))
    seen = ", ".join(desk.called(each) for each in alarm.seen if each != desk.reader.id)
    lines = [say("Told as well: {names}.", names=told)] if told else []
    return lines + ([say("Seen by: {names}.", names=seen)] if seen else [])


def _answer(case: _Case) -> list[str]:
    desk, alarm, say = case.desk, case.alarm, case.say
    if not case.asked:
        return [say(NO_REPLY)]
    reader = desk.reader
    what = TAKE_IT if reader.responds else SAY_SEEN
    how = f"relayd ack {case.ref} --by {reader.id}"
    lines = [say(what, how=how, number=case.ref)]
    if desk.plan.remote_commands:
        lines[0] += " " + say("Or by the acknowledge command over MQTT.")
    if alarm.condition in _LEVELS and alarm.row in ("L3", "L5", "L15"):
        name = desk.subject.removeprefix("panel:")
        looked = f"relayd looked {name} --level normal --by {reader.id}"
        lines.insert(0, say("Whoever has looked says so: {how}.", how=looked))
    return [*lines, *letter.phones(desk, alarm), say(NO_REPLY)]


TAKE_IT = marked("To take it: {how} (on the unit).")
SAY_SEEN = marked("To say that you have seen it: {how} (on the unit).")


def _short(case: _Case) -> str:
    """One text message; what identifies the place is cut before what must be done."""
    desk, say = case.desk, case.say
    end = short.answer(say, desk.reader.id, case.asked)
    if case.asked:
        values = _values(case)
        own = templates.own(desk.plan, case.alarm.condition, say.language, "short", values)
        if own:
            return short.whole(own, end)
    step = advice.shortest(case.alarm.condition, say) if case.asked else ""
    if case.kind is NoticeKind.STAND_DOWN:
        step = say("What remains: see the long message.")
    return short.fitted(_head(case), f"{desk.place}{desk.where}", step, end)
