"""Commands that put alarms aside, bring them back, and let latched ones go.

In: a command and who asks. Out: what was done and what follows, or why not. Whether it is allowed
is the stations' to say (marks.py, lifecycle.py). Nothing is changed by a refusal.
"""

from relayd.core.asking import wishes
from relayd.core.asking.wishes import Done, Place
from relayd.core.draft import Draft
from relayd.core.events import InService, OutOfService, Reset, Shelve, Unshelve
from relayd.core.life import lifecycle, marks
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Person
from relayd.core.refusal import Refused
from relayd.core.saying import sentences
from relayd.core.showing import quietness
from relayd.core.state import Process

SHELF = "at most 24 h, and 4 h for an alarm of high priority"
OUT = "at most 30 days"

Aside = Shelve | Unshelve | OutOfService | InService | Reset


def obey(draft: Draft, command: Aside, person: Person) -> Done | Refused:
    """Do what is asked, or say why not."""
    match command:
        case Shelve():
            return shelve(draft, command, person)
        case Unshelve():
            return unshelve(draft, command, person)
        case OutOfService():
            return take_out(draft, command, person)
        case InService():
            return put_back(draft, command, person)
        case _:
            return reset(draft, command, person)


def shelve(draft: Draft, command: Shelve, person: Person) -> Done | Refused:
    """Pause one alarm, with an end."""
    place = wishes.place_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    condition = wishes.condition_at(draft, place, command.condition)
    if isinstance(condition, Refused):
        return condition
    until = wishes.end_of(draft, command.until, command.within, SHELF)
    if isinstance(until, Refused):
        return until
    refused = marks.shelve(draft, place.subject, condition, person.id, until, command.why)
    if refused is not None:
        return refused
    what = f"{wishes.called(place, condition)} is paused {wishes.until_words(draft, until)}"
    follows = f"{_whole(place)} is still watched and recorded; it ends by itself"
    return Done("shelved", f"{what}; {follows}", (place.subject,))


def unshelve(draft: Draft, command: Unshelve, person: Person) -> Done | Refused:
    """End a pause."""
    place = wishes.place_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    condition = wishes.condition_at(draft, place, command.condition)
    if isinstance(condition, Refused):
        return condition
    refused = marks.unshelve(draft, place.subject, condition, person.id)
    if refused is not None:
        return refused
    what = f"{wishes.called(place, condition)} is no longer paused"
    return Done("unshelved", f"{what}; {_now(draft, place, condition)}", (place.subject,))


def take_out(draft: Draft, command: OutOfService, person: Person) -> Done | Refused:
    """Take an alarm, or the whole panel, out of service, with an end."""
    place, condition = _meant(draft, command.panel, command.condition)
    if isinstance(place, Refused):
        return place
    if isinstance(condition, Refused):
        return condition
    until = wishes.end_of(draft, command.until, command.within, OUT)
    if isinstance(until, Refused):
        return until
    refused = marks.take_out(draft, place.subject, condition, person.id, until, command.why)
    if refused is not None:
        return refused
    what = wishes.called(place, condition) if condition else place.name
    end = wishes.until_words(draft, until)
    follows = "it is still watched and recorded, nobody is told of it; somebody is reminded by day"
    say = f"{what} is out of service {end}; {follows}; it ends by itself"
    return Done("out-of-service", say, (place.subject,))


def put_back(draft: Draft, command: InService, person: Person) -> Done | Refused:
    """Return an alarm, or the whole panel, to service."""
    place, condition = _meant(draft, command.panel, command.condition)
    if isinstance(place, Refused):
        return place
    if isinstance(condition, Refused):
        return condition
    refused = marks.put_back(draft, place.subject, condition, person.id)
    if refused is not None:
        return refused
    if condition:
        what = f"{wishes.called(place, condition)} is in service again"
        follows = _now(draft, place, condition)
    else:
        what, follows = f"{place.name} is in service again", _all_now(draft, place)
    return Done("in-service", f"{what}; {follows}", (place.subject,))


def reset(draft: Draft, command: Reset, person: Person) -> Done | Refused:
    """Let go latched alarms here; the panel itself is never reset."""
    place, condition = _meant(draft, command.panel, command.condition)
    if isinstance(place, Refused):
        return place
    if isinstance(condition, Refused):
        return condition
    before = _latched(draft, place)
    refused = lifecycle.reset(draft, place.subject, condition, person.id)
    if refused is not None:
        return refused
    left = _latched(draft, place)
    gone = [sentences.name(each, place.panel) for each in before if each not in left]
    say = f"let go at {place.name}: {', '.join(gone)}; the panel itself is reset at the panel alone"
    return Done("reset", say, (place.subject,))


def _meant(
    draft: Draft, panel: str, condition: str
) -> tuple[Place, str | Refused] | tuple[Refused, str]:
    """Where, and which condition there; '' stands for all of it."""
    place = wishes.place_of(draft, panel)
    if isinstance(place, Refused):
        return place, ""
    return place, wishes.condition_at(draft, place, condition) if condition else ""


def _whole(place: Place) -> str:
    return "the panel" if place.panel else "the unit"


def _now(draft: Draft, place: Place, condition: str) -> str:
    """What follows for an alarm of which a mark has gone."""
    owner = draft.subject(place.subject)
    alarm = owner.alarms.get(condition)
    if alarm is None or alarm.process not in ACTIVE:
        return "it is normal now"
    why = quietness.marks(draft.plan, owner, alarm, draft.now)
    if why:
        return f"it is there, and nobody is told: {why}"
    if alarm.process is Process.ACKED:
        return "it is there, and acknowledged"
    return "it is there: people are told again"


def _all_now(draft: Draft, place: Place) -> str:
    alarms = draft.subject(place.subject).alarms
    there = [name for name, alarm in alarms.items() if alarm.process in ACTIVE]
    if not there:
        return "nothing is wrong there now"
    return "; ".join(
        f"{sentences.name(each, place.panel)}: {_now(draft, place, each)}" for each in there
    )


def _latched(draft: Draft, place: Place) -> list[str]:
    alarms = draft.subject(place.subject).alarms
    return [name for name, alarm in alarms.items() if alarm.process is Process.LATAK]
