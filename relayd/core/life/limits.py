"""What a person may put aside, and for how long: the refusals of shelving and out of service.

In: an alarm, a person's wish, the plan. Out: a `Refused`, or None where it is allowed. Changes
nothing. The limits are the trade's and the house's; no standard sets them.
"""

from dataclasses import replace

from relayd.core.calling.lists import panel_of
from relayd.core.conditions import (
    CHANNEL_FAILING,
    LEVEL_ALARMS,
    base_of,
    character,
    of_panel,
    of_unit,
)
from relayd.core.draft import UNIT, Draft
from relayd.core.life.alarm import ACTIVE
from relayd.core.life.urgency import priority
from relayd.core.plan import DAY, HOUR, Priority
from relayd.core.refusal import Refused
from relayd.core.saying.when import lasted
from relayd.core.state import Process

LONGEST_SHELF, LONGEST_HIGH_SHELF, LONGEST_OUT = 24 * HOUR, 4 * HOUR, 30 * DAY
SHELF_SAYS = "an alarm is paused for 24 h at most: give an end within 24 h"
HIGH_SAYS = "an alarm of high priority is paused for 4 h at most: give an end within 4 h"
OUT_SAYS = "nothing is out of service for more than 30 days: give an end within 30 days"


def no_shelf(draft: Draft, subject: str, condition: str, person: str, until: int) -> Refused | None:
    """Why this person may not put this alarm aside until then."""
    refused = _unknown(draft, subject, condition) or _unseen(draft, subject, condition)
    if refused is not None:
        return refused
    if _priority(draft, subject, condition) is not Priority.HIGH:
        return _bad_end(draft, until, LONGEST_SHELF, SHELF_SAYS)
    who = draft.plan.people.get(person)
    if who is None or not who.responds:
        return Refused(
            "not-allowed",
            "an alarm of high priority is paused only by those who are marked as responding",
        )
    end = _bad_end(draft, until, LONGEST_HIGH_SHELF, HIGH_SAYS)
    return end or _beyond_reserve(draft, subject, condition, until)


def no_service(draft: Draft, subject: str, condition: str, until: int) -> Refused | None:
    """Why this alarm ('' = the whole panel) may not be taken out of service until then."""
    refused = _unknown(draft, subject, condition) if condition else None
    end = _bad_end(draft, until, LONGEST_OUT, OUT_SAYS)
    return refused or end or _unseen(draft, subject, condition)


def _unknown(draft: Draft, subject: str, condition: str) -> Refused | None:
    panel = panel_of(draft.plan, subject)
    if panel is not None:
        known = of_panel(panel)
    else:
        known = of_unit(draft.plan) if subject == UNIT else (CHANNEL_FAILING,)
    if condition in known:
        return None
    say = f"there is no '{condition}' here; there are: {', '.join(known)}"
    return Refused("unknown-condition", say)


def _bad_end(draft: Draft, until: int, longest: int, say: str) -> Refused | None:
    if until <= draft.now.up:
        return Refused("bad-time", "that time is over: give one that is still to come")
    return Refused("too-long", say) if until > draft.now.up + longest else None


def _unseen(draft: Draft, subject: str, condition: str) -> Refused | None:
    """An alarm about water that nobody has acknowledged is not put aside."""
    for name, alarm in draft.subject(subject).alarms.items():
        meant = not condition or name == condition
        if meant and base_of(name) in LEVEL_ALARMS and alarm.process is Process.UNACK:
            return Refused("unseen", f"nobody has acknowledged {name} yet: acknowledge it first")
    return None


def _beyond_reserve(draft: Draft, subject: str, condition: str, until: int) -> Refused | None:
    """The reserve counts from the alarm that stands, else from now."""
    panel = panel_of(draft.plan, subject)
    if panel is None or panel.reserve is None:
        return None
    alarm = draft.subject(subject).alarms.get(condition)
    stands = alarm is not None and alarm.process in ACTIVE and alarm.raised is not None
    began = alarm.raised.up if stands and alarm and alarm.raised else draft.now.up
    if until <= began + panel.reserve:
        return None
    left = began + panel.reserve - draft.now.up
    if left <= 0:
        return Refused("beyond-reserve", "the basin's declared reserve is used up: it stays on")
    return Refused("beyond-reserve", f"the basin's declared reserve ends in {lasted(left)}")


def _priority(draft: Draft, subject: str, condition: str) -> Priority:
    """The priority of the alarm that stands, else the one it would have; never the night's lesser."""
    alarm = draft.subject(subject).alarms.get(condition)
    by_night = character(condition).night is not None
    if alarm is not None and alarm.process in ACTIVE and not by_night:
        return alarm.priority
    day = replace(draft.now, trusted=False)
    return priority(draft.plan, panel_of(draft.plan, subject), condition, None, day.up, day)
