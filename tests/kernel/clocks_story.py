"""A unit on real pins whose kernel's wall clock is set while an alarm stands in each of its states."""

import time
from dataclasses import dataclass, field

from relayd.clock import SYNCHRONISED, boottime
from relayd.core.plan import SECOND
from tests.kernel import clocks_site as site
from tests.kernel.clocks_site import STATES, Move
from tests.story.journal import Record
from tests.story.mailbox import Mailbox
from tests.story.unit import Unit

PATIENCE = 60.0


def set_clock(wall: int) -> None:
    """Set this kernel's wall clock, as a time service or a person does."""
    time.clock_settime_ns(time.CLOCK_REALTIME, wall)


def believe(trusted: bool) -> None:
    """What the time service's file says of the clock: it is there once the clock was set."""
    SYNCHRONISED.parent.mkdir(parents=True, exist_ok=True)
    if trusted:
        SYNCHRONISED.touch()
    else:
        SYNCHRONISED.unlink(missing_ok=True)


@dataclass
class Story:
    """One move of the clock, played with an alarm in every state."""

    move: Move
    unit: Unit
    mail: Mailbox
    rose: dict[str, int] = field(default_factory=dict)
    fell: dict[str, int] = field(default_factory=dict)
    stepped: int = 0
    """Boot time at which the clock was set."""
    shelved: int = 0

    def play(self) -> None:
        """From the first float to the last message."""
        self._begin()
        early = [state for state in STATES if state != "pending"]
        for state in early:
            self._float(state, "closed", self.rose)
        for state in early:
            self.unit.said("raised", subject=f"panel:{state}", seconds=PATIENCE)
        self._float("returned", "open", self.fell)
        for state in early:  # a message that is answered before it has left is taken back
            self.unit.said("send taken", channel=f"{state}-a.mail", seconds=PATIENCE)
        self._answer()
        self.unit.said("returned", subject="panel:returned")
        self._float("pending", "closed", self.rose)
        self.unit.until(self._is_pending, "its on-delay runs")
        self._step()
        self._told_all()
        self._end()

    def raised(self, state: str) -> int:
        """Boot time at which it was raised."""
        return int(self.unit.found("raised", subject=f"panel:{state}")[0]["up"])

    def notices(self, state: str) -> list[Record]:
        """Every notice about a panel, in the order in which they were made."""
        return self.unit.found("notice made", subject=f"panel:{state}")

    def _begin(self) -> None:
        believe(self.move.trusted)
        set_clock(self.move.before)
        self.unit.start()
        if self.move.passes:
            set_clock(self.move.before)

    def _float(self, state: str, stands: str, when: dict[str, int]) -> None:
        when[state] = boottime()
        self.unit.move(f"{state}.high-level", stands)

    def _answer(self) -> None:
        later = int(site.LATER * SECOND)
        ends: dict[str, object] = {"within": later}
        if self.move.trusted:  # a time of day means nothing where the clock is not set
            ends = {"until": time.time_ns() + later}
        self._ack("seen", act="seen")
        self._ack("taken", act="taken", **ends)
        self._ack("acknowledged", act="taken")
        self._ack("shelved", act="seen")  # what nobody has seen may not be shelved
        shelf = {"panel": "shelved", "condition": "high-level", "within": int(site.SHELF * SECOND)}
        self.shelved = boottime()
        self.unit.ask("shelve", shelf, "shelved-a")

    def _ack(self, state: str, **what: object) -> None:
        self.unit.ask("acknowledge", {"panel": state, **what}, f"{state}-a")

    def _is_pending(self) -> bool:
        """The edge was seen, and the alarm is not raised yet."""
        return self._reads_closed() and not self.unit.found("raised", subject="panel:pending")

    def _reads_closed(self) -> bool:
        told = self.unit.ask("status", {"panel": "pending"})
        (panel,) = [each for each in told["panels"] if each["id"] == "pending"]
        return any(each["reads"] == "closed" for each in panel["inputs"])

    def _step(self) -> None:
        if not self.move.passes:
            set_clock(self.move.after)
        believe(self.move.trusted_after)
        self.stepped = boottime()
        assert self.stepped < self.raised("waiting") + site.SECOND_STEP * SECOND, "too slow a guest"

    def _told_all(self) -> None:
        """Until the last steps of the call lists are told, and the shelf is over."""
        self.unit.said("notice made", person="pending-c", why="raised", seconds=PATIENCE)
        self.unit.said("notice made", person="shelved-c", why="raised", seconds=PATIENCE)

    def _end(self) -> None:
        for state in STATES:
            if state != "returned":
                self._float(state, "open", self.fell)
        for state in self.fell:
            self.unit.said("returned", subject=f"panel:{state}", seconds=PATIENCE)
        self._ack("returned", act="seen")
        self.unit.ask("reset", {"panel": "returned", "condition": "high-level"}, "returned-a")
        self.unit.until(lambda: not self._owed(), "nothing is owed", PATIENCE)

    def _owed(self) -> bool:
        made = {each["body"]["notice"] for each in self.unit.found("notice made")}
        over = self.unit.found("send taken") + self.unit.found("send withdrawn")
        return bool(made - {each["body"]["notice"] for each in over})
