"""A person's ways: which channel goes first, which follows, and whether any of them works.

In: a person's channels, what is known of each. Out: sends with the times at which they go. Knows
nothing of alarms and texts. Of a high alarm every way goes at once: a push that a sleeping
telephone takes in silence counts as taken. Of what is less the next way goes after a minute, or as
soon as the one before it has failed; once one way has taken it the others stay quiet.
"""

from collections.abc import Iterable
from dataclasses import replace

from relayd.core.calling.lists import RANK
from relayd.core.conditions import CHANNEL_FAILING
from relayd.core.draft import Draft
from relayd.core.plan import MINUTE, SECOND, Plan, Priority
from relayd.core.state import Notice, NoticeKind, Send, SendState, Stamp

ON_ITS_WAY = frozenset({SendState.OUT, SendState.LEAVING})
NEXT_WAY = MINUTE
"""How long a way may take before the next one goes as well (common practice, no source)."""


def channels_of(plan: Plan, person: str, priority: Priority, about: str = "") -> tuple[str, ...]:
    """The person's channels for that priority, never the one that it is about.

    A person whose channels are all kept for graver alarms is told over the least reserved of them.
    """
    least = {
        name: RANK[plan.least.get(name, Priority.RECORD_ONLY)]
        for name in plan.people[person].channels
        if name != about
    }
    open_ones = tuple(name for name, rank in least.items() if rank <= RANK[priority])
    return open_ones or tuple(sorted(least, key=least.__getitem__)[:1])


def fails(draft: Draft, channel: str) -> bool:
    """Whether this channel did not take what it was last given."""
    return CHANNEL_FAILING in draft.subject(f"channel:{channel}").said


def failed_since(draft: Draft, channel: str) -> Stamp | None:
    """Since when its failing is an alarm; None where it is none."""
    alarm = draft.subject(f"channel:{channel}").alarms.get(CHANNEL_FAILING)
    return alarm.since if alarm is not None and alarm.returned is None else None


def sends(draft: Draft, channels: Iterable[str], priority: Priority) -> tuple[Send, ...]:
    """A send over each of them, in their order, each with the time at which it goes."""
    due, found = draft.now.up, []
    for name in channels:
        found.append(Send(draft.number(), name, due=due))
        if priority is not Priority.HIGH and not fails(draft, name):
            due += NEXT_WAY
    return tuple(found)


def stands_by(send: Send, now: int) -> bool:
    """Whether this send has not been tried, is held by nothing, and its time is still to come."""
    untried = send.state is SendState.OWED and send.tries == 0 and not send.detail
    return untried and send.due is not None and send.due > now


def after_failure(notice: Notice, now: int) -> Notice:
    """The notice with its next way going now, because one before it has failed."""
    waiting = [each for each in notice.sends if stands_by(each, now)]
    if not waiting:
        return notice
    return with_send(notice, replace(min(waiting, key=lambda each: each.due or 0), due=now))


def with_send(notice: Notice, send: Send) -> Notice:
    """The notice with this send in the place of the one of that id."""
    return replace(
        notice, sends=tuple(send if each.id == send.id else each for each in notice.sends)
    )


def behind(draft: Draft, notice: Notice, send: Send) -> int:
    """When a send may go over a channel that fails: one at a time, but a high alarm's call at once.

    Boot time; now where nothing is on its way there. So an outage ends with little under way.
    """
    now = draft.now.up
    call = notice.priority is Priority.HIGH and notice.kind is NoticeKind.RAISED
    if call or not fails(draft, send.channel):
        return now
    under_way = (
        each.due
        for other in draft.notices.values()
        for each in other.sends
        if each.channel == send.channel and each.state in ON_ITS_WAY and each.due is not None
    )
    return max((due + SECOND for due in under_way if due > now), default=now)


def rests(draft: Draft, notice: Notice, send: Send) -> int:
    """When a send may go over a channel whose service asked to be left alone (boot ns).

    A high alarm's call is tried once all the same where every way of that person rests.
    """
    now = draft.now.up
    call = notice.priority is Priority.HIGH and notice.kind is NoticeKind.RAISED
    every = all(draft.rests.get(each.channel, 0) > now for each in notice.sends)
    return now if call and every and not send.tries else draft.rests.get(send.channel, now)


def unreachable(draft: Draft, person: str, priority: Priority) -> bool:
    """Whether none of the ways that would be tried works, as far as it is known."""
    if person not in draft.plan.people:
        return True
    return all(fails(draft, each) for each in channels_of(draft.plan, person, priority))


def missed(notice: Notice) -> bool:
    """Whether every way of this notice has been tried and none has taken it."""
    return all(
        each.tries > 0 and each.last is not None and each.state is not SendState.TAKEN
        for each in notice.sends
    )
