"""A unit under load inside the guest, whose power will be cut: the real engine and the real journal.

`python -m tests.kernel.power_inside FOLDER UP SEED STEPS` goes on from boot time UP (s): the float
rises and falls without a pause, people are told and answer. One line of JSON for each thing that
has left, and for each commit. STEPS 0: until the power is cut. Else the unit comes to rest at last.
Time is simulated, the disk is not.
"""

import json
import random
import sys
from pathlib import Path

from relayd.channels.ledger import Ledger
from relayd.core.effects import Tell
from relayd.core.events import EdgeSeen, Started, TimePassed
from relayd.core.plan import HOUR, MINUTE, SECOND
from relayd.journal import reader
from tests.core.world import LEVEL
from tests.test_damage_watched import Life

REST = 4 * HOUR
ENDS = ("send taken", "send withdrawn")


def say(**what: object) -> None:
    """One line to the host, at once."""
    print(json.dumps(what), flush=True)


class Unit(Life):
    """A life that says what leaves it and what is committed; its sends leave as the sender's do."""

    def __init__(self, path: Path, up: int, epoch: str) -> None:
        self._ledger = Ledger()
        super().__init__(path, up, epoch)

    def tell(self, tell: Tell) -> None:
        self._ledger.offer(tell)
        self._hand_out()

    def _hand_out(self) -> None:
        while each := self._ledger.next(self.up):
            say(told=each.send, ref=each.ref, channel=each.channel, title=each.title)
            super().tell(each)
            self._ledger.done(each.send)

    def committed(self) -> None:
        """Say how far the disk has come, or that it is late."""
        if self.journal.late():
            say(late=self.journal.late())
        else:
            say(record=self.journal._next - 1, counter=self.engine.state.counter, up=self.up)

    def settled(self, send: int) -> None:
        self._ledger.settled(send)
        self._hand_out()

    def withdraw(self, send: int) -> None:
        self._ledger.withdraw(send)
        say(withdrawn=send)


def main(folder: Path, up: int, seed: int, steps: int) -> None:
    """One life."""
    chance, high = random.Random(seed), False
    unit = Unit(folder / "journal.db", up * SECOND, f"e{seed % 10_000}")
    state, last = unit.engine.state, unit.journal._next - 1
    say(opened=last, counter=state.counter, epoch=state.epoch, harm=unit.journal.opened.harm())
    unit.take(Started(False))
    unit.start(high)
    step = 0
    while not steps or step < steps:
        step += 1
        high = not high
        unit.take(EdgeSeen(LEVEL, high, unit.up))
        unit.committed()
        until = unit.up + chance.randrange(1, 20) * MINUTE
        while unit.engine.due is not None and unit.engine.due <= until:
            unit.up = max(unit.up, unit.engine.due)
            unit.take(TimePassed())
            unit.committed()
        unit.up = until
    unit.take(EdgeSeen(LEVEL, False, unit.up))
    unit.run_to(unit.up + REST)
    say(closed=unit.journal.close(), owed=len(unit.engine.state.notices))
    _history(folder / "journal.db")


def _history(path: Path) -> None:
    """Everything that was made, and how it ended, as the journal tells it."""
    after = 0
    while found := reader.records(path, after=after, limit=500):
        after = found[-1]["n"]
        made = [each["body"]["notice"] for each in found if each["kind"] == "notice made"]
        over = [each["body"]["notice"] for each in found if each["kind"] in ENDS]
        say(numbers=[each["n"] for each in found], made=made, over=over)


if __name__ == "__main__":
    folder, *numbers = sys.argv[1:]
    main(Path(folder), *map(int, numbers))
