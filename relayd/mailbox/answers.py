"""What becomes of a mail: a command for the core, word to the person why not, or a record alone.

In: a `Mail`, the proving of codes. Out: events. A mail of a machine, a mail twice, a code of
nobody's never acts. Who is told of an answer that could not be used is told over the channels of
the plan, seldom, and never by a reply to that mail: so nothing can answer itself for ever.

A sender is easily forged, a code is not. So each good code has a budget of its own: no flood in a
person's name uses up the words that are kept for that person's true answer.
"""

from collections import OrderedDict
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
CODES_KEPT = 500
"""Good codes of which it is remembered how often word was given."""
SUMMED, SUMS = 1000, 10
"""What is not even recorded is counted: a record for so many, and so many such records in an hour."""


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
        self._told_of: OrderedDict[Meant, Budget] = OrderedDict()
        self._recorded, self._sums, self._left_out = Budget(RECORDED), Budget(SUMS), 0

    def take(self, mail: Mail) -> str:
        """The token under which the core answers; '' where the core is asked for nothing."""
        if mail.automatic:
            return self._unused(Unused.AUTOMATIC, mail.automatic)
        if not mail.codes:
            why = "it carries no code of a message"
            return self._unused(Unused.NO_CODE, why, self._by_address(mail))
        meant = self._proving.prove(WAY, mail.sender, mail.codes)
        if isinstance(meant, NotProved):
            if meant.meant is not None:
                return self._of(meant.meant, meant.why, meant.say)
            return self._unused(meant.why, meant.say, self._by_address(mail))
        own = self._senders.get(meant.person, ())
        if own and mail.sender not in own:
            why = "it comes from an address that the plan does not give this person"
            return self._of(meant, Unused.SENDER, why)
        said = understood(mail.line, mail.codes)
        if said is None:
            return self._of(meant, Unused.WORDS, "its first line is no answer that is known")
        return self._ask(meant, said)

    def unreadable(self, why: str) -> None:
        """A mail that could not be taken apart: recorded."""
        self._unused(Unused.UNREADABLE, why)

    def again(self) -> None:
        """A mail that has been read before: recorded."""
        self._unused(Unused.AGAIN, "this very mail was read before")

    def look(self) -> None:
        """Record how many were left out once there is room for that again. Called now and then."""
        if self._left_out and self._recorded.spend(self._now().up):
            self._record(Unused.LEFT_OUT, "as many as said were neither recorded nor told singly")

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

    def _of(self, meant: Meant, why: Unused, say: str) -> str:
        """An answer with a good code; one that has served may have been sent again by anybody."""
        if meant.used:
            return self._unused(why, say, meant.person, meant.occurrence)
        budget = self._told_of.setdefault(meant, Budget(TOLD))
        while len(self._told_of) > CODES_KEPT:
            self._told_of.popitem(last=False)
        return self._within(budget, why, say, meant.person, meant.occurrence)

    def _unused(self, why: Unused, say: str, person: str = "", occurrence: str = "") -> str:
        return self._within(self._told.get(person), why, say, person, occurrence)

    def _within(
        self, budget: Budget | None, why: Unused, say: str, person: str, occurrence: str
    ) -> str:
        """Told where the budget has room, else recorded where there is room for that, else counted."""
        now = self._now().up
        if budget is not None and budget.spend(now):
            self._record(why, say, person, occurrence, budget.spent(now))
        elif self._recorded.spend(now):
            self._record(why, say, "", occurrence)
        else:
            self._left_out += 1
            if self._left_out >= SUMMED and self._sums.spend(now):
                self._record(Unused.LEFT_OUT, f"{SUMMED} and more were not recorded singly")
        return ""

    def _record(
        self, why: Unused, say: str, told: str = "", occurrence: str = "", last: bool = False
    ) -> None:
        left_out, self._left_out = self._left_out, 0
        self._post(AnswerUnused(WAY, why, say, told, occurrence, left_out, last))
