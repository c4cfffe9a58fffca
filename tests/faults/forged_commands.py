"""Commands at the broker that nobody who may has sent, or that were sent before: none may be taken."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random

from relayd.answering.codes import LETTERS
from relayd.channels.command import LONGEST

ROUND = 24
"""One of each kind; then the ticket in force is looked at again."""


@dataclass
class Heard:
    """What a forger who listens at the broker, but may not read messages, has heard."""

    open: str
    """An occurrence that stands."""
    over: str
    accepted: list[bytes]
    """Commands that were taken, as they were sent."""
    tickets: list[str]
    """Tickets that were in force before."""
    ticket: str = field(default="")
    """The one in force when the round began."""


class Forger:
    """Draws one payload after another; the second value says whether it is sent retained."""

    def __init__(self, random: Random, heard: Heard) -> None:
        self._random, self._heard = random, heard
        # The guesses first, what is taken at the door and spends the ticket last.
        self._kinds: tuple[Callable[[], bytes], ...] = (
            *(7 * [self._wrong_code]),
            *(self._forged_ticket, self._old_ticket, self._replayed, self._no_ticket),
            *(self._near_nothing, self._nobody, self._other_unit, self._too_long, self._huge),
            *(self._no_utf8, self._no_json, self._nested, self._twice, self._types),
            *(self._both, self._other_act, self._over),
        )
        assert len(self._kinds) == ROUND

    def payloads(self, count: int) -> Iterator[tuple[bytes, bool]]:
        """So many, of every kind in turn."""
        for number in range(count):
            made = self._kinds[number % len(self._kinds)]()
            retained = number % 23 == 0  # as it is, or a good one of before
            yield (self._random.choice(self._heard.accepted) if retained else made), retained

    def _letters(self) -> str:
        return "".join(self._random.choices(LETTERS, k=8))

    def _command(self, **fields: object) -> bytes:
        base = {"ticket": self._heard.ticket, "occurrence": self._heard.open, "person": "ben"}
        whole = {**base, "act": "taken", **fields}
        return json.dumps({key: each for key, each in whole.items() if each is not None}).encode()

    def _coded(self, code: str) -> bytes:
        return self._command(code=code, occurrence=None, person=None)

    def _forged_ticket(self) -> bytes:
        return self._command(ticket=self._letters())

    def _old_ticket(self) -> bytes:
        return self._command(ticket=self._random.choice(self._heard.tickets))

    def _replayed(self) -> bytes:
        return self._random.choice(self._heard.accepted)

    def _no_ticket(self) -> bytes:
        return self._command(ticket=None)

    def _wrong_code(self) -> bytes:
        return self._coded(self._letters())

    def _near_nothing(self) -> bytes:
        return self._coded(self._random.choice(["", "taken", "0" * 8, "a" * 8, "\0" * 8]))

    def _over(self) -> bytes:
        """The right ticket and a person of the plan: only the alarm is over, or never was."""
        number = self._heard.over if self._random.random() < 0.5 else f"{self._heard.over}9"
        return self._command(occurrence=number)

    def _nobody(self) -> bytes:
        return self._command(person=self._random.choice(["eve", "", "BEN", "ben ", "root"]))

    def _other_unit(self) -> bytes:
        return self._command(occurrence=self._heard.open.replace("pumphouse", "creek-1"))

    def _too_long(self) -> bytes:
        return self._command(within="x" * (LONGEST + self._random.randrange(3000)))

    def _huge(self) -> bytes:
        """Now and then much larger than the unit may hold many of."""
        return self._command(within="x" * self._random.choice([200_000, 300_000, 2_000_000]))

    def _no_utf8(self) -> bytes:
        raw = bytearray(self._command())
        raw[self._random.randrange(len(raw))] = self._random.choice([0xFF, 0xC0, 0xED])
        return bytes(raw)

    def _no_json(self) -> bytes:
        raw = self._command()
        at = self._random.choice([0, 1, len(raw) - 1])
        return self._random.choice(
            [raw[:at] + raw[at + 1 :], b"", b"taken", self._random.randbytes(30)]
        )

    def _nested(self) -> bytes:
        return b"[" * self._random.randrange(500, 4000) + b'"' + self._command()

    def _twice(self) -> bytes:
        return self._command()[:-1] + b', "ticket": "' + self._heard.ticket.encode() + b'"}'

    def _types(self) -> bytes:
        odd: object = self._random.choice([1, 1e308, True, ["ben"], {"ben": 1}, 10**300])
        return self._command(**{self._random.choice(["ticket", "occurrence", "person"]): odd})

    def _both(self) -> bytes:
        return self._command(code=self._letters())

    def _other_act(self) -> bytes:
        bad = [{"act": "reset"}, {"act": ""}, {"within": "9999 h"}, {"within": "soon"}, {"do": "x"}]
        return self._command(**self._random.choice(bad))
