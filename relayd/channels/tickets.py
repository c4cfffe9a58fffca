"""Who may ask by broker, and only once: the ticket in force and the commands that were accepted.

In: payloads as they come. Out: what to post, or a refusal; later the body of the answer.
The ticket guards against what is old, not against an enemy: whoever may read the tree sees it.
"""

import secrets
from collections import OrderedDict
from dataclasses import replace

from relayd.answering.codes import Meant
from relayd.answering.proving import Proving
from relayd.channels import command
from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, Commanded, HornWire
from relayd.core.plan import Plan

WAY = "mqtt"
LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
"""No letter that is mistaken for a digit or for another one: people type it."""
LENGTH = 8
REMEMBERED = 64
"""Commands whose answer is still to come; an older one is answered without its names."""


class Tickets:
    """The ticket, made anew at every connection and after every accepted command.

    Used by paho's thread; the teller's only reads.
    """

    def __init__(self, plan: Plan, way: str = WAY, proving: Proving | None = None) -> None:
        """`way` is what the broker is called by which the commands come; `proving` knows codes."""
        self._plan, self._way, self._proving = plan, way, proving
        self._coded: dict[str, tuple[Meant, Act]] = {}
        self._accepted = 0
        self._asked: OrderedDict[str, command.Asked] = OrderedDict()
        self.current = ""
        self.renew()

    def renew(self) -> None:
        """Make every command that was written before worthless."""
        self.current = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))

    def take(
        self, payload: bytes, retained: bool, kind: str = command.ACKNOWLEDGE
    ) -> Commanded | Answer:
        """The command of that kind to post, or the answer that refuses it."""
        asked = command.read(payload, retained, self.current, self._plan, kind)
        coded = self._proved(asked) if isinstance(asked, command.Asked) and asked.code else None
        asked = asked if coded is None else coded[0]
        if isinstance(asked, command.Refused):
            return Answer(f"{self._way}:0", False, asked.code, asked.say)
        self.renew()
        self._accepted += 1
        token = f"{self._way}:{self._accepted}"
        self._asked[token] = asked
        if coded is not None and coded[1] is not None:
            self._coded[token] = coded[1]
        if len(self._asked) > REMEMBERED:
            self._asked.popitem(last=False)
        return Commanded(token, asked.command, asked.person, self._way)

    def _proved(
        self, asked: command.Asked
    ) -> tuple[command.Asked | command.Refused, tuple[Meant, Act] | None]:
        """The command with what its code names, and what has served; or why it proves nothing."""
        given = asked.command
        if self._proving is None or not isinstance(given, Acknowledge):
            return command.Refused("no-codes", "no message of this unit carries a code"), None
        # A broker does not tell who sends: there is no sender who could be shut alone.
        found = self._proving.prove(WAY, "", [asked.code])
        if isinstance(found, Meant):
            person = self._plan.people[found.person]
            act = given.act or (Act.TAKEN if person.responds else Act.SEEN)
            wrong = self._proving.serve(found, act)
            if wrong is None:
                named = replace(given, occurrence=found.occurrence, act=act)
                return command.Asked(named, found.person), (found, act)
            found = wrong
        return command.Refused(found.why.value, found.say), None

    def gave(self, token: str) -> bool:
        """Whether the command of this token came by this way."""
        return token.rpartition(":")[0] == self._way

    def answered(self, answer: Answer) -> None:
        """The core has answered: a code whose act was refused may serve again. The daemon's thread."""
        coded = self._coded.pop(answer.token, None)
        if coded is not None and not answer.ok and self._proving is not None:
            self._proving.give_back(*coded)

    def body(self, answer: Answer) -> dict[str, object]:
        """The answer as it is published: the outcome, what it answers, and the ticket to use next."""
        body = {**answer.body, "ok": answer.ok, "code": answer.code, "say": answer.say}
        asked = self._asked.get(answer.token)
        if asked is not None:
            body |= {**_about(asked.command), "person": asked.person}
        return body | ({"ticket": self.current} if self._plan.remote_commands else {})


def _about(asked: Acknowledge | HornWire) -> dict[str, object]:
    """What an answer names again of its command."""
    if isinstance(asked, HornWire):
        return {"panel": asked.panel, "wire": asked.wire.value}
    return {"occurrence": asked.occurrence}
