"""The outside watch: an address that is visited while the loop of this unit turns.

In: an address with a secret, whether the loop lives. Out, through `post`: UnitSensed when visits
fail, or work again. One thread of its own starts one process a visit and ends it in time; it visits
nothing while the loop hangs, for then nobody should be told that this unit lives.
"""

import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from threading import Event as Flag, Thread

from relayd.clock import boottime
from relayd.core import unit_words
from relayd.core.conditions import DEAD_MAN
from relayd.core.events import Event, UnitSensed
from relayd.core.plan import SECOND
from relayd.rig import DeadMan

COMMAND = (sys.executable, "-m", "relayd.supervision.visit")
LIMIT = 15 * SECOND
"""A visit may take so long; its process is ended a little later."""
PARTING = 5 * SECOND
AGAIN = 60 * SECOND
"""After a visit that failed the next one comes so soon."""
FAILS = 2
"""So many visits in a row that fail are told."""


class Visits:
    """The thread that visits. One object lives once."""

    def __init__(
        self,
        rig: DeadMan,
        post: Callable[[Event], None],
        lives: Callable[[], bool],
        command: Sequence[str] = COMMAND,
        limit: int = LIMIT,
        again: int = AGAIN,
    ) -> None:
        """`lives`: whether the loop has turned lately."""
        self._rig, self._post, self._lives = rig, post, lives
        self._command, self._limit, self._again = command, limit, again
        self._stop = Flag()
        self._fails = 0
        self._told: str | None = None
        self._beat = boottime()
        self._thread = Thread(target=self._run, name="outside watch", daemon=True)

    def start(self) -> None:
        """Begin with a visit."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread; a visit that is under way is not waited for."""
        self._stop.set()

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    def beat(self) -> int:
        """Boot time (ns) at which the thread last began or ended a visit, or found the loop hung."""
        return self._beat

    def _run(self) -> None:
        while not self._stop.is_set():
            self._beat = boottime()
            pause = self._rig.every
            if self._lives():
                self._judge(self.once())
                pause = min(pause, self._again) if self._fails else pause
            self._beat = boottime()
            self._stop.wait(pause / SECOND)

    def _judge(self, why: str) -> None:
        self._fails = self._fails + 1 if why else 0
        if why and self._fails < FAILS:
            return
        if why != self._told:
            self._told = why
            self._post(UnitSensed(DEAD_MAN, why))

    def once(self) -> str:
        """One visit; why it failed, without the address, or ''."""
        ca = None if self._rig.ca is None else str(self._rig.ca)
        order = {"address": self._rig.address.reveal(), "ca": ca, "limit": self._limit / SECOND}
        try:
            done = subprocess.run(
                self._command,
                input=json.dumps(order),
                capture_output=True,
                text=True,
                timeout=(self._limit + PARTING) / SECOND,
                check=False,
            )
            said = json.loads(done.stdout)
        except subprocess.TimeoutExpired:
            return unit_words.NO_ANSWER
        except (OSError, ValueError):
            return unit_words.NOT_REACHED
        status = said.get("status")
        if status is None:
            return str(said.get("why", unit_words.NOT_REACHED))
        return "" if 200 <= status < 300 else unit_words.REFUSED.format(code=status)
