"""What a fault is played on: mailbox, broker where it is wanted, contacts, and a unit between them."""

import os
import signal
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from relayd.clock import boottime
from tests.channels.watcher import Watcher
from tests.servers.broker import Mosquitto, mosquitto
from tests.story.journal import Record
from tests.story.mailbox import Mailbox, mailbox
from tests.story.plans import AT_REST, LEVEL, Site, plan
from tests.story.table import Row
from tests.story.unit import Scripted, Unit, closing

QUICK = 1.0
"""On- and off-delay in seconds; a plan may have it only where a dead circuit moves no contact."""


@dataclass
class Stage:
    """Everything around one unit."""

    folder: Path
    around: ExitStack
    mail: Mailbox
    unit: Unit

    def __post_init__(self) -> None:
        self.rows: list[Row] = []
        self.fault = self.folder.name

    def site(
        self,
        channels: Mapping[str, Mapping[str, str]] | None = None,
        steps: Sequence[tuple[float, Sequence[str]]] = ((0, ("anna",)), (8, ("ben",))),
        broker: Mosquitto | None = None,
        name: str = "Alder pond cabins",
        delay: float = QUICK,
    ) -> Site:
        """A plan's makings; by default Anna and Ben have mail."""
        wires = self.unit.wires
        ways = channels or {each: {"mail": self.mail.address(each)} for each in ("anna", "ben")}
        at = (broker.port, "5") if broker else None
        return Site(ways, wires.chip, wires.lines(), at, steps, "holds", delay, name)

    def begin(self, site: Site) -> None:
        """Write the plan and start the unit."""
        self.unit.write_plan(plan(site))
        self.unit.start()

    def broker(self) -> tuple[Mosquitto, Watcher]:
        """A broker and somebody who watches it."""
        broker = self.around.enter_context(mosquitto(self.folder))
        self.watcher = self.around.enter_context(Watcher(broker.port))
        return broker, self.watcher

    def rises(self) -> Record:
        """The float rises; the record of the alarm."""
        mark = self.unit.mark()
        self.unit.move(LEVEL, "closed")
        return self.unit.said("raised", after=mark, condition="high-level")

    def falls(self) -> Record:
        """The float falls; the record of the return."""
        mark = self.unit.mark()
        self.unit.move(LEVEL, "open")
        return self.unit.said("returned", after=mark, condition="high-level")

    def note(self, said: str, since: int | None = None, at: int | None = None) -> float:
        """A row of the table: what was said, and how long after `since`; the seconds."""
        after = None if since is None else ((boottime() if at is None else at) - since) / 1e9
        self.rows.append(Row(self.fault, said, after))
        return after or 0.0

    def kill_sender(self) -> int:
        """`kill -9` of the sender's process; the boot time of it."""
        pid = self.unit.until(self.unit.sender, "a sender runs")
        at = boottime()
        os.kill(pid, signal.SIGKILL)
        return at


@contextmanager
def stage(folder: Path, contacts: Mapping[str, str] = AT_REST) -> Iterator[Stage]:
    """A stage with the contacts at rest and nothing running but the mailbox."""
    folder.mkdir()
    with ExitStack() as around:
        mail = around.enter_context(mailbox())
        unit = Unit(folder / "unit", Scripted(folder / "wires.json", contacts))
        around.enter_context(closing(unit))
        yield Stage(folder, around, mail, unit)
