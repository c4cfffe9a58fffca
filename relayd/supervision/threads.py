"""The threads of this process: which died, which no longer turn, and what is done about it.

In: parts with a thread each, time. Out: faults to tell, and the names of parts that stay dead. A
dead one is started again once; after that only a new process helps. One that no longer turns is
told once, until it turns again.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from relayd.core.events import FaultFound
from relayd.core.plan import SECOND


class Part(Protocol):
    """Whatever has a thread of its own."""

    def alive(self) -> bool:
        """Whether its thread runs."""


@dataclass(frozen=True, slots=True)
class Guarded:
    """One part: how it is asked, started again (None: it cannot be), and how long a turn may take."""

    part: Callable[[], Part]
    restart: Callable[[], None] | None = None
    beat: Callable[[], int | None] | None = None
    limit: int = 60 * SECOND


class Threads:
    """The watch over them; used by the loop alone."""

    def __init__(self, parts: Mapping[str, Guarded], post: Callable[[FaultFound], None]) -> None:
        self._parts, self._post = dict(parts), post
        self._restarted: set[str] = set()
        self._hung: set[str] = set()

    def look(self, now: int) -> list[str]:
        """Start again what died for the first time; the parts that are dead for good."""
        dead = [name for name, each in self._parts.items() if not self._lives(name, each)]
        for name, each in self._parts.items():
            if name not in dead:
                self._turns(name, each, now)
        return dead

    def _lives(self, name: str, each: Guarded) -> bool:
        if each.part().alive():
            return True
        if each.restart is None or name in self._restarted:
            return False
        self._restarted.add(name)
        try:
            each.restart()
        except Exception as error:  # noqa: BLE001 - whatever it was, only a new process helps now
            self._post(FaultFound(name, f"its thread died and cannot be started again: {error}"))
            return False
        self._post(FaultFound(name, "its thread died; started again"))
        return each.part().alive()

    def _turns(self, name: str, each: Guarded, now: int) -> None:
        beat = each.beat() if each.beat else None
        if beat is None or now - beat <= each.limit:
            self._hung.discard(name)
        elif name not in self._hung:
            self._hung.add(name)
            lasted = (now - beat) // SECOND
            self._post(FaultFound(name, f"its thread has not turned for {lasted} s"))
