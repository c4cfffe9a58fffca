"""What a person hears of an answer that came from afar: that it was taken, or why it was not.

In: plan, a reader, what came of it. Out: title, short and long form in the reader's language.
"""

from relayd.core.events import Act, Now, Unused
from relayd.core.plan import Person, Plan
from relayd.core.saying import language, short, when
from relayd.core.saying.language import marked
from relayd.core.saying.letter import NO_REPLY, NO_REPLY_SHORT, Text
from relayd.core.saying.replying import CODE, CODED

TAKEN = marked("Your answer came: you have it.")
SEEN = marked("Your answer came: you have seen it.")
UNUSED = marked("Your answer was not taken: {why}.")
SAYS = {
    Unused.NO_CODE: marked("it holds no code of a message"),
    Unused.UNKNOWN: marked("its code is of no open alarm"),
    Unused.SERVED: marked("its code has served already, the newest message has another"),
    Unused.LOCKED: marked("too many wrong codes came, it is locked for an hour"),
    Unused.SENDER: marked("it came from an address that the plan does not know"),
    Unused.WORDS: marked("its first line was not understood"),
    Unused.REFUSED: marked(
        "the alarm is over, or the time is not good, or it is not yours to take"
    ),
}
"""Those of which a person is told."""
_NOT_SAID = marked("it could not be read")
PRESSED = marked("Somebody has pressed the button at the unit.")
PRESSED_AT = marked("Somebody pressed the button at the unit at {time}.")
NO_ANSWER = marked("That is no answer: nobody has taken anything by it, and the calls go on.")
LAST = marked(
    "Of more such answers you hear nothing for an hour: an answer counts only once that is confirmed."
)
HOW = marked("On the first line one word: seen or taken (or taken 14:00).")
ON_UNIT = marked("It always goes on the unit: relayd ack --by {person}.")


def taken(plan: Plan, person: Person, act: Act, place: str, lasts: bool) -> Text:
    """That the answer came and did what it says; while the alarm lasts with the next one's code."""
    told = TAKEN if act is Act.TAKEN else SEEN
    return _text(plan, person, told, place, coded=lasts)


def unused(plan: Plan, person: Person, why: Unused, place: str, last: bool = False) -> Text:
    """That an answer was not taken, why, and how to answer; `last`: that no more such word comes."""
    return _text(plan, person, UNUSED, place, SAYS.get(why, _NOT_SAID), last=last)


def pressed(plan: Plan, person: Person, now: Now) -> Text:
    """That somebody pressed the button at the unit, and that nobody has anything by that."""
    say, place = language.of(plan, person), plan.unit_name
    at = when.clock(plan, now.wall, now, say) if now.trusted else ""
    what = say(PRESSED_AT, time=at) if at else say(PRESSED)
    lines = [f"{place}: {what}", say(NO_ANSWER), say(NO_REPLY)]
    brief = short.made(short.Parts(what, place, say(NO_REPLY_SHORT), step=(say(NO_ANSWER),)))
    return Text(f"{what[:-1]} - {place}", brief, "\n".join(lines))


def _text(
    plan: Plan,
    person: Person,
    told: str,
    place: str,
    why: str = "",
    coded: bool = False,
    last: bool = False,
) -> Text:
    say = language.of(plan, person)
    what = say(told, why=say(why)) if why else say(told)
    lines = [f"{place}: {what}", *([say(HOW)] if why else []), *([say(LAST)] if last else [])]
    lines += [say(CODED, code=CODE)] if coded else []
    lines.append(f"{say(ON_UNIT, person=person.id)} {say(NO_REPLY)}")
    brief = short.made(short.Parts(what, place, say(NO_REPLY_SHORT)))
    return Text(f"{what[:-1]} - {place}", brief, "\n".join(lines))
