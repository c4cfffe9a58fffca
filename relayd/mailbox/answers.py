"""What becomes of a mail: a command for the core, word to the person why not, or a record alone.

In: a `Mail`, the proving of codes. Out: events. A mail of a machine, a mail twice, a code of
nobody's never acts. Who is told of an answer that could not be used is told over the channels of
the plan, seldom, and never by a reply to that mail: so nothing can answer itself for ever.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from relayd.answering.codes import Meant
from relayd.answering.limits import Budget
from relayd.answering.proving import NotProved, Proving
from relayd.answering.words import Said, understood
from relayd.core.calling import hours
from relayd.core.events import (
    Acknowledge,
    Act,
    AnswerUnused,
    Commanded,
    Event,
    Now,
    Unused,
)
from relayd.core.plan import Plan
from relayd.mailbox.mail import Mail

WAY = "mailbox"
TOLD, RECORDED = 3, 30
"""Words to one person about answers that could not be used, and records of such, in an hour."""


@dataclass(frozen=True, slots=True)
class _Asked:
    """What was asked of the core, until it answers."""

    meant: Meant
    act: Act


class Answers:
    """Used by the keeper's thread; `answered` by the daemon's."""

    def __init__(
        self,
        plan: Plan,
        senders: Mapping[str, tuple[str, ...]],
        proving: Proving,
        post: Callable[[Event], None],
        now: Callable[[], Now],
    ) -> None:
        """`senders`: person -> the addresses from which that person's answers come; any where none."""
        self.plan, self._senders, self._proving = plan, senders, proving
        self._post, self._now = post, now
        self._asked: dict[str, _Asked] = {}
        self._number = 0
        self._told = {person: Budget(TOLD) for person in plan.people}
        self._recorded, self._left_out = Budget(RECORDED), 0

    def take(self, mail: Mail) -> str:
        """The token under which the core answers; '' where the core is asked for nothing."""
        if mail.automatic:
            return self._unused(Unused.AUTOMATIC, mail.automatic)
        if not mail.codes:
            why = "it carries no code of a message"
            return self._unused(Unused.NO_CODE, why, self._by_address(mail))
        meant = self._proving.prove(WAY, mail.sender, mail.codes)
        if isinstance(meant, NotProved):
            return self._unused(meant.why, meant.say, self._by_address(mail))
        own = self._senders.get(meant.person, ())
        if own and mail.sender not in own:
            why = "it comes from an address that the plan does not give this person"
            return self._unused(Unused.SENDER, why, meant.person, meant.occurrence)
        said = understood(mail.line, mail.codes)
        if said is None:
            why = "its first line is no answer that is known"
            return self._unused(Unused.WORDS, why, meant.person, meant.occurrence)
        return self._ask(meant, said)

    def unreadable(self, why: str) -> None:
        """A mail that could not be taken apart: recorded."""
        self._unused(Unused.UNREADABLE, why)

    def again(self) -> None:
        """A mail that has been read before: recorded."""
        self._unused(Unused.AGAIN, "this very mail was read before")

    def answered(self, token: str, done: bool) -> None:
        """The core has done it or not; what it refused may be asked again with the same code."""
        asked = self._asked.pop(token, None)
        if asked is not None and not done:
            self._proving.give_back(asked.meant, asked.act)

    def _ask(self, meant: Meant, said: Said) -> str:
        person = self.plan.people[meant.person]
        act = said.act or (Act.TAKEN if person.responds else Act.SEEN)
        if wrong := self._proving.serve(meant, act):
            return self._unused(wrong.why, wrong.say, meant.person, meant.occurrence)
        self._number += 1
        token = f"{WAY}:{self._number}"
        self._asked[token] = _Asked(meant, act)
        until = None if said.clock is None else self._until(said.clock)
        command = Acknowledge(meant.occurrence, None, act, until, said.within)
        self._post(Commanded(token, command, meant.person, WAY))
        return token

    def _until(self, clock: int) -> int:
        """The next instant at which the site's clocks show that time of day."""
        now = self._now()
        return now.wall + hours.next_at(self.plan, clock, 0, now) - now.up

    def _by_address(self, mail: Mail) -> str:
        """Whose address it comes from: no proof, but good enough to tell that person over a channel."""
        return next((who for who, own in self._senders.items() if mail.sender in own), "")

    def _unused(self, why: Unused, say: str, person: str = "", occurrence: str = "") -> str:
        now = self._now().up
        told = person if person and self._told[person].spend(now) else ""
        if told or self._recorded.spend(now):
            left_out, self._left_out = self._left_out, 0
            self._post(AnswerUnused(WAY, why, say, told, occurrence, left_out))
        else:
            self._left_out += 1
        return ""
