"""Commands of people at a panel: the horn's wire, loose ends, visits.

In: a command and who asks. Out: what was done and what follows, or why not. Whether it is allowed
is the stations' to say (horn.py, loose.py, visits.py). Nothing is changed by a refusal.
"""

from relayd.core.asking import wishes
from relayd.core.asking.wishes import Done, Place
from relayd.core.draft import Draft
from relayd.core.events import AtPanel, HornWire, PutOff, Settled, Stage, Wire
from relayd.core.plan import HOUR, Person
from relayd.core.refusal import Refused
from relayd.core.saying import sentences
from relayd.core.upkeep import horn, loose, visits

VISIT = 2 * HOUR
"""How long a visit lasts where nobody says."""
MOST_PUT_OFF, MOST_VISIT = "at most 7 days", "at most 12 h"

Work = HornWire | PutOff | Settled | AtPanel


def obey(draft: Draft, command: Work, person: Person) -> Done | Refused:
    """Do what is asked, or say why not."""
    match command:
        case HornWire():
            return horn_wire(draft, command, person)
        case PutOff():
            return put_off(draft, command, person)
        case Settled():
            return settled(draft, command, person)
        case _:
            return visit(draft, command, person)


def horn_wire(draft: Draft, command: HornWire, person: Person) -> Done | Refused:
    """The horn's wire was taken off, or it is back."""
    place = wishes.panel_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    refused = horn.declare(draft, place.subject, person.id, command.wire, command.why)
    if refused is not None:
        return refused
    if command.wire is Wire.OFF:
        what = f"noted: the horn at {place.name} is disconnected, by {person.name}"
        follows = "nobody hears it at the panel; people are told as ever, and reminded by day"
        care = (
            "the wire may be live: the panel stays shut, and only somebody qualified puts it back"
        )
        end = f"{care}; say 'back' when it is on again"
        return Done("wire-off", f"{what}; {follows}; {end}", (place.subject,))
    what = f"noted: the wire of the horn at {place.name} is back, says {person.name}"
    standing = draft.subject(place.subject).horn.standing.value
    follows = f"the horn is {standing} until it has been heard: press Test at the panel and listen"
    return Done("wire-back", f"{what}; {follows}", (place.subject,))


def put_off(draft: Draft, command: PutOff, person: Person) -> Done | Refused:
    """No reminders of a loose end until then."""
    place = wishes.place_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    key = _key(draft, place, command.key)
    until = wishes.end_of(draft, command.until, command.within, MOST_PUT_OFF)
    if isinstance(until, Refused):
        return until
    refused = loose.put_off(draft, place.subject, key, person.id, until, command.why)
    if refused is not None:
        return refused
    what = f"{_end(place, key)}: nobody is reminded {wishes.until_words(draft, until)}"
    return Done("put-off", f"{what}; it stays open and is shown", (place.subject,))


def settled(draft: Draft, command: Settled, person: Person) -> Done | Refused:
    """A loose end is done away with."""
    place = wishes.place_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    key = _key(draft, place, command.key)
    refused = loose.settled(draft, place.subject, key, person.id)
    if refused is not None:
        return refused
    left = ", ".join(draft.subject(place.subject).loose) or "nothing"
    say = f"done, says {person.name}: {_end(place, key)}; still open there: {left}"
    return Done("settled", say, (place.subject,))


def visit(draft: Draft, command: AtPanel, person: Person) -> Done | Refused:
    """Somebody is at the panel, stays longer, or leaves."""
    place = wishes.panel_of(draft, command.panel)
    if isinstance(place, Refused):
        return place
    if command.stage is Stage.END:
        return _leaves(draft, place, command, person)
    until = wishes.end_of(draft, None, command.within, MOST_VISIT, VISIT)
    if isinstance(until, Refused):
        return until
    act = visits.begin if command.stage is Stage.BEGIN else visits.extend
    refused = act(draft, place.subject, person.id, until)
    if refused is not None:
        return refused
    end = wishes.until_words(draft, until)
    if command.stage is Stage.EXTEND:
        say = f"{person.name} stays at {place.name} {end}; it ends by itself"
        return Done("visit-extended", say, (place.subject,))
    what = f"{person.name} is at {place.name} {end}"
    follows = f"its alarms are recorded and go to {person.name} alone, but water that stands for"
    say = f"{what}; {follows} too long calls the others; end the visit before you leave"
    say = _first(draft, place) + say
    return Done("visit-begun", say, (place.subject,))


def _first(draft: Draft, place: Place) -> str:
    """What was left there: who comes to a panel hears of it first."""
    ends = visits.open_ends(draft, place.subject)
    told = "; ".join(f"'{each}' ({sentences.loose_end(each, place.panel)})" for each in ends)
    return f"still to be undone there: {told}; " if told else ""


def _leaves(draft: Draft, place: Place, command: AtPanel, person: Person) -> Done | Refused:
    left = tuple(_key(draft, place, each) for each in command.left)
    refused = visits.end(draft, place.subject, person.id, left, command.why)
    if refused is not None:
        return refused
    open_now = dict.fromkeys([*left, *draft.subject(place.subject).loose])
    stays = f"left open: {', '.join(open_now)}; somebody is reminded of it by day"
    what = stays if open_now else "everything is as it was"
    say = f"{person.name} has left {place.name}; {what}; its alarms call everybody again"
    return Done("visit-ended", say, (place.subject,))


def _key(draft: Draft, place: Place, asked: str) -> str:
    """The loose end's key as it is spelt: people may write it in capitals or with spaces."""
    if asked in draft.subject(place.subject).loose:
        return asked
    return "-".join(asked.lower().split())


def _end(place: Place, key: str) -> str:
    return f"'{key}' at {place.name} ({sentences.loose_end(key, place.panel)})"
