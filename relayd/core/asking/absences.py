"""Commands about people: away, back, and who may say so.

In: a command and who asks. Out: what was done and what follows, or why not. Knows nothing of
alarms. Nothing is changed by a refusal.
"""

from relayd.core.asking import wishes
from relayd.core.asking.wishes import Done
from relayd.core.calling import duty
from relayd.core.draft import UNIT, Draft
from relayd.core.events import ComeBack, GoAway
from relayd.core.plan import Person
from relayd.core.refusal import Refused

MOST_AWAY = "at most 90 days"
NOBODY = "nobody stands in: the call lists go on to the next person"

Absence = GoAway | ComeBack


def obey(draft: Draft, command: Absence, person: Person) -> Done | Refused:
    """Do what is asked, or say why not."""
    if isinstance(command, GoAway):
        return away(draft, command, person)
    return back(draft, command, person)


def away(draft: Draft, command: GoAway, person: Person) -> Done | Refused:
    """Somebody is away until then, and perhaps another stands in."""
    whom = _whom(draft, command.person, person)
    if isinstance(whom, Refused):
        return whom
    stand_in = wishes.person_of(draft, command.stand_in) if command.stand_in else None
    if isinstance(stand_in, Refused):
        return stand_in
    until = wishes.end_of(draft, command.until, command.within, MOST_AWAY)
    if isinstance(until, Refused):
        return until
    refused = duty.go_away(draft, whom.id, until, command.stand_in, person.id)
    if refused is not None:
        return refused
    told = f"{stand_in.name} is told instead" if stand_in else NOBODY
    say = f"{whom.name} is away {wishes.until_words(draft, until)}; {told}; it ends by itself"
    return Done("away", say, (UNIT,))


def back(draft: Draft, command: ComeBack, person: Person) -> Done | Refused:
    """Somebody is there again."""
    whom = _whom(draft, command.person, person)
    if isinstance(whom, Refused):
        return whom
    refused = duty.come_back(draft, whom.id, person.id)
    return refused or Done("back", f"{whom.name} is back and is told again", (UNIT,))


def _whom(draft: Draft, name: str, person: Person) -> Person | Refused:
    """Who is meant: everybody may say it of themselves, who responds of others as well."""
    whom = wishes.person_of(draft, name)
    if isinstance(whom, Refused) or whom.id == person.id or person.responds:
        return whom
    say = "only those who are marked as responding may say this of others: ask one of them"
    return Refused("not-allowed", say)
