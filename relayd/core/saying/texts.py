"""What a message says: who is to act; what, where, since when; what to do first, safely; who else.

In: plan, alarm, person. Out: title, short form (one text message) and long form, in the reader's
language. Knows nothing of services. A step that opens an enclosure is given to qualified persons
only, and no text ever says 'breaker off' without saying which.
"""

from collections.abc import Callable, Iterator, Mapping

from relayd.core import conditions as c
from relayd.core.events import Now
from relayd.core.plan import Plan
from relayd.core.saying import (
    advice,
    brief,
    fresh,
    hand,
    letter,
    short,
    templates,
    texts_well,
    when,
)
from relayd.core.saying.about import Case, matter
from relayd.core.saying.language import marked
from relayd.core.saying.letter import NO_REPLY, Desk, Text
from relayd.core.saying.replying import CODE, CODED
from relayd.core.saying.sentences import (
    GONE,
    level as level_of,
    name as named,
    parts,
    says_more,
    sentence,
)
from relayd.core.saying.templates import TEMPLATE_NAMES, template_problem
from relayd.core.saying.texts_bundle import alarms_of, bundle, others_of
from relayd.core.saying.texts_horn import breaker
from relayd.core.saying.texts_other import answered, digest, of_visit, question, reminder
from relayd.core.state import Alarm, NoticeKind, Subject

__all__ = (
    "TEMPLATE_NAMES",
    "Text",
    "alarms_of",
    "answered",
    "breaker",
    "bundle",
    "compose",
    "digest",
    "of_visit",
    "others_of",
    "question",
    "reminder",
    "template_problem",
)
_LEVELS = frozenset({c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM})
_SURE = frozenset({"", "L1", "L10", "L11", "L13"})
"""Rows beside which a site's own text may stand alone; another row's doubt is always said."""
_RESERVED = frozenset(
    {c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM, c.ALARM_POWER, c.CONTROL_POWER, c.PUMP_POWER}
    | {c.NO_CURRENT, c.NOT_FALLING, c.REDUNDANT_OFF, c.OVERLOAD, c.PHASE_FAULT, c.PUMP_FAULT}
    | {c.ALARM_LEFT_OFF, c.UNSETTLED, c.IN_OFF, c.NOT_IN_AUTO}
)
"""Conditions in which how long the basin holds decides what is done."""


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
    case = Case(desk, alarm, kind, ref(alarm.occurrence))
    new = fresh.since_told(desk, alarm) if kind is NoticeKind.UPDATE else fresh.Fresh()
    lines = [
        " ".join(filter(None, (_standing(case), _absent(case)))),
        _news(case, new),
        f"{_head(case)} {desk.place}{desk.where}.",
        *_body(case, new),
        *(() if kind is NoticeKind.STAND_DOWN else _others(case)),
        *_answer(case),
    ]
    title = f"{_lead(case, new)} - {desk.place}"
    return Text(title, _short(case, new), "\n".join(filter(None, lines)))


def _news(case: Case, new: fresh.Fresh) -> str:
    """What is new, before what stands."""
    return case.say("News: {what}", what=" ".join(new.told)) if new.told else ""


_LEADS = {
    NoticeKind.UPDATE: marked("{name}: news"),
    NoticeKind.TAKEN: marked("{name}: somebody has it"),
    NoticeKind.STAND_DOWN: marked("Alarm over: {name}"),
}


def _lead(case: Case, new: fresh.Fresh) -> str:
    if new.words:
        return case.say("{name}, news: {what}", name=case.name, what=new.words)
    if case.kind is NoticeKind.STAND_DOWN and case.alarm.row == GONE:
        return case.say("No longer watched: {name}", name=case.name)
    lead = _LEADS.get(case.kind)
    return case.say(lead, name=case.name) if lead else case.name.upper()


def _head(case: Case) -> str:
    """What, since when; it ends where the place follows."""
    desk, alarm, say = case.desk, case.alarm, case.say
    if case.kind is NoticeKind.STAND_DOWN and alarm.since:
        if alarm.row == GONE:
            return say("No longer in the plan: {name},", name=case.name)
        lasted = when.lasted(desk.now.up - alarm.since.up)
        return say("Over: {name}, after {lasted},", name=case.name, lasted=lasted)
    if case.kind is NoticeKind.TAKEN and alarm.taken:
        until = when.until(desk.plan, alarm.taken.until_wall, alarm.taken.until, desk.now, say)
        who = desk.called(alarm.taken.person)
        return say("{who} has it {until}: {name},", who=who, until=until, name=case.name)
    since = when.since(desk.plan, alarm.since, desk.now, say) if alarm.since else ""
    told = f"{case.name} {since},".replace(" ,", ",")
    return say("Still there: {what}", what=told) if alarm.call and alarm.call.round > 1 else told


def _standing(case: Case) -> str:
    """The first line: who is to act."""
    desk, alarm, say = case.desk, case.alarm, case.say
    if not case.asked:
        return ""
    if taken := alarm.taken:
        until = when.until(desk.plan, taken.until_wall, taken.until, desk.now, say)
        told = _HAS if taken.until > desk.now.up else _HAD
        return say(told, who=desk.called(taken.person), until=until)
    before = _before(alarm, desk.reader.id)
    if not before and set(alarm.told) <= {desk.reader.id}:
        return say("You are first: nobody was told before you.")
    if not before:
        return say("You are first, and nobody has taken it.")
    names = ", ".join(desk.called(each) for each in before)
    nth = say(_NTH[min(len(before), len(_NTH)) - 1])
    return say("Told before you: {names}; nobody has taken it: {you}", names=names, you=nth)


_HAS = marked("{who} has it {until}.")
_HAD = marked("{who} wanted to see to it; that time is over, and nobody else has taken it.")
_NTH = (marked("you are second."), marked("you are third."), marked("act, or call those named."))


def _absent(case: Case) -> str:
    """For whoever does not go there: the steps are for those who are there."""
    absent = case.asked and not case.alarm.taken and not case.desk.reader.responds
    return case.say(NOT_THERE) if absent else ""


def _before(alarm: Alarm, person: str) -> tuple[str, ...]:
    """Who was told before that person, in their order."""
    told = alarm.told
    return told[: told.index(person)] if person in told else told


def _body(case: Case, new: fresh.Fresh) -> list[str]:
    desk, alarm, say = case.desk, case.alarm, case.say
    told = _what(case, new)
    if case.kind is NoticeKind.STAND_DOWN:
        return [*told, *fresh.no_longer(desk, alarm), *_remains(case), *letter.undone(desk)]
    if not case.asked:
        return [*told, *letter.pressing(desk, alarm.condition)]
    if c.base_of(alarm.condition) in _RESERVED and desk.panel:
        told = [" ".join(filter(None, (*told, letter.reserve(desk, alarm))))]
    told += [*letter.put_aside(desk, alarm), *letter.pressing(desk, alarm.condition)]
    if alarm.condition == c.SITE_OUTAGE:
        told += [*letter.elsewhere(desk), *letter.wires(letter.panels(desk))]
    if desk.panel is None:
        told += texts_well.contacts(desk) if alarm.condition == c.UNWATCHED else []
        return told + advice.of_unit(alarm.condition, say)
    return told + advice.lines(matter(case, desk.panel), alarm.priority)


def _what(case: Case, new: fresh.Fresh) -> list[str]:
    """What is known; the site's own words where it has any, a row's doubt beside them."""
    desk, alarm = case.desk, case.alarm
    if case.kind is NoticeKind.STAND_DOWN and not says_more(alarm):
        return []
    built_in = sentence(desk.panel, desk.owner, alarm, case.kind, case.say)
    if case.kind is NoticeKind.UPDATE:
        known = parts(desk.panel, desk.owner, alarm, case.say)
        built_in = " ".join(text for note, text in known.items() if note not in new.notes)
    if not case.asked:
        return [built_in]
    own = templates.own(desk.plan, alarm.condition, case.say.language, "long", _values(case))
    if own and c.base_of(alarm.condition) not in _LEVELS:
        return [own]
    if own:
        return [own] if alarm.row in _SURE else [own, built_in]
    return [built_in]


def _values(case: Case) -> dict[str, str]:
    """What the names of a site's own text stand for."""
    desk, alarm, say = case.desk, case.alarm, case.say
    since = alarm.since
    return {
        "panel": desk.place,
        "where": desk.panel.where if desk.panel else "",
        "site": desk.plan.unit_name,
        "name": case.name,
        "since": when.since(desk.plan, since, desk.now, say) if since else "",
        "lasted": when.lasted(desk.now.up - since.up) if since else "",
        "level": level_of(desk.owner, say),
        "reserve": letter.reserve(desk, alarm),
        "told": ", ".join(desk.called(each) for each in alarm.told if each != desk.reader.id),
        "person": desk.reader.name,
        "number": case.ref,
    }


def _remains(case: Case) -> list[str]:
    names = [
        named(each.condition, case.desk.panel, case.say)
        for each in case.desk.owner.alarms.values()
        if each.condition != case.alarm.condition and brief.still_open(each)
    ]
    if not names:
        return []
    return [case.say("Still open here: {names}.", names=", ".join(names))]


def _others(case: Case) -> list[str]:
    desk, alarm, say = case.desk, case.alarm, case.say
    # Whom the first line names is not named again.
    named_first = _before(alarm, desk.reader.id) if case.asked and not alarm.taken else ()
    taken = (alarm.taken.person,) if alarm.taken else ()
    others = [e for e in alarm.told if e not in (desk.reader.id, *named_first, *taken)]
    told = ", ".join(map(desk.called, others))
    seen = ", ".join(desk.called(each) for each in alarm.seen if each != desk.reader.id)
    lines = [say("Told as well: {names}.", names=told)] if told else []
    return lines + ([say("Seen by: {names}.", names=seen)] if seen else [])


def _answer(case: Case) -> list[str]:
    desk, alarm, say = case.desk, case.alarm, case.say
    if not case.asked:
        return [say(NO_REPLY)]
    reader = desk.reader
    what = TAKE_IT if reader.responds else SAY_SEEN
    how = f"relayd ack {case.ref} --by {reader.id}"
    lines = [say(what, how=how, number=case.ref)]
    if desk.plan.remote_commands:
        lines[0] += " " + say("Or by the acknowledge command over MQTT.")
    if alarm.condition in _LEVELS and alarm.row in ("L3", "L5", "L15", "L18"):
        name = desk.subject.removeprefix("panel:")
        looked = f"relayd looked {name} --level normal --by {reader.id}"
        lines.insert(0, say(LOOKED, how=looked))
    code = [say(CODED, code=CODE)] if desk.plan.codes and alarm.occurrence else []
    lines[-1] += " " + say(NO_REPLY)
    return [*letter.phones(desk, alarm), *code, *lines]


NOT_THERE = marked("If you are not there: ring whoever is, and let them do what follows.")
TAKE_IT = marked("To take it: {how} (on the unit).")
SAY_SEEN = marked("To say that you have seen it: {how} (on the unit).")


LOOKED = marked(
    "Whoever knows that the water is below the alarm float says so: {how}. A dark lamp alone is no"
    " proof."
)


def _short(case: Case, new: fresh.Fresh) -> str:
    """One text message: the cause, what, where; then what else fits, and how to answer."""
    desk, say = case.desk, case.say
    end = short.answer(say, desk.reader.id, case.asked)
    if case.asked:
        values = _values(case)
        own = templates.own(desk.plan, case.alarm.condition, say.language, "short", values)
        if own:
            return short.whole(own, end)
        return short.made(_call(case, new, end))
    told = brief.cause(case.alarm, say) if case.kind is NoticeKind.TAKEN else ""
    step: tuple[str, ...] = (f"{told[:1].upper()}{told[1:]}.",) if told else ()
    if case.kind is NoticeKind.STAND_DOWN:
        step = brief.remains(desk, case.alarm)
        if case.alarm.condition == c.SITE_OUTAGE:
            step = (say("Pumps may start, high levels may follow."), *step)
    return short.made(short.Parts(_head(case), desk.place, end, where=desk.spot, step=step))


def _short_steps(case: Case) -> Iterator[str]:
    """What to do in a few words, the fullest way first: a switch left in Off is turned back."""
    panel, condition = case.desk.panel, case.alarm.condition
    said = case.alarm.notes if condition == c.HIGH_LEVEL else (condition,)
    off = any(each.startswith(("R1-off", c.IN_OFF)) for each in said)
    if off and panel is not None and hand.reaches(panel.hoa, case.desk.reader):
        yield case.say("Use no water. If nobody is at work there: switch to Auto.")
    yield advice.shortest(condition, case.say)


def _call(case: Case, new: fresh.Fresh, end: str) -> short.Parts:
    """The parts of a short form that asks for an answer; what is new, or the cause, comes first."""
    desk, alarm, say = case.desk, case.alarm, case.say
    again = say("Still there") if alarm.call and alarm.call.round > 1 else ""
    news = say("News") if case.kind is NoticeKind.UPDATE else ""
    cause = new.words or brief.cause(alarm, say)
    lead = ", ".join(filter(None, (news or again, cause)))
    return short.Parts(
        f"{lead[:1].upper()}{lead[1:]}: {brief.lowered(case.name)}" if lead else case.name,
        desk.place,
        end,
        when.since(desk.plan, alarm.since, desk.now, say) if alarm.since else "",
        desk.spot,
        tuple(_short_steps(case)),
        brief.caution(alarm, say),
    )
