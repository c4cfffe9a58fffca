"""A horn's standing changes: values, and 'not known' with the test that would prove it.

In: a horn, a standing. Out: the horn with it. Knows nothing of contacts.
"""

from dataclasses import replace

from relayd.core.draft import Draft
from relayd.core.state import Horn, HornStanding, Stamp

HORN_WIRE = "horn-wire"
HORN_UNKNOWN = "horn-unknown"
HORN_UNPROVED = "horn-unproved"
PROOF = "not proved until it was heard: press Test at the panel and listen (contact test, step 5)"


def stands(horn: Horn, standing: HornStanding, since: Stamp, why: str, by: str = "") -> Horn:
    """The horn with that standing since then."""
    return replace(horn, standing=standing, since=since, why=why, by=by, reached="")


def unsure(draft: Draft, subject: str, why: str, by: str = "") -> None:
    """Nothing that was known of the horn holds any more, until it is proved again."""
    owner = draft.subject(subject)
    horn = stands(owner.horn, HornStanding.NOT_KNOWN, draft.stamp, f"{why}; {PROOF}", by)
    draft.put(replace(owner, horn=horn))
    draft.record("horn", subject, standing=horn.standing.value, says=horn.why)


def heard_by(draft: Draft, subject: str, person: str) -> None:
    """A person pressed Test and heard the horn: proved by that person's word."""
    owner = draft.subject(subject)
    horn = stands(owner.horn, HornStanding.PROVED, draft.stamp, f"heard by {person}", person)
    draft.put(replace(owner, horn=replace(horn, proved=draft.stamp)))
    draft.record("horn", subject, standing=horn.standing.value, says=horn.why)
