"""Codes, their proving and a world around them: what tests of answers from afar share."""

from dataclasses import dataclass, field, replace

from relayd.answering.codes import Codes
from relayd.answering.filling import Filling
from relayd.answering.proving import Proving
from relayd.core.effects import Answer, Tell
from relayd.core.events import Commanded, Event
from relayd.core.plan import Plan
from relayd.core.state import outside_id
from relayd.mailbox.answers import Answers
from relayd.mailbox.mail import Mail
from tests.core import world

KEY = bytes(range(32))
WAYS = {"mailbox": "by mail", "mqtt": "over MQTT"}
SENDERS = {"anna": ("anna@example.org",), "ben": ()}


@dataclass
class Kept:
    """What a journal keeps beside the state."""

    texts: dict[str, str] = field(default_factory=dict)

    def meta_get(self, key: str) -> str | None:
        return self.texts.get(key)

    def meta_note(self, key: str, value: str) -> None:
        self.texts[key] = value


def afar_plan() -> Plan:
    """The cabin's plan with a mailbox: replies to both persons' mail reach it."""
    mails = frozenset({"anna.mail", "ben.mail"})
    return replace(world.plan(), mailbox=True, answers=mails)


class Afar:
    """A cabin in simulated time whose high level is open, and everything that answers it from afar."""

    def __init__(self, plan: Plan | None = None) -> None:
        self.plan = plan or afar_plan()
        self.world = world.World(self.plan)
        self.kept = Kept()
        self.codes = Codes(self.plan, KEY, self.kept, lambda: self.world.state)
        self.posted: list[Event] = []
        self.told: list[Tell] = []
        self.proving = Proving(self.plan, self.codes, WAYS, self.posted.append, self.world.now)
        self.answers = Answers(self.plan, SENDERS, self.proving, self.posted.append, self.world.now)
        self.filling = Filling(self, self.codes)
        self.world.start()
        self.world.alarm(world.LEVEL)
        self.world.run(60)

    @property
    def occurrence(self) -> str:
        """The high level's outside id."""
        return outside_id(self.plan.unit, self.world.state, self.world.open_alarm().occurrence)

    def code(self, person: str = "anna") -> str:
        """The code that a message to that person carries now."""
        return self.codes.of(self.occurrence, person)

    def mail(
        self, line: str, person: str = "anna", code: str | None = None, **changes: object
    ) -> Mail:
        """A mail as the reader tells it."""
        codes = (self.code(person) if code is None else code,)
        base = Mail(f"{person}@example.org", "id", "", codes, line)
        return replace(base, **changes)  # type: ignore[arg-type]

    def take(self, mail: Mail) -> list[Answer]:
        """Hand it in, and let the core do what follows; what it answers."""
        self.answers.take(mail)
        return self.settle()

    def settle(self) -> list[Answer]:
        """Let the core take all that was posted; its answers."""
        answers = []
        while self.posted:
            for effect in self.world.give(self.posted.pop(0)):
                if isinstance(effect, Answer):
                    answers.append(effect)
                    self.answers.answered(effect.token, effect.ok)
        return answers

    def commands(self) -> list[Commanded]:
        """The commands that were posted and not yet taken."""
        return [each for each in self.posted if isinstance(each, Commanded)]

    # What stands behind the filling

    def tell(self, tell: Tell) -> None:
        self.told.append(tell)

    def settled(self, send: int) -> None:
        """Nothing waits for that."""

    def withdraw(self, send: int) -> None:
        self.told = [each for each in self.told if each.send != send]
