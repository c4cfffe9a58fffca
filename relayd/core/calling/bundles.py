"""Many messages to one person in little time: three by themselves, then one that names them all.

In: notices that are made, time, channels that work again. Out: when a notice goes, and messages
that hold several. Knows nothing of alarms' life cycle. What is told in one message is told as it
stands when that goes; nothing is left out, and nothing is told twice. How much went lately is not
stored: after a start it begins anew.
"""

from collections.abc import Iterable
from dataclasses import replace

from relayd.core.calling import outbox, ways
from relayd.core.calling.lists import RANK
from relayd.core.draft import UNIT, Draft
from relayd.core.plan import MINUTE, SECOND, Priority
from relayd.core.saying import texts
from relayd.core.state import Notice, NoticeKind, SendState, Turns

SINGLES, WITHIN = 3, MINUTE
"""So many messages to one person go by themselves in that time; common practice, no source."""
PAUSE = 30 * SECOND
"""One message that names several goes at most so often."""
GATHER = 2 * SECOND
"""What comes within that time goes together."""
OWED_AT_MOST = 30
"""Messages that are owed to a person over one channel, beside calls of high alarms; our own choice."""


def owe(draft: Draft, notice: Notice) -> None:
    """Owe a notice: it goes at once, or with the next message that names several."""
    now = draft.now.up
    at = _turn(draft, notice.person)
    if at > now:
        later = at - now
        sends = (
            each if each.due is None else replace(each, due=each.due + later)
            for each in notice.sends
        )
        notice = replace(notice, sends=tuple(sends))
    elif notice.kind is not NoticeKind.QUESTION:  # else strangers' mails could make a call wait
        turns = draft.turns.get(notice.person, Turns())
        draft.turns[notice.person] = replace(turns, singles=(*_lately(turns, now), now))
    outbox.keep(draft, notice)


def gather(draft: Draft) -> None:
    """Put together what waits for a person whose turn has come."""
    now = draft.now.up
    due = {
        notice.person: None
        for notice in draft.notices.values()
        if _untried(notice) and notice.made.up < now and _first_due(notice) <= now
    }
    for person in due:
        waiting = [
            each
            for each in draft.notices.values()
            if each.person == person and _untried(each) and each.made.up <= now
        ]
        if len(waiting) > 1:
            _together(draft, person, waiting)
        _went(draft, person, bundled=now)


def bound(draft: Draft) -> None:
    """Where too much is owed over a channel that fails, all of it becomes one message of what is true now.

    Calls of high alarms stay by themselves; of those there is one an alarm and person.
    """
    owed: dict[tuple[str, str], list[Notice]] = {}
    for notice in draft.notices.values():
        if notice.kind is NoticeKind.RAISED and notice.priority is Priority.HIGH:
            continue
        for send in notice.sends:
            if send.state is SendState.OWED and send.tries + bool(send.detail):
                owed.setdefault((notice.person, send.channel), []).append(notice)
    for (person, channel), notices in owed.items():
        if len(notices) > OWED_AT_MOST:
            count = len(notices)
            draft.record("messages folded", UNIT, person=person, channel=channel, count=count)
            _together(draft, person, notices, channel)


def works_again(draft: Draft, channel: str) -> None:
    """After an outage of a channel: what it still owes goes in one message, as it now stands."""
    owed: dict[str, list[Notice]] = {}
    for notice in list(draft.notices.values()):
        outbox.hurry(draft, notice.id, channel)
    for notice in draft.notices.values():
        if any(each.channel == channel and each.state is SendState.OWED for each in notice.sends):
            owed.setdefault(notice.person, []).append(notice)
    for person, notices in owed.items():
        # One that names several may be older than what has just come: it is told as it now stands.
        if len(notices) > 1 or notices[0].about or notices[0].beside:
            _together(draft, person, notices, channel)
            _went(draft, person, bundled=draft.now.up)


def _turn(draft: Draft, person: str) -> int:
    """When the next message to that person goes (boot ns)."""
    now, turns = draft.now.up, draft.turns.get(person, Turns())
    waiting = [
        _first_due(each)
        for each in draft.notices.values()
        if each.person == person and _untried(each) and not _held(each) and _first_due(each) > now
    ]
    if waiting:
        return min(waiting)
    if len(_lately(turns, now)) < SINGLES:
        return now
    return max(now + GATHER, turns.bundled + PAUSE if turns.bundled is not None else 0)


def _lately(turns: Turns, now: int) -> tuple[int, ...]:
    """When messages last went by themselves, within the time that counts."""
    return tuple(each for each in turns.singles if each > now - WITHIN)


def _went(draft: Draft, person: str, bundled: int) -> None:
    draft.turns[person] = replace(draft.turns.get(person, Turns()), bundled=bundled)


def _untried(notice: Notice) -> bool:
    """Whether it has sends, and none of them has been tried."""
    return bool(notice.sends) and all(
        each.state is SendState.OWED and each.tries == 0 for each in notice.sends
    )


def _held(notice: Notice) -> bool:
    """Whether a channel's limit or its failing holds it: nothing else waits for that."""
    return any(each.detail for each in notice.sends)


def _first_due(notice: Notice) -> int:
    return min((each.due for each in notice.sends if each.due is not None), default=notice.made.up)


def _together(draft: Draft, person: str, notices: Iterable[Notice], channel: str = "") -> None:
    """One message of these; `channel` where it is about what that one way still owes."""
    found = sorted(notices, key=lambda each: (-RANK[each.priority], each.made.up, each.id))
    gravest = found[0].priority
    since = ways.failed_since(draft, channel) if channel else None
    text = texts.bundle(
        draft.plan, draft.subjects, tuple(found), person, draft.now, draft.ref, since
    )
    number = draft.number()
    only = frozenset({channel}) if channel else None
    for each in found:
        outbox.withdraw(draft, each, f"told with others in {draft.ref(number)}", only)
    channels = (channel,) if channel else ways.channels_of(draft.plan, person, gravest)
    outbox.keep(
        draft,
        Notice(
            id=number,
            subject=UNIT,
            condition="",
            occurrence=0,
            person=person,
            kind=NoticeKind.DIGEST,
            priority=gravest,
            title=text.title,
            short=text.short,
            long=text.long,
            made=draft.stamp,
            sends=ways.sends(draft, channels, gravest),
            about=texts.alarms_of(tuple(found)),
            beside=texts.others_of(tuple(found)),
        ),
    )
