"""What people ask for: each command of events.py finds its deed, and everybody gets an answer.

In: a `Commanded`. Out: an `Answer` that says what was done and what follows, or why not and what
to do instead. Nothing is changed by a command that is refused; both are recorded, with who asked
and by what way. Knows nothing of sockets or topics.
"""

from relayd.core.asking import absences, afar, asides, panel_work, takes, wishes
from relayd.core.asking.wishes import Done
from relayd.core.draft import UNIT, Draft
from relayd.core.effects import Answer
from relayd.core.events import (
    Acknowledge,
    AtPanel,
    Commanded,
    HornWire,
    InService,
    Looked,
    OutOfService,
    PutOff,
    Reset,
    Settled,
    Shelve,
    Unshelve,
)
from relayd.core.plan import Person
from relayd.core.refusal import Refused


def obey(draft: Draft, event: Commanded) -> tuple[str, ...]:
    """Do it or refuse it; the subjects that changed."""
    person = wishes.person_of(draft, event.by)
    what = person if isinstance(person, Refused) else _done(draft, event, person)
    if isinstance(what, Refused):
        return _no(draft, event, what)
    draft.record("command done", what.subjects[0], way=event.way, by=event.by, code=what.code)
    draft.effects.append(Answer(event.token, True, what.code, what.say))
    afar.done(draft, event, what.code)
    return what.subjects


def _no(draft: Draft, event: Commanded, refused: Refused) -> tuple[str, ...]:
    code, say = refused.code, refused.say
    draft.record("command refused", UNIT, way=event.way, by=event.by, code=code, say=say)
    draft.effects.append(Answer(event.token, False, code, say))
    afar.refused(draft, event, code)
    return ()


def _done(draft: Draft, event: Commanded, person: Person) -> Done | Refused:
    """Each command to its deed: total, and mypy says so."""
    match event.command:
        case Acknowledge() as command:
            return takes.acknowledge(draft, command, person)
        case Looked() as command:
            return takes.looked(draft, command, person, event.way)
        case Shelve() | Unshelve() | OutOfService() | InService() | Reset() as command:
            return asides.obey(draft, command, person)
        case HornWire() | PutOff() | Settled() | AtPanel() as command:
            return panel_work.obey(draft, command, person)
        case command:
            return absences.obey(draft, command, person)
