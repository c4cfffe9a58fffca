"""A mailbox for faults: takes mail without login, notes when each came, and can be told to hang."""

import asyncio
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email import message_from_bytes
from threading import Condition, Event

from aiosmtpd.smtp import SMTP, Envelope, Session

from relayd.clock import boottime
from tests.servers.mail import ToldMail, plain_mail
from tests.story.acts import Mail, read

PATIENCE = 30.0


@dataclass(frozen=True, slots=True)
class Came:
    """A mail and the boot time (ns) at which it was taken."""

    at: int
    mail: Mail


class Mailbox(ToldMail):
    """Keeps what comes. While it hangs it keeps a mail and does not say so."""

    def __init__(self) -> None:
        super().__init__()
        self.port = 0
        self.came: list[Came] = []
        self.held = Event()
        """Somebody waits for an answer that does not come."""
        self.slow: Callable[[], float] = lambda: 0.0
        """Seconds that the server takes for the next mail."""
        self._answers = Event()
        self._answers.set()
        self._news = Condition()

    def address(self, person: str) -> str:
        """The address of a person here."""
        people = f"from=relayd@example.org&to={person}@example.org"
        return f"mailto://127.0.0.1:{self.port}?{people}"

    def hang(self) -> None:
        """Answer nobody from now on."""
        self.held.clear()
        self._answers.clear()

    def answer(self) -> None:
        """Answer again."""
        self._answers.set()

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        # Kept before it is answered: a mail whose answer is lost was delivered all the same.
        self._keep(envelope)
        if not self._answers.is_set():
            self.held.set()
            await self._wait(self._answers, PATIENCE)
        await self._wait(Event(), self.slow())
        return "250 taken"

    def _keep(self, envelope: Envelope) -> None:
        content = envelope.content
        assert isinstance(content, bytes)
        with self._news:
            self.came.append(Came(boottime(), read(message_from_bytes(content))))
            self._news.notify_all()

    async def _wait(self, flag: Event, seconds: float) -> None:
        await asyncio.get_running_loop().run_in_executor(None, flag.wait, seconds)

    def to(self, person: str) -> list[Came]:
        """What a person got, in the order in which it came."""
        return [each for each in self.came if each.mail.to == f"{person}@example.org"]

    def until(self, person: str, part: str, count: int = 1, seconds: float = PATIENCE) -> Came:
        """The `count`-th mail to a person with `part` in its title."""

        def found() -> list[Came]:
            return [each for each in self.to(person) if part in each.mail.title]

        with self._news:
            got = self._news.wait_for(lambda: len(found()) >= count, seconds)
            assert got, f"no {count} '{part}' to {person}: {[each.mail for each in self.came]}"
            return found()[count - 1]


@contextmanager
def mailbox() -> Iterator[Mailbox]:
    """A running mailbox on a port that the kernel gave."""
    made = Mailbox()
    with plain_mail(made) as made.port:
        yield made
        made.answer()
