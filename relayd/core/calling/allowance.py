"""How much a service takes: a channel with a limit is given no more than that.

In: the plan's limit of a channel, when it was last given something. Out: when a send may go. Knows
nothing of texts. A quarter of the limit, and at least one where it is two or more, is kept for what
tells of a high alarm. A limit is no reason for silence: where all of it is used up, what tells of a
high alarm still goes, once a minute. What was given is not stored: after a start it begins anew.
"""

from collections.abc import Sequence

from relayd.core.draft import Draft
from relayd.core.plan import MINUTE, Limit, Priority
from relayd.core.state import Notice, NoticeKind, Send

ABOVE = MINUTE
"""So often a high alarm's message goes where the limit is used up (our own choice, no source)."""
CALLS = frozenset({NoticeKind.RAISED, NoticeKind.DIGEST})
"""Kinds of notices that may tell a person of a high alarm for the first time."""


def may_go(draft: Draft, notice: Notice, send: Send) -> int:
    """Boot time from which this send may go over its channel; now where nothing holds it."""
    limit = draft.plan.at_most.get(send.channel)
    if limit is None:
        return draft.now.up
    given = _given(draft, send.channel, limit)
    if notice.priority is not Priority.HIGH or notice.kind not in CALLS:
        return _free(given, limit.count - kept(limit), limit.span, draft.now.up)
    soonest = _free(given, limit.count, limit.span, draft.now.up)
    return min(soonest, given[-1] + ABOVE) if given else soonest


def gave(draft: Draft, channel: str) -> None:
    """The channel is given something now."""
    limit = draft.plan.at_most.get(channel)
    if limit is not None:
        given = (*_given(draft, channel, limit), draft.now.up)
        draft.handed[channel] = given[-limit.count :]


def kept(limit: Limit) -> int:
    """How many of the limit are kept for high alarms."""
    return max(limit.count // 4, 1) if limit.count > 1 else 0


def _given(draft: Draft, channel: str, limit: Limit) -> tuple[int, ...]:
    """When it was given something within the limit's time, the newest last."""
    begins = draft.now.up - limit.span
    return tuple(each for each in draft.handed.get(channel, ()) if each > begins)


def _free(given: Sequence[int], room: int, span: int, now: int) -> int:
    """When fewer than `room` of these lie within the last `span`."""
    return now if len(given) < room else given[-room] + span
