"""What is owed to whom: notices, and their sends until a service took them.

In: notices made by the call-out, outcomes of sends. Out: `Tell` and `Withdraw`.
Knows nothing of alarms' life cycle. A send keeps its id through every repeat; what is owed is in
the state before it is handed out, so that a crash repeats a send and never forgets one.
"""

from dataclasses import replace

from relayd.core.calling import allowance, ways
from relayd.core.conditions import CHANNEL_FAILING
from relayd.core.draft import Draft
from relayd.core.effects import OVER, Tell, Withdraw
from relayd.core.events import Outcome, Sent
from relayd.core.plan import HOUR, MINUTE, SECOND
from relayd.core.saying import replying, texts
from relayd.core.state import Notice, NoticeKind, Send, SendState

ANSWER_WAIT = 60 * SECOND
"""A send that the sender has not answered by then is taken as failed and tried again."""
FIRST_RETRY, LONGEST_RETRY = 5 * SECOND, 5 * MINUTE
GIVE_UP = 24 * HOUR
LASTING = frozenset({NoticeKind.RAISED, NoticeKind.DIGEST})
"""Kinds that may name an alarm that still stands: they are never given up."""
ONE_BY_ONE = "the channel fails: one message at a time"
LIMITED = "the limit of this channel is used up"
RESTS = "the service asked to be left alone for a while"
OPEN = frozenset({SendState.OWED, SendState.OUT, SendState.LEAVING})


def retry_after(send: Send) -> int:
    """Back-off after `send.tries` tries, in ns: 5 s doubled up to 5 min, less up to a fifth by its id."""
    whole = min(LONGEST_RETRY, FIRST_RETRY << min(max(send.tries - 1, 0), 10))
    return whole - whole * (send.id * 2654435761 % 1000) // 5000


def keep(draft: Draft, notice: Notice) -> None:
    """Owe this notice: its sends go out in this same step; older ones of its kind are withdrawn."""
    for older in list(draft.notices.values()):
        same = (older.occurrence, older.person) == (notice.occurrence, notice.person)
        if same and notice.occurrence and older.kind is not NoticeKind.STAND_DOWN:
            withdraw(draft, older, "a newer notice says what is true now")
    draft.put_notice(notice)
    draft.record(
        "notice made",
        notice.subject,
        notice=draft.ref(notice.id),
        person=notice.person,
        why=notice.kind.value,
        condition=notice.condition,
        channels=[send.channel for send in notice.sends],
    )
    if not notice.sends:
        draft.record("no way to tell", notice.subject, person=notice.person)
        draft.close_notice(notice.id)
    hand_out(draft, notice.id)


def withdraw(draft: Draft, notice: Notice, why: str, only: frozenset[str] | None = None) -> None:
    """Take back what has not been taken yet; what is on its way is waited for, and not repeated.

    `only` names the channels that are meant, where not all are.
    """
    for send in notice.sends:
        if only is not None and send.channel not in only:
            continue
        if send.state is SendState.OWED:
            notice = ways.with_send(
                notice, replace(send, state=SendState.WITHDRAWN, due=None, detail=why)
            )
        elif send.state is SendState.OUT:
            draft.effects.append(Withdraw(send.id))
            notice = ways.with_send(notice, replace(send, state=SendState.LEAVING, detail=why))
        else:
            continue
        draft.record(
            "send withdrawn",
            notice.subject,
            notice=draft.ref(notice.id),
            channel=send.channel,
            why=why,
        )
    draft.put_notice(notice)
    _close_if_done(draft, notice.id)


def withdraw_occurrence(draft: Draft, occurrence: int, why: str) -> None:
    """Take back every open notice of an occurrence."""
    for notice in list(draft.notices.values()):
        if notice.occurrence == occurrence:
            withdraw(draft, notice, why)


def hand_out(draft: Draft, notice_id: int) -> None:
    """Hand out what of it is owed and due; take what the sender never answered as failed."""
    notice = draft.notices.get(notice_id)
    for send in notice.sends if notice else ():
        if send.due is None or send.due > draft.now.up:
            continue
        if send.state in ways.ON_ITS_WAY:
            _failed(draft, notice_id, send, Outcome.FAILED, "no answer from the sender")
        elif notice is not None and (at := allowance.may_go(draft, notice, send)) > draft.now.up:
            _wait(draft, notice_id, send, at, LIMITED)
        elif notice is not None and (at := ways.rests(draft, notice, send)) > draft.now.up:
            _wait(draft, notice_id, send, at, RESTS)
        elif notice is not None and (at := ways.behind(draft, notice, send)) > draft.now.up:
            draft.put_notice(
                ways.with_send(draft.notices[notice_id], replace(send, due=at, detail=ONE_BY_ONE))
            )
        else:
            _hand(draft, notice_id, send)


def due_now(draft: Draft) -> list[int]:
    """The notices of which something is to be handed out, or has waited long enough, now."""
    now = draft.now.up
    return [
        key
        for key, notice in draft.notices.items()
        if any(each.due is not None and each.due <= now for each in notice.sends)
    ]


def hurry(draft: Draft, notice_id: int, channel: str) -> None:
    """What this channel still owes of a notice goes now; what is lost on its way, soon again."""
    for send in draft.notices[notice_id].sends:
        if send.channel != channel:
            continue
        if send.state is SendState.OWED:
            draft.put_notice(
                ways.with_send(draft.notices[notice_id], replace(send, due=draft.now.up))
            )
        elif send.state is SendState.OUT:
            draft.put_notice(ways.with_send(draft.notices[notice_id], replace(send, tries=1)))


def put_off(draft: Draft, notice_id: int, pause: int) -> None:
    """Nothing of this notice is tried again before the pause is over."""
    notice, again = draft.notices.get(notice_id), draft.now.up + pause
    if notice is not None:
        sends = (
            each if each.due is None else replace(each, due=max(each.due, again))
            for each in notice.sends
        )
        draft.put_notice(replace(notice, sends=tuple(sends)))


def sent(draft: Draft, event: Sent) -> None:
    """Take the outcome of a send; one that nobody waits for is recorded and changes nothing."""
    for notice in draft.notices.values():
        for send in notice.sends:
            if send.id == event.send:
                if event.outcome is Outcome.TAKEN:
                    _taken(draft, notice.id, send, event.detail)
                elif send.state in ways.ON_ITS_WAY:
                    _rest(draft, send.channel, event.again)
                    _failed(draft, notice.id, send, event.outcome, event.detail)
                return
    draft.record("late outcome", "unit", send=event.send, outcome=event.outcome.value)


def due(draft: Draft) -> int | None:
    """When the next send is to be tried or given up waiting for."""
    times = [send.due for notice in draft.notices.values() for send in notice.sends]
    return min((each for each in times if each is not None), default=None)


def owed_again(draft: Draft, notice_id: int) -> None:
    """After a start: what was out may never have left, so it is owed, under its old id.

    An open notice has a send that is not done; where none is left, it goes again over every way.
    """
    notice = draft.notices.get(notice_id)
    if notice is not None and not any(each.state in OPEN for each in notice.sends):
        about = notice.subject.removeprefix("channel:")
        channels = ways.channels_of(draft.plan, notice.person, notice.priority, about)
        notice = replace(notice, sends=ways.sends(draft, channels, notice.priority))
        draft.record("sends lost", notice.subject, notice=draft.ref(notice.id))
    if notice is not None:
        sends = tuple(_again(send, draft.now.up) for send in notice.sends)
        draft.put_notice(replace(notice, sends=sends))
        _close_if_done(draft, notice_id)


def _again(send: Send, now: int) -> Send:
    if send.state is SendState.LEAVING:
        return replace(send, state=SendState.WITHDRAWN, due=None)
    if ways.stands_by(send, now):
        return send
    return replace(send, state=SendState.OWED, due=now) if send.state in OPEN else send


def _close_if_done(draft: Draft, notice_id: int) -> None:
    notice = draft.notices.get(notice_id)
    if notice is not None and not any(each.state in OPEN for each in notice.sends):
        draft.close_notice(notice_id)


def _wait(draft: Draft, notice_id: int, send: Send, until: int, why: str) -> None:
    """Its channel takes nothing now: it goes when it does, with what waits beside it."""
    notice = draft.notices[notice_id]
    if send.detail != why:
        draft.record(
            "send waits",
            notice.subject,
            notice=draft.ref(notice.id),
            channel=send.channel,
            why=why,
        )
    draft.put_notice(ways.with_send(notice, replace(send, due=until, detail=why)))


def _hand(draft: Draft, notice_id: int, send: Send) -> None:
    notice = _as_it_stands(draft, draft.notices[notice_id], send.channel)
    out = replace(send, state=SendState.OUT, tries=send.tries + 1, due=draft.now.up + ANSWER_WAIT)
    draft.put_notice(ways.with_send(notice, out))
    allowance.gave(draft, send.channel)
    ref = draft.ref(notice.id)
    body = replying.body(draft.plan, notice, send.channel, ref)
    over = notice.kind is NoticeKind.STAND_DOWN
    urgency = OVER if over else notice.priority.value
    about = (draft.ref(notice.occurrence), notice.person) if replying.CODE in body else ()
    draft.effects.append(Tell(send.id, ref, send.channel, notice.title, body, urgency, *about))


def _as_it_stands(draft: Draft, notice: Notice, channel: str) -> Notice:
    """One that names several, and has waited, says what is true now; its number stays."""
    several = notice.about or notice.beside
    if not several or notice.made.up >= draft.now.up:
        return notice
    since = ways.failed_since(draft, channel)
    text = texts.bundle(
        draft.plan, draft.subjects, (notice,), notice.person, draft.now, draft.ref, since
    )
    return replace(notice, title=text.title, short=text.short, long=text.long)


def _taken(draft: Draft, notice_id: int, send: Send, detail: str) -> None:
    notice = ways.with_send(
        draft.notices[notice_id],
        replace(send, state=SendState.TAKEN, due=None, last=Outcome.TAKEN, detail=detail),
    )
    draft.put_notice(notice)
    draft.record(
        "send taken",
        notice.subject,
        notice=draft.ref(notice.id),
        channel=send.channel,
        tries=send.tries,
    )
    draft.rests.pop(send.channel, None)
    _channel(draft, send.channel, "")
    _others_rest(draft, notice)
    _close_if_done(draft, notice_id)


def _others_rest(draft: Draft, notice: Notice) -> None:
    """One way has taken it: those that have only stood by are not needed."""
    waiting = [each for each in notice.sends if ways.stands_by(each, draft.now.up)]
    if waiting:
        only = frozenset(each.channel for each in waiting)
        withdraw(draft, notice, "another way has taken it", only)


def _failed(draft: Draft, notice_id: int, send: Send, outcome: Outcome, detail: str) -> None:
    notice = draft.notices[notice_id]
    stale = draft.now.up - notice.made.up > GIVE_UP and notice.kind not in LASTING
    last = stale or send.state is SendState.LEAVING
    state = SendState.WITHDRAWN if last else SendState.OWED
    again = max(draft.now.up + retry_after(send), draft.rests.get(send.channel, 0))
    due_at = None if last else again
    after = replace(send, state=state, due=due_at, last=outcome, detail=detail)
    before = ways.missed(notice)
    notice = ways.after_failure(ways.with_send(notice, after), draft.now.up)
    draft.put_notice(notice)
    if ways.missed(notice) and not before:
        draft.missed.append(notice)
    draft.record(
        "send given up" if last else "send failed",
        notice.subject,
        notice=draft.ref(notice.id),
        channel=send.channel,
        tries=send.tries,
        outcome=outcome.value,
        detail=detail,
    )
    _channel(draft, send.channel, detail or outcome.value)
    _close_if_done(draft, notice_id)


def _rest(draft: Draft, channel: str, asked: int) -> None:
    """The service asked to be left alone for a time: so it is, for five minutes at the most."""
    if asked > 0:
        draft.rests[channel] = draft.now.up + min(asked, LONGEST_RETRY)


def _channel(draft: Draft, channel: str, why: str) -> None:
    """Remember whether this channel takes what it is given: a failing one is an alarm of its own."""
    subject = draft.subject(f"channel:{channel}")
    said = dict(subject.said)
    if not why and CHANNEL_FAILING in said:
        draft.works.append(channel)
    if why:
        said[CHANNEL_FAILING] = why
    else:
        said.pop(CHANNEL_FAILING, None)
    draft.put(replace(subject, said=said))
