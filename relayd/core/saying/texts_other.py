"""Messages that are about no new alarm: reminders, the question of the horn, visits, digests.

In: plan, subjects, a person, time. Out: title, short and long form in the reader's language. Each
says how to answer, or that nobody reads a reply. Knows nothing of services.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping

from relayd.core import conditions as c
from relayd.core.events import Now, Wire
from relayd.core.plan import Plan
from relayd.core.saying import letter, sentences, short, when
from relayd.core.saying.language import marked
from relayd.core.saying.letter import NO_REPLY, Desk, Text
from relayd.core.saying.said import UNKNOWN_TIME
from relayd.core.state import Alarm, LooseEnd, Process, Stamp, Subject
from relayd.core.upkeep import loose_ends
from relayd.core.upkeep.horn_standing import HORN_WIRE

_ACTIVE = (Process.UNACK, Process.ACKED)


def reminder(
    plan: Plan,
    subjects: Mapping[str, Subject],
    subject: str,
    end: LooseEnd,
    person: str,
    now: Now,
) -> Text:
    """Reminds `person` of a loose end."""
    desk = Desk(plan, subjects, subject, plan.people[person], now)
    say, key = desk.say, end.key
    what = letter.left(desk, end)
    name = subject.removeprefix("panel:")
    seen = key != loose_ends.SILENCE and loose_ends.by_itself(desk.panel, key)
    settle = _settle(key, name, person) if not seen or _by_word(key) else ""
    lines = [
        say("A reminder: {place}{where}.", place=desk.place, where=desk.where),
        letter.end_line(desk, end),
        *_unanswered(desk, end),
        *([say(WIRE_CARE)] if key in WIRES else []),
        say("When it is done, say so: {how}.", how=settle) if settle else say(SEEN),
        say("To put it off: {how}.", how=_later(key, name, person)),
        *[each for each in letter.undone(desk) if each != letter.end_line(desk, end)],
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    end_ = " ".join(filter(None, (f"{settle}." if settle else "", say(letter.NO_REPLY_SHORT))))
    brief = short.made(short.Parts(say("Reminder: {what},", what=what), desk.place, end_))
    title = say("Still to be undone - {place}", place=desk.place)
    return Text(title, brief, "\n".join(lines))


WIRES = ("horn-wire", "horn-unknown")
WIRE_CARE = marked(
    "Putting it back is work inside the panel: for somebody qualified, with ALL breakers that feed it"
    " switched off and measured. Its end may be bare, and it is live in the next alarm."
)
SEEN = marked("This unit sees by itself when it is done.")


def _later(key: str, panel: str, person: str) -> str:
    """The command that puts the reminders of a loose end off by a day, with a reason."""
    return f"relayd later {panel} {key} --within '24 h' --why '...' --by {person}"


def _by_word(key: str) -> bool:
    """Whether a command undoes it: the horn's wire, a pause, out of service."""
    return key.partition(":")[0] in (HORN_WIRE, loose_ends.PAUSED, loose_ends.OUT)


def _settle(key: str, panel: str, person: str) -> str:
    """The command by which somebody says that a loose end is done away with."""
    kind, _, condition = key.partition(":")
    if key in ("horn-wire", "horn-unknown"):
        return f"relayd horn-wire {panel} back --by {person}"
    if kind == "paused":
        return f"relayd unshelve {panel} {condition} --by {person}"
    if kind == "out-of-service":
        return " ".join(filter(None, ("relayd in-service", panel, condition, f"--by {person}")))
    return f"relayd settled {panel} {key} --by {person}"


def _unanswered(desk: Desk, end: LooseEnd) -> list[str]:
    if not end.reminded:
        return []
    return [desk.say("Reminders that nobody answered: {count}.", count=end.reminded)]


def question(
    plan: Plan, subjects: Mapping[str, Subject], subject: str, person: str, now: Now
) -> Text:
    """Asks whether the horn's wire was taken off while the alarm circuit was off."""
    desk = Desk(plan, subjects, subject, plan.people[person], now)
    say, horn = desk.say, desk.owner.horn
    name = subject.removeprefix("panel:")
    off, back = _from_to(desk, horn.circuit_off, horn.circuit_on or horn.asked)
    taken = f"relayd horn-wire {name} off --by {person}"
    never = f"relayd horn-wire {name} back --by {person}"
    lines = [
        say("A question about {place}{where}.", place=desk.place, where=desk.where),
        say(
            "The alarm circuit was off from {off} to {back} during the alarm. Was the horn's wire"
            " taken off?",
            off=off,
            back=back,
        ),
        say(ASK_THEM),
        say("If it was taken off: {how}.", how=taken),
        say("If it was not, or is back on: {how}.", how=never),
        say("Without an answer the horn counts as not known: the next alarm may be silent there."),
        *letter.ends(desk),
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    step = say("If so: {taken}. If not: {never}.", taken=taken, never=never)
    asked = say("Horn's wire off? Panel stays shut.")
    end = say(letter.NO_REPLY_SHORT)
    brief = short.made(short.Parts(asked, desk.place, end, where=desk.spot, step=(step,)))
    title = say("Was the horn's wire taken off? - {place}", place=desk.place)
    return Text(title, brief, "\n".join(lines))


def answered(
    plan: Plan,
    subjects: Mapping[str, Subject],
    subject: str,
    answer: tuple[str, Wire],
    person: str,
    now: Now,
) -> Text:
    """Tells `person`, who was asked as well, who answered about the horn's wire, and what."""
    desk = Desk(plan, subjects, subject, plan.people[person], now)
    say, (by, wire) = desk.say, answer
    told = say(_WIRE_IS[wire], who=desk.called(by))
    lines = [
        f"{told} {desk.place}{desk.where}.",
        *([say(WIRE_CARE)] if wire is Wire.OFF else []),
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    title = say("The horn's wire: answered - {place}", place=desk.place)
    brief = short.made(short.Parts(told, desk.place, say(letter.NO_REPLY_SHORT), where=desk.spot))
    return Text(title, brief, "\n".join(lines))


_WIRE_IS = {
    Wire.OFF: marked(
        "{who} says that the horn's wire is off: the next alarm will be silent there."
    ),
    Wire.BACK: marked("{who} says that the horn's wire is on."),
}


ASK_THEM = marked(
    "Ask whoever was there; do not open the panel to look: the wire may hang loose and be live. Only"
    " somebody qualified puts it back."
)


def _from_to(desk: Desk, first: Stamp | None, last: Stamp | None) -> tuple[str, str]:
    """Two moments; how long ago, where the clock was not set."""
    return _moment(desk, first), _moment(desk, last)


def _moment(desk: Desk, stamp: Stamp | None) -> str:
    if stamp is None:
        return desk.say(UNKNOWN_TIME)
    if stamp.trusted and desk.now.trusted:
        return when.clock(desk.plan, stamp.wall, desk.now, desk.say)
    ago = when.lasted(desk.now.up - stamp.up)
    return desk.say("{time} ago (clock not set)", time=ago)


_VISIT = {
    "begun": marked("{who} is at the panel {until}: its alarms go to {who} first."),
    "ending": marked("The visit of {who} ends soon ({until}): extend it, or end it."),
    "ended": marked(
        "The visit of {who} has ended by itself: its end was not said, or not with all that stays"
        " undone."
    ),
    "left": marked("{who} has left and says what stays as it is."),
}
_VISIT_TITLE = {
    "begun": marked("Visit begun - {place}"),
    "ending": marked("Visit ends soon - {place}"),
    "ended": marked("Visit ended by itself - {place}"),
    "left": marked("Visit over - {place}"),
}


def of_visit(
    plan: Plan,
    subjects: Mapping[str, Subject],
    subject: str,
    what: str,
    person: str,
    now: Now,
) -> Text:
    """About a visit: `what` is 'begun', 'ending' (soon over), 'ended' (by itself) or 'left'."""
    desk = Desk(plan, subjects, subject, plan.people[person], now)
    say, visit = desk.say, desk.owner.visit
    who = desk.called(visit.person if visit else person)
    until = when.until(plan, visit.until_wall, visit.until, now, say) if visit else ""
    told = say(_VISIT[what], who=who, until=until)
    name = subject.removeprefix("panel:")
    mine = visit is None or visit.person == person
    end = f"relayd visit {name} --end --by {person}"
    more = f"relayd visit {name} --extend --within '2 h' --by {person}"
    where, left = f"{desk.place}{desk.where}.", letter.undone(desk)
    # Who comes to a panel reads first what was left there.
    lines = [
        *([*left, told, where] if what == "begun" else [told, where, *left]),
        *letter.wires([desk]),
        *_open(desk),
        *([say("To end it: {how}.", how=end)] if mine and what in ("begun", "ending") else ()),
        *([say("To stay longer: {how}.", how=more)] if mine and what == "ending" else ()),
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    step = f"{end}." if mine and what == "ending" else ""
    title = say(_VISIT_TITLE[what], place=desk.place)
    brief = short.made(short.Parts(told, desk.place, say(letter.NO_REPLY_SHORT), step=(step,)))
    return Text(title, brief, "\n".join(lines))


def _open(desk: Desk) -> list[str]:
    """What still stands at that panel."""
    names = [
        sentences.name(each.condition, desk.panel, desk.say)
        for each in desk.owner.alarms.values()
        if each.process in _ACTIVE
    ]
    return [desk.say("Open here: {names}.", names=", ".join(names))] if names else []


def digest(
    plan: Plan,
    subjects: Mapping[str, Subject],
    items: tuple[tuple[str, str], ...],
    person: str,
    now: Now,
    ref: Callable[[int], str],
) -> Text:
    """Several alarms, each (subject, condition), of one person's morning in one message."""
    reader = plan.people[person]
    desks = [(Desk(plan, subjects, each, reader, now), condition) for each, condition in items]
    desk = Desk(plan, subjects, letter.UNIT, reader, now)
    say = desk.say
    lines = [say("{site}: to look at ({count}).", site=plan.unit_name, count=len(items))]
    lines += [
        *listed(desks, lambda about, condition: item(about, condition, ref), letter.undone),
        say(
            "To say that you have seen one: relayd ack NUMBER --by {person} (on the unit).",
            person=person,
        ),
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    names = ", ".join(_brief(about, condition) for about, condition in desks)
    what = say("To look at ({count}): {names},", count=len(items), names=names)
    brief = short.made(short.Parts(what, plan.unit_name, say(letter.NO_REPLY_SHORT)))
    title = say("To look at ({count}) - {site}", count=len(items), site=plan.unit_name)
    return Text(title, brief, "\n".join(lines))


def listed(
    desks: Iterable[tuple[Desk, str]],
    line: Callable[[Desk, str], str],
    undone: Callable[[Desk], Iterable[str]],
) -> Iterator[str]:
    """One numbered line an alarm; after the first of each place what is left undone there."""
    places: set[str] = set()
    for number, (about, condition) in enumerate(desks, 1):
        yield f"{number}. {line(about, condition)}"
        if about.subject not in places:
            yield from undone(about)
        places.add(about.subject)


def _brief(desk: Desk, condition: str) -> str:
    alarm = desk.owner.alarms.get(condition)
    over = alarm is not None and alarm.process not in _ACTIVE
    where = desk.say("{place}, over", place=desk.place) if over else desk.place
    return f"{sentences.name(condition, desk.panel, desk.say)} ({where})"


def item(desk: Desk, condition: str, ref: Callable[[int], str]) -> str:
    """One alarm: what, where, since or from when to when, what is known, its number."""
    say = desk.say
    name = sentences.name(condition, desk.panel, say)
    alarm = desk.owner.alarms.get(condition)
    if alarm is None:
        return f"{name}, {desk.place}{desk.where}."
    told = f"{name}, {desk.place}{desk.where}, {_span(desk, alarm)}."
    if alarm.process in _ACTIVE or sentences.says_more(alarm):
        told += f" {sentences.standing(desk.panel, desk.owner, alarm, say)}"
    unanswered = alarm.process in (Process.RTNUN, Process.LATUN)
    if c.base_of(condition) in c.CHARACTERS and unanswered and condition not in _SETTLED:
        told += " " + say("Nobody answered: look at it.")
    elif alarm.answered and alarm.process not in _ACTIVE:
        told += " " + say("Answered by {who}.", who=desk.called(alarm.answered))
    return f"{told} [{ref(alarm.occurrence)}]"


_SETTLED = frozenset({c.PUMP_NOT_SEEN, c.UNWATCHED})
"""Their end is the proof that there is nothing to look at any more."""


def _span(desk: Desk, alarm: Alarm) -> str:
    """Since when it stands, or from when to when it was there."""
    if alarm.returned is not None and alarm.process not in _ACTIVE:
        first, last = _from_to(desk, alarm.since, alarm.returned)
        return desk.say("it was there from {first} to {last}", first=first, last=last)
    return when.since(desk.plan, alarm.since, desk.now, desk.say) if alarm.since else ""
