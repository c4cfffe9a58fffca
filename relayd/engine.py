"""One turn of the alarm path: step, commit, then act; and never wait for ever.

In: events with the time of each. Out: what the core asked for, done after it was committed. Knows
the core and the shapes of what is around it, and no library. The daemon drives it with the real
clock, tests with their own.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from relayd.core.draft import UNIT
from relayd.core.effects import Answer, Effect, Publish, Record, Tell, Withdraw
from relayd.core.events import Event, JournalJudged, Now, Sent
from relayd.core.machine import Outcome, step
from relayd.core.plan import Plan
from relayd.core.state import State

COMMIT_WAIT = 1.2
"""Seconds the loop waits for the disk before it acts from memory; a notice is never later than 2 s."""


class Remembers(Protocol):
    """The journal, as far as a turn needs it."""

    def commit(
        self, old: State, new: State, records: Sequence[Record], now: Now, wait: float
    ) -> bool:
        """Remember the difference; False where it was not on the disk within `wait` seconds."""

    def late(self) -> str:
        """Why what was asked for is not on the disk yet; '' while it is."""


class Tells(Protocol):
    """The way to the message services."""

    def tell(self, tell: Tell) -> None:
        """Hand out one send; never blocks."""

    def withdraw(self, send: int) -> None:
        """Take a send back if it has not left."""

    def settled(self, send: int) -> None:
        """What became of a send is remembered, or need not be. Never blocks."""


class Engine:
    """The state and what is done about it. Used by one thread."""

    def __init__(
        self,
        plan: Plan,
        state: State,
        journal: Remembers,
        sender: Tells,
        now: Callable[[], Now],
        boundary: Callable[[str], None] = lambda _name: None,
    ) -> None:
        self.plan = plan
        self.state = state
        self.due: int | None = None
        self.answer: Callable[[Answer], None] = lambda _answer: None
        self.published: Callable[[Sequence[str]], None] = lambda _subjects: None
        self.shown: Callable[[Mapping[str, object]], None] = lambda _line: None
        self._journal, self._sender = journal, sender
        self._now, self._boundary = now, boundary
        self._late = False

    def turn(self, event: Event) -> JournalJudged | None:
        """Take one event; what the disk's behaviour then says of the journal, if that is news."""
        now = self._now()
        self._boundary("event taken")
        outcome = step(self.plan, self.state, event, now)
        before, self.state, self.due = self.state, outcome.state, outcome.due
        self._boundary("stepped")
        in_time = self._commit(before, outcome, now)
        self._boundary("committed")
        for effect in outcome.effects:
            self._act(effect)
            if not isinstance(effect, Publish):
                self._boundary(f"{type(effect).__name__} done")
        if isinstance(event, Sent):
            self._sender.settled(event.send)
        changed = [effect.subject for effect in outcome.effects if isinstance(effect, Publish)]
        if self.state.notices is not before.notices and UNIT not in changed:
            changed.append(UNIT)  # it counts the messages that wait
        if changed:
            self.published(changed)
        for effect in outcome.effects:  # last: nobody waits for a line of the log
            self._tell_of(effect)
        return self._judged(in_time)

    def judge_journal(self) -> JournalJudged | None:
        """Whether the journal caught up (or fell behind) since the last turn, if that is news."""
        return self._judged(not self._journal.late())

    def _commit(self, before: State, outcome: Outcome, now: Now) -> bool:
        records = [each for each in outcome.effects if isinstance(each, Record)]
        after = outcome.state
        same = after.subjects is before.subjects and after.notices is before.notices
        if same and not records and not after.closed and after.boot == before.boot:
            return True
        return self._journal.commit(before, after, records, now, COMMIT_WAIT)

    def _act(self, effect: Effect) -> None:
        if isinstance(effect, Tell):
            self._sender.tell(effect)
        elif isinstance(effect, Withdraw):
            self._sender.withdraw(effect.send)
        elif isinstance(effect, Answer):
            self.answer(effect)

    def _tell_of(self, effect: Effect) -> None:
        if isinstance(effect, Tell):
            self.shown(
                {
                    "what": "send",
                    "ref": effect.ref,
                    "channel": effect.channel,
                    "title": effect.title,
                }
            )
        elif isinstance(effect, Record):
            self.shown({"what": effect.kind, "subject": effect.subject, **effect.body})

    def _judged(self, in_time: bool) -> JournalJudged | None:
        if in_time and self._late and not self._journal.late():
            self._late = False
            return JournalJudged(False)
        if not in_time and not self._late:
            self._late = True
            return JournalJudged(True, self._journal.late() or "the disk does not answer in time")
        return None
