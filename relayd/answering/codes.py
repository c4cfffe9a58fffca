"""Short codes: which person answers which occurrence, proved by what only the message held.

In: this unit's key (key.py), the state's open occurrences. Out: the code to write into a message,
and what a code that came back means. A code is drawn from the key by HMAC-SHA256 (RFC 2104), so
that a message that is sent again after a crash carries the same one, and the journal holds neither
codes nor what they could be found from. A code serves once for each act; then the next messages
carry another, so that a mail that somebody wrote down cannot be sent anew.
"""

import hmac
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from threading import RLock
from typing import Protocol

from relayd.core.asking.takes import ANSWERABLE
from relayd.core.events import Act
from relayd.core.plan import Plan
from relayd.core.state import State, outside_id

LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
"""No letter that is mistaken for a digit or for another one: people type it."""
LENGTH = 8
_SERVED = "answers.served"


class Memory(Protocol):
    """Short texts that are kept over restarts."""

    def meta_get(self, key: str) -> str | None:
        """What was last kept under that key."""

    def meta_note(self, key: str, value: str) -> None:
        """Keep it with whatever is written next. Never waits."""


@dataclass(frozen=True, slots=True)
class Meant:
    """What a code means: an occurrence's outside id, a person, and whether it has served."""

    occurrence: str
    person: str
    turn: int
    used: bool = False


@dataclass(slots=True)
class _Served:
    """How far one person's codes for one occurrence have served."""

    turn: int = 0
    acts: list[str] = field(default_factory=list)


class Codes:
    """Makes codes and knows them again. Safe from any thread."""

    def __init__(self, plan: Plan, key: bytes, memory: Memory, state: Callable[[], State]) -> None:
        self._plan, self._key, self._memory, self._state = plan, key, memory, state
        self._lock = RLock()
        self._served: dict[str, _Served] = {}
        for about, kept in json.loads(memory.meta_get(_SERVED) or "{}").items():
            self._served[about] = _Served(int(kept[0]), [str(each) for each in kept[1]])

    def of(self, occurrence: str, person: str) -> str:
        """The code that a message to that person about that occurrence carries now."""
        with self._lock:
            return self._made(occurrence, person, self._turn(occurrence, person))

    def find(self, code: str) -> Meant | None:
        """What that code means; None for one that was made for no open occurrence."""
        given, found = code.lower().encode("utf-8", "replace"), None
        with self._lock:
            for occurrence, person in self._open():
                turn = self._turn(occurrence, person)
                for each in range(max(0, turn - 1), turn + 1):
                    made = self._made(occurrence, person, each).encode()
                    if hmac.compare_digest(made, given):
                        found = Meant(occurrence, person, each, each < turn)
        return found

    def serve(self, meant: Meant, act: Act) -> bool:
        """Let the code serve for that act; False where it has served for it already."""
        with self._lock:
            served = self._served.setdefault(_about(meant.occurrence, meant.person), _Served())
            if served.turn != meant.turn or act.value in served.acts:
                return False
            if act is Act.TAKEN:
                served.turn, served.acts = served.turn + 1, []
            else:
                served.acts.append(act.value)
            self._keep()
            return True

    def give_back(self, meant: Meant, act: Act) -> None:
        """The act was refused: the code may serve for it again."""
        with self._lock:
            served = self._served.setdefault(_about(meant.occurrence, meant.person), _Served())
            if act is Act.TAKEN and served.turn == meant.turn + 1:
                served.turn = meant.turn
            elif act.value in served.acts:
                served.acts.remove(act.value)
            self._keep()

    def _turn(self, occurrence: str, person: str) -> int:
        served = self._served.get(_about(occurrence, person))
        return served.turn if served else 0

    def _open(self) -> Iterator[tuple[str, str]]:
        state = self._state()
        for subject in state.subjects.values():
            for alarm in subject.alarms.values():
                if alarm.process in ANSWERABLE:
                    ref = outside_id(self._plan.unit, state, alarm.occurrence)
                    yield from ((ref, person) for person in self._plan.people)

    def _made(self, occurrence: str, person: str, turn: int) -> str:
        for trial in range(1000):
            text = f"{occurrence}|{person}|{turn}|{trial}".encode()
            drawn = hmac.digest(self._key, text, "sha256")
            code = "".join(LETTERS[each % 32] for each in drawn[:LENGTH])
            if any(each.isdigit() for each in code) and any(each.isalpha() for each in code):
                return code  # neither a word nor a date: a reader must know it in a text
        raise AssertionError("a thousand draws without a digit and a letter")

    def _keep(self) -> None:
        """What is over is forgotten: its codes mean nothing any more."""
        open_ = {_about(occurrence, person) for occurrence, person in self._open()}
        self._served = {key: each for key, each in self._served.items() if key in open_}
        kept = {key: [each.turn, each.acts] for key, each in self._served.items()}
        self._memory.meta_note(_SERVED, json.dumps(kept))


def _about(occurrence: str, person: str) -> str:
    return f"{occurrence}|{person}"
