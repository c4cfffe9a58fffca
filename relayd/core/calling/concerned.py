"""Who is in the middle of it: whoever has something of this panel, and who was called to it lately.

In: a panel's memory of its calls, time. Out: persons beside those of a call list's first step.
Knows nothing of notices. Who drives to a tank must hear what else goes wrong there, at whatever
step of the list that person stands (common practice, no source).
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.calling import duty, hours
from relayd.core.draft import Draft
from relayd.core.events import Now
from relayd.core.plan import HOUR, Plan, Priority
from relayd.core.state import Away, Subject

LATELY = 2 * HOUR
"""Who was called to a panel within that time is taken to be busy with it."""


def called(draft: Draft, subject: str, person: str) -> None:
    """Remember that this person was called for an alarm of this panel."""
    if subject.startswith("panel:"):
        owner, now = draft.subject(subject), draft.now.up
        kept = {name: at for name, at in owner.called.items() if at > now - LATELY}
        draft.put(replace(owner, called={**kept, person: now}))


def promised(draft: Draft, subject: str, person: str, until: int) -> None:
    """Remember until when this person has something of this panel."""
    if subject.startswith("panel:"):
        owner = draft.subject(subject)
        kept = {name: at for name, at in owner.promised.items() if at > draft.now.up}
        draft.put(replace(owner, promised={**kept, person: until}))


def has_something(owner: Subject, now: int) -> tuple[str, ...]:
    """Who has something of this panel until a time that is still to come."""
    return tuple(person for person, until in owner.promised.items() if until > now)


def beside(
    plan: Plan, owner: Subject, away: Mapping[str, Away], priority: Priority, now: Now
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Who hears of a new alarm before its list's first step, and who right after it.

    High: whoever has something there, then who was called lately. Medium: whoever has something
    there at any hour, the others within their hours. Of what is lower nobody hears beside the list.
    """
    if priority not in (Priority.HIGH, Priority.MEDIUM):
        return (), ()
    busy = has_something(owner, now.up)
    lately = (
        person
        for person, at in owner.called.items()
        if at > now.up - LATELY
        and person not in busy
        and not duty.is_away(away, person, now)
        and hours.may_tell(plan, person, priority, now) <= now.up
    )
    return busy, tuple(lately)
