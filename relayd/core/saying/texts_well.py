"""The weekly message, and what the contacts say after a start.

In: plan, subjects, a person, time. Out: text in the reader's language. It says that all is well
only where no alarm stands. Knows nothing of services.
"""

from collections.abc import Iterator, Mapping

from relayd.core.events import Now
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Plan
from relayd.core.saying import letter, sentences, short
from relayd.core.saying.language import marked
from relayd.core.saying.letter import Desk, Text
from relayd.core.state import Subject

WELL = marked("All is well")
NOT_WELL = marked("Weekly message: not all is well")
PROVES = marked(
    "This message comes regularly over each of your channels, to prove them. Where it stays away,"
    " the unit or that channel no longer works: ask."
)


def weekly(plan: Plan, subjects: Mapping[str, Subject], person: str, now: Now) -> Text:
    """The message to that person."""
    desk = Desk(plan, subjects, letter.UNIT, plan.people[person], now)
    say, names = desk.say, list(_open(desk))
    head = say(NOT_WELL if names else WELL)
    counted = say("panels watched: {count}", count=len(plan.panels))
    lines = [
        f"{head}: {plan.unit_name}, {counted}.",
        *([say("These alarms stand: {names}.", names="; ".join(names))] if names else []),
        *contacts(desk),
        *(line for each in letter.panels(desk) for line in letter.undone(each)),
        say(PROVES),
        say(letter.NO_REPLY),
    ]
    step = say("What remains: {names}.", names=", ".join(names)) if names else f"{counted}."
    brief = short.made(short.Parts(head, plan.unit_name, say(letter.NO_REPLY_SHORT), step=(step,)))
    return Text(f"{head} - {plan.unit_name}", brief, "\n".join(lines))


def contacts(desk: Desk) -> list[str]:
    """What is known of each panel's level now, a line each."""
    say = desk.say
    return [f"{each.place}: {sentences.level(each.owner, say)}" for each in letter.panels(desk)]


def _open(desk: Desk) -> Iterator[str]:
    for subject, owner in desk.subjects.items():
        about = Desk(desk.plan, desk.subjects, subject, desk.reader, desk.now)
        for each in owner.alarms.values():
            if each.process in ACTIVE:
                named = sentences.name(each.condition, about.panel, desk.say)
                yield f"{named} ({about.place})"
