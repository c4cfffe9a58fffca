"""Mails of somebody who would like to answer in another's name, and of programs that answer by themselves.

None of them may be taken: each lacks something that only a person who has the message can give.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random

from relayd.answering.codes import LETTERS
from relayd.mailbox.mail import READ
from tests.mailbox.mails import answer
from tests.mailbox.test_parsing import HOSTILE

WORDS = ("seen", "taken", "taken 14:00", "OK", "taken 24 h", "lo tengo")
ANNA, BEN = "anna@example.org", "Ben <ben@example.org>"


@dataclass(frozen=True, slots=True)
class Known:
    """What the forger has got hold of: good answers of before, and codes of what is and was open."""

    good: tuple[bytes, ...]
    """Answers that were taken; each code has served for that."""
    served: str
    """A code that has served."""
    over: str
    """Anna's code of an alarm that is over."""
    bens: str
    """Ben's code of an alarm that stands: what comes with it must not come from Ben, or must say nothing."""


class Forger:
    """Draws one mail after another."""

    def __init__(self, random: Random, known: Known) -> None:
        self._random, self._known, self._number = random, known, 0
        self._kinds: tuple[Callable[[], bytes], ...] = (
            *(5 * [self._guessed]),
            *(self._near, self._copied, self._served, self._over),
            *(self._anothers, self._in_the_quote, self._from_two, self._by_a_machine),
            *(self._without, self._malformed),
        )

    def mails(self, count: int) -> Iterator[bytes]:
        """So many, of every kind in turn and each drawn anew."""
        for number in range(count):
            yield self._kinds[number % len(self._kinds)]()

    def _mail(self, code: str, sender: str, words: str = "", head: str = "") -> bytes:
        self._number += 1
        own = words or self._random.choice(WORDS)
        return answer(own, code, sender, f"<f{self._number}@example.com>", head)

    def _somebody(self) -> str:
        stranger = f"eve{self._random.randrange(10**6)}@example.com"
        return self._random.choice([ANNA, BEN, "cleo@example.org", "x", *(8 * [stranger])])

    def _guessed(self) -> bytes:
        return self._mail("".join(self._random.choices(LETTERS, k=8)), self._somebody())

    def _near(self) -> bytes:
        """One letter beside a code that is good."""
        code, at = self._known.bens, self._random.randrange(8)
        other = self._random.choice(LETTERS.replace(code[at], ""))
        return self._mail(code[:at] + other + code[at + 1 :], self._somebody())

    def _copied(self) -> bytes:
        """A good answer of before, byte for byte."""
        return self._random.choice(self._known.good)

    def _served(self) -> bytes:
        """The code of a good answer in a mail that was never seen before."""
        return self._mail(self._known.served, ANNA, "seen")

    def _over(self) -> bytes:
        return self._mail(self._known.over, ANNA)

    def _anothers(self) -> bytes:
        """A good code, but from another's address than the plan gives Ben."""
        return self._mail(self._known.bens, self._random.choice([ANNA, "eve@example.com"]))

    def _in_the_quote(self) -> bytes:
        """The answer stands only in what is quoted; the first own line is none."""
        own = self._random.choice(["Who is it?", "not taken", "> taken", "I will be there, maybe"])
        return self._mail(self._known.bens, BEN, own)

    def _from_two(self) -> bytes:
        """It says to come from two: nobody can tell from whom."""
        return self._mail(self._known.bens, BEN, "taken", f"From: {ANNA}\n")

    def _by_a_machine(self) -> bytes:
        head = self._random.choice(
            ["Auto-Submitted: auto-replied\n", "Precedence: bulk\n", "List-Id: <l.example.org>\n"]
        )
        return self._mail(self._known.bens, BEN, "taken", head)

    def _without(self) -> bytes:
        return self._mail("none", self._somebody())

    def _malformed(self) -> bytes:
        whole = self._random.choice(list(HOSTILE.values()))
        if self._random.random() < 0.5:
            raw = bytearray(self._mail(self._known.bens, "eve@example.com"))
            raw[self._random.randrange(len(raw))] = 0
            return bytes(raw)
        return whole[:READ]
