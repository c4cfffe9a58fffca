"""The parts that messages share: who is asked for what, what remains undone, whom to ring.

In: plan, subjects, a reader, time. Out: lines of text in the reader's language. Knows nothing of
services and decides nothing.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from relayd.core import conditions as c
from relayd.core.calling import duty
from relayd.core.diagnosis import pump_rows
from relayd.core.events import Now
from relayd.core.plan import Panel, Person, Plan
from relayd.core.saying import cautions, language, sentences, when
from relayd.core.saying.language import Speech, marked
from relayd.core.state import Alarm, HornStanding, LooseEnd, Subject
from relayd.core.upkeep import loose_ends
from relayd.core.upkeep.horn_standing import HORN_UNPROVED, PROOF

UNIT, ALARM_BREAKER = "unit", "alarm-breaker"


@dataclass(frozen=True, slots=True)
class Text:
    """One message: a title line, at most 160 septets, and the whole of it."""

    title: str
    short: str
    long: str


@dataclass(frozen=True, slots=True)
class Desk:
    """Everything that one message is written from."""

    plan: Plan
    subjects: Mapping[str, Subject]
    subject: str
    reader: Person
    now: Now

    @property
    def say(self) -> Speech:
        """The reader's language."""
        return language.of(self.plan, self.reader)

    @property
    def owner(self) -> Subject:
        """The subject that it is about."""
        return self.subjects.get(self.subject) or Subject(self.subject)

    @property
    def panel(self) -> Panel | None:
        """The panel that it is about, while the plan has it."""
        kind, _, name = self.subject.partition(":")
        return self.plan.panels.get(name) if kind == "panel" else None

    @property
    def place(self) -> str:
        """What people call it: the panel; else the unit, and which channel (or panel that is gone)."""
        if self.panel is not None:
            return self.panel.name
        kind, _, name = self.subject.partition(":")
        if not name:
            return self.plan.unit_name
        return f"{self.plan.unit_name}, {self.say(_KINDS.get(kind, kind))} {name}"

    @property
    def where(self) -> str:
        """Where it is, after a comma; '' where nobody said."""
        return f", {self.spot}" if self.spot else ""

    @property
    def spot(self) -> str:
        """Where it is; '' where nobody said."""
        return self.panel.where if self.panel else ""

    def called(self, person: str) -> str:
        """That person's name, also where the plan no longer has it."""
        known = self.plan.people.get(person)
        return known.name if known else person


_KINDS = {"panel": marked("panel"), "channel": marked("channel")}
NO_REPLY = marked("Do not reply to this message: nobody reads it.")
NO_REPLY_SHORT = marked("Do not reply here.")


def undone(desk: Desk) -> list[str]:
    """What remains to be undone at that panel, and what is known of its horn."""
    return [*pressing(desk), *not_pressing(desk)]


def pressing(desk: Desk, but: str = "") -> list[str]:
    """What remains to be undone there, its horn's wire or a dead horn included; not `but`."""
    return [*ends(desk, but), *(_horn(desk) if desk.owner.horn.standing in _DUMB else ())]


def not_pressing(desk: Desk) -> list[str]:
    """When the panel's horn was last heard, or that it is not known whether it sounds."""
    known = desk.subject.startswith("panel:") and desk.owner.horn.standing not in _DUMB
    return _horn(desk) if known and not _UNSURE.intersection(desk.owner.loose) else []


def ends(desk: Desk, but: str = "") -> list[str]:
    """What remains to be undone there but for that key, without what its horn is known to do."""
    return [end_line(desk, each) for each in desk.owner.loose.values() if each.key != but]


def elsewhere(desk: Desk) -> list[str]:
    """What remains to be undone at the unit's panels, with each one's name: an outage hits them all."""
    return [
        f"{there.place}: {brief}"
        for there in panels(desk)
        for brief in map(_lowered, pressing(there))
    ]


def panels(desk: Desk) -> list[Desk]:
    """The same about each panel of the unit."""
    return [
        Desk(desk.plan, desk.subjects, f"panel:{name}", desk.reader, desk.now)
        for name in desk.plan.panels
    ]


def wires(desks: Iterable[Desk]) -> list[str]:
    """The caution of each panel whose horn's wire hangs loose, or may: with the panel's name."""
    found = []
    for each in desks:
        horn = each.owner.horn
        off, asked = horn.standing is HornStanding.DISCONNECTED, horn.asked is not None
        said = cautions.of_wire(off, asked, each.say)
        found += [f"! {each.place}: {line}" for line in said]
    return list(dict.fromkeys(found))


def _lowered(line: str) -> str:
    return f"{line[:1].lower()}{line[1:]}"


_DUMB = (HornStanding.DISCONNECTED, HornStanding.SILENT)
_UNSURE = frozenset({"horn-unknown", HORN_UNPROVED})
"""Loose ends that say themselves that the horn is not known to sound."""


def end_line(desk: Desk, end: LooseEnd) -> str:
    """One loose end: what, since when, by whom, and until when it is put off while that lasts."""
    say = desk.say
    since = when.since(desk.plan, end.since, desk.now, say)
    who = f", {desk.called(end.by)}" if end.by else ""
    who += f": {end.why}" if end.by and end.key != ALARM_BREAKER and _own(end.why) else ""
    told = say("Still to be undone: {what} ({since})", what=left(desk, end), since=since + who)
    if end.put_off is None or end.put_off.until <= desk.now.up:
        return f"{told}."
    until = when.until(desk.plan, end.put_off.until_wall, end.put_off.until, desk.now, say)
    why = f" ({end.put_off.why})" if end.put_off.why else ""
    return f"{told}; {say('put off {until}', until=until)}{why}."


def _own(why: str) -> bool:
    """Whether it is a person's own reason, and not what the line says already."""
    said = ("", "paused", "out of service", *loose_ends.SAYS.values())
    return why not in said and not why.endswith(PROOF)


def left(desk: Desk, end: LooseEnd) -> str:
    """What is left undone; a breaker that somebody used, where nothing shows it, is a question."""
    if end.key == ALARM_BREAKER and end.by:
        return desk.say(
            "whether the alarm circuit is on again is not known: is its lamp lit? (look)"
        )
    return sentences.loose_end(end.key, desk.panel, desk.say)


_HORN = {
    HornStanding.DISCONNECTED: marked(
        "The horn's wire is disconnected {since}{by}: the next alarm will be silent at the panel."
    ),
    HornStanding.SILENT: marked(
        "The horn was silent at an alarm ({since}): its wire may be off, or the horn is dead. The"
        " next alarm may not be heard at the panel."
    ),
    HornStanding.PROVED: marked("The panel's horn was last heard to sound: {since}."),
    HornStanding.NOT_KNOWN: marked("Whether the panel's horn sounds is not known."),
}


def _horn(desk: Desk) -> list[str]:
    horn, say = desk.owner.horn, desk.say
    if horn.standing is HornStanding.DISCONNECTED and "horn-wire" in desk.owner.loose:
        return []
    stamp = horn.proved if horn.standing is HornStanding.PROVED else horn.since
    since = when.since(desk.plan, stamp, desk.now, say) if stamp else ""
    by = f" ({desk.called(horn.by)})" if horn.by else ""
    said = say(_HORN[horn.standing], since=since or say("time not known"), by=by)
    return [said.replace(" )", ")")]


def put_aside(desk: Desk, alarm: Alarm) -> list[str]:
    """That the alarm, or its panel, is paused, out of service or comes and goes."""
    say = desk.say
    lines = []
    for mark, text in (
        (alarm.shelved, PAUSED),
        (alarm.out, OUT),
        (desk.owner.out, PANEL_OUT),
    ):
        if mark is not None and mark.until > desk.now.up:
            until = when.until(desk.plan, mark.until_wall, mark.until, desk.now, say)
            why = f" ({mark.why})" if mark.why else ""
            lines.append(say(text, until=until, by=desk.called(mark.by)) + why)
    if alarm.suppressed:
        lines.append(
            say("Not shown by itself: {why}.", why=sentences.retold(alarm.suppressed, say))
        )
    if alarm.chattering is not None:
        lines.append(say("It comes and goes: repeats are recorded and not told each time."))
    return lines


PAUSED = marked("{by} has paused this alarm {until}.")
OUT = marked("{by} has taken this alarm out of service {until}.")
PANEL_OUT = marked("{by} has taken the whole panel out of service {until}.")


def phones(desk: Desk, alarm: Alarm | None = None) -> list[str]:
    """Whom to ring: who has it first, then the others of that call list who have a number."""
    plan = desk.plan
    names = [alarm.taken.person] if alarm and alarm.taken else []
    calls = plan.call_lists.get(desk.panel.call_list if desk.panel else plan.call_list)
    away = (desk.subjects.get(UNIT) or Subject(UNIT)).away
    for step in calls.steps if calls else ():
        names += duty.persons(plan, away, step.persons, desk.now)
    found = [
        f"{plan.people[each].name} {plan.people[each].phone}"
        for each in dict.fromkeys(names)
        if each != desk.reader.id and each in plan.people and plan.people[each].phone
    ]
    return [desk.say("To ring: {numbers}.", numbers=", ".join(found))] if found else []


def reserve(desk: Desk, alarm: Alarm) -> str:
    """How long the basin holds, by what is declared and from when the level was high; else not known."""
    say, panel, base = desk.say, desk.panel, c.base_of(alarm.condition)
    if base == c.HIGH_HIGH_LEVEL:
        return say("How long the basin still holds is not known: it may overflow at any moment.")
    if panel is None or panel.reserve is None:
        return say(UNKNOWN)
    if _outrun(alarm):
        return say(FASTER)
    high = _high(desk, alarm)
    if high is None:
        # The time before the alarm float is not known: only what comes after it is declared.
        whole = when.half_hours(panel.reserve)
        return say(FROM_FLOAT, time=whole) if whole else say(SOON_FROM_FLOAT)
    left = panel.reserve - _gone(desk, high)
    if left <= 0:
        return say(NONE_LEFT)
    time = when.half_hours(left)
    return say(LEFT, time=time) if time else say(LITTLE_LEFT)


def from_now(desk: Desk, alarm: Alarm) -> str:
    """The same in a few words, for advice that ends in Off."""
    say, panel = desk.say, desk.panel
    if c.base_of(alarm.condition) == c.HIGH_HIGH_LEVEL or panel is None or panel.reserve is None:
        return reserve(desk, alarm)
    if _outrun(alarm):
        return say(UNKNOWN)
    high = _high(desk, alarm)
    left = panel.reserve - (_gone(desk, high) if high else 0)
    time = when.half_hours(left)
    if not time:
        return say(ANY_MOMENT if high else SOON_FROM_FLOAT)
    return say(LEFT_BRIEF if high else FLOAT_BRIEF, time=time)


def _outrun(alarm: Alarm) -> bool:
    """Whether a pump runs and does not get the water down: then no declared rate holds."""
    return any(pump_rows.split(each)[0] in ("R4", "R7") for each in alarm.notes)


def _high(desk: Desk, alarm: Alarm) -> Alarm | None:
    """The alarm of high level from whose beginning the basin's time counts down; None: none stands."""
    if c.base_of(alarm.condition) == c.HIGH_LEVEL:
        return alarm
    stands = desk.owner.alarms.get(c.HIGH_LEVEL)
    return stands if stands is not None and stands.process in ("UNACK", "ACKED") else None


def _gone(desk: Desk, alarm: Alarm) -> int:
    return desk.now.up - alarm.raised.up if alarm.raised else 0


LEFT = marked(
    "About {time} left at the declared rate (not measured); full is the lid or the lowest"
    " drain of the building. Heavy inflow makes it less."
)
LITTLE_LEFT = marked(
    "Less than half an hour is left at the declared rate (not measured): it may overflow"
    " at any moment."
)
UNKNOWN = marked("How long the basin holds is not known.")
FASTER = marked(
    "How long the basin holds is not known: more may come in than was declared, since the pump does"
    " not get the water below the alarm float."
)
NONE_LEFT = marked(
    "Nothing is left at the declared rate (not measured): take it as overflowing, at the"
    " lid or at the lowest drain of the building."
)
FROM_FLOAT = marked(
    "From the alarm float about {time} at the declared rate (not measured); full is the"
    " lid or the lowest drain of the building. Where the water stands now is not known."
)
SOON_FROM_FLOAT = marked("From the alarm float to overflow it is less than half an hour.")
FLOAT_BRIEF = marked("From the alarm float about {time} (declared).")
ANY_MOMENT = marked("It may overflow at any moment.")
LEFT_BRIEF = marked("About {time} left (declared).")
