"""Nothing dies silently: what goes wrong is undone, recorded, and told as a fault of relayd.

In: a draft and something to do. Out: the draft with the whole of it or with none of it, and what
went wrong. Knows nothing of what is done. The last word is for a fault in the part that tells of
faults: it takes no other way than the call list.
"""

from collections.abc import Callable
from dataclasses import replace

from relayd.core.calling import callout
from relayd.core.conditions import FAULT
from relayd.core.draft import UNIT, Draft
from relayd.core.findings import Finding
from relayd.core.life import lifecycle
from relayd.core.plan import SECOND
from relayd.core.state import Live, Signal

AFTER_FAULT = 60 * SECOND
"""What went wrong is tried again after that time, and not before."""


def attempt(draft: Draft, where: str, act: Callable[[], object]) -> str:
    """Do it whole or not at all; '' where it was done, else what went wrong, which is recorded."""
    kept = (
        dict(draft.subjects),
        dict(draft.notices),
        list(draft.closed),
        dict(draft.live),
        list(draft.effects),
    )
    try:
        act()
    except Exception as error:  # noqa: BLE001 - one part's fault must not stop the others
        draft.subjects, draft.notices, draft.closed, draft.live, draft.effects = kept
        what = f"{type(error).__name__}: {error}"
        draft.record("fault in relayd", where, what=what)
        return what
    return ""


def note(draft: Draft, where: str, what: str) -> None:
    """Let the unit say that something of relayd itself went wrong."""
    unit = draft.subject(UNIT)
    draft.put(replace(unit, said={**unit.said, FAULT: f"{where}: {what}"}))


def later(draft: Draft, subject: str) -> None:
    """Come to this subject again when a fault's pause is over."""
    live = draft.live.get(subject, Live())
    draft.put_live(subject, replace(live, due=draft.now.up + AFTER_FAULT))


def last_word(draft: Draft, what: str) -> None:
    """Raise the fault and call its list where the unit's own part is what went wrong."""

    def say() -> None:
        found = Finding(Signal.PRESENT, detail=f"{UNIT}: {what}")
        lifecycle.settle(draft, UNIT, None, {FAULT: found})
        callout.climb(draft, UNIT, FAULT)

    note(draft, UNIT, what)
    attempt(draft, UNIT, say)
