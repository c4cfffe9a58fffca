"""Several messages to one person in one: every alarm by its name, as it now stands, and how to answer.

In: plan, subjects, the notices that it stands for, a person, time. Out: title, short and long
form in the reader's language. Knows nothing of services.
"""

from collections.abc import Callable, Mapping

from relayd.core import conditions as c
from relayd.core.events import Now
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Plan, Priority
from relayd.core.saying import advice, cautions, letter, short, when
from relayd.core.saying.language import marked
from relayd.core.saying.letter import NO_REPLY, Desk, Text
from relayd.core.saying.sentences import name as named
from relayd.core.saying.texts_other import item, listed
from relayd.core.state import Alarm, Named, Notice, Stamp, Subject


def bundle(
    plan: Plan,
    subjects: Mapping[str, Subject],
    notices: tuple[Notice, ...],
    person: str,
    now: Now,
    ref: Callable[[int], str],
    down_since: Stamp | None = None,
) -> Text:
    """These notices in one message, the gravest first; `down_since` is from when its way failed."""
    desk = Desk(plan, subjects, letter.UNIT, plan.people[person], now)
    say = desk.say
    about = alarms_of(notices)
    desks = [
        (Desk(plan, subjects, each.subject, desk.reader, now), each.condition) for each in about
    ]
    others = others_of(notices)
    open_ones = [alarm for alarm in map(_alarm, desks) if alarm and alarm.process in ACTIVE]
    high = sum(each.priority is Priority.HIGH for each in open_ones)
    lines = [
        _first(desk, len(about) + len(others), high, down_since),
        *_care(desk, open_ones),
        *letter.wires(each for each, _ in desks),
        *listed(desks, lambda about, condition: _line(about, condition, ref), letter.pressing),
        *(f"{n}. {each}" for n, each in enumerate(others, len(desks) + 1)),
        *([say(_how(desk), person=person)] if open_ones else []),
        *letter.phones(desk),
        say(NO_REPLY),
    ]
    title = _title(desk, len(about) + len(others), high)
    names = ", ".join(f"{named(each[1], each[0].panel, say)} ({each[0].place})" for each in desks)
    what = say("{title}: {names},", title=title, names=names) if names else f"{title},"
    end = short.answer(say, person, bool(open_ones))
    brief = short.made(short.Parts(what, plan.unit_name, end))
    return Text(f"{title} - {plan.unit_name}", brief, "\n".join(filter(None, lines)))


def alarms_of(notices: tuple[Notice, ...]) -> tuple[Named, ...]:
    """The alarms that these notices are about, each once, in their order."""
    found = (
        (Named(each.subject, each.condition),) if each.occurrence else each.about
        for each in notices
    )
    return tuple(dict.fromkeys(one for several in found for one in several))


def others_of(notices: tuple[Notice, ...]) -> tuple[str, ...]:
    """What these notices say that is about no alarm, in short; the newest ones."""
    own = (each for each in notices if not each.occurrence)
    found = (each.beside if each.about or each.beside else (each.short,) for each in own)
    return tuple(one for several in found for one in several)[-OTHERS:]


OTHERS = 30
"""So many at most: a month of mornings, over a way that is broken so long."""
MANY = marked("{count} messages")
MANY_HIGH = marked("{count} messages, {high} of high alarms")
TOGETHER = marked(
    "So much happens at once that it comes in one message: {count}, the gravest first, as it now"
    " stands."
)
AFTER_OUTAGE = marked(
    "This way to you did not work ({since}): {count} messages in one, the gravest first, as it now"
    " stands."
)
TAKE_ONE = marked("To take one: relayd ack NUMBER --by {person} (on the unit).")
SEE_ONE = marked("To say that you have seen one: relayd ack NUMBER --by {person} (on the unit).")


def _title(desk: Desk, count: int, high: int) -> str:
    return desk.say(MANY_HIGH if high else MANY, count=count, high=high)


def _first(desk: Desk, count: int, high: int, down_since: Stamp | None) -> str:
    if down_since is None:
        return desk.say(TOGETHER, count=count)
    since = when.since(desk.plan, down_since, desk.now, desk.say)
    return desk.say(AFTER_OUTAGE, since=since, count=count)


def _how(desk: Desk) -> str:
    return TAKE_ONE if desk.reader.responds else SEE_ONE


def _alarm(about: tuple[Desk, str]) -> Alarm | None:
    return about[0].owner.alarms.get(about[1])


def _care(desk: Desk, alarms: list[Alarm]) -> list[str]:
    """The cautions of all that stands, each once."""
    found = dict.fromkeys(
        each for alarm in alarms for each in cautions.CAUTIONS[c.base_of(alarm.condition)]
    )
    return [f"! {each}" for each in cautions.told(tuple(found), desk.say)]


def _line(desk: Desk, condition: str, ref: Callable[[int], str]) -> str:
    """One alarm: what, where, since when, what is known, the first step, who has it, its number."""
    alarm = desk.owner.alarms.get(condition)
    if alarm is None or alarm.process not in ACTIVE:
        return item(desk, condition, ref)
    step = advice.shortest(condition, desk.say)
    has = alarm.taken
    who = desk.say("{who} has it.", who=desk.called(has.person)) if has else ""
    return " ".join(filter(None, (item(desk, condition, ref), step, who)))
