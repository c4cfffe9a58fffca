"""Where the story of a horn's wire is played, and what is kept of it to be asked afterwards."""

from collections.abc import Mapping
from dataclasses import dataclass
from subprocess import CompletedProcess
from typing import Any

from tests.channels.watcher import Watcher
from tests.servers.mail import MailServer
from tests.story.acts import Mail, read
from tests.story.journal import Record
from tests.story.plans import CIRCUIT, LEVEL
from tests.story.unit import Unit

WIRE = "homie/5/pumphouse/commands/horn-wire/set"
CABIN = "homie/5/pumphouse-cabin"
PANEL = "panel:cabin"


@dataclass(frozen=True, slots=True)
class Said:
    """What a command of `relayd` said, and whether it was done."""

    done: bool
    words: str


@dataclass(slots=True)
class Seen:
    """What the unit shows at one moment, over all that shows anything."""

    status: str
    log: str
    horn: Mapping[str, str]
    kept: Mapping[str, Any]
    """The panel's row of the state in the journal."""
    mails: list[Mail]


@dataclass(slots=True)
class Story:
    """One unit with its broker and its mail server, and what was seen on the way."""

    unit: Unit
    watcher: Watcher
    mail: MailServer
    drops: bool
    """Whether the level's contact opens with the alarm circuit, as it does where that feeds it."""
    retain_told: bool
    """Whether the unit is told at once that a command is retained (MQTT 5, 3.8.3.1), or only when
    it comes again (MQTT 3.1.1, 3.3.1.3): then a first one with the right ticket would be obeyed."""

    def seen(self) -> Seen:
        """Look at everything now."""
        return Seen(
            self.relayd("status").words,
            self.relayd("log", "--last", "200").words,
            {topic: text for topic, text in self.watcher.tree.items() if topic.startswith(CABIN)},
            self.unit.kept(PANEL),
            [read(each) for each in self.mail.messages()],
        )

    def relayd(self, *words: str) -> Said:
        """What a command says."""
        done: CompletedProcess[str] = self.unit.relayd(*words)
        return Said(done.returncode == 0, f"{done.stdout}{done.stderr}")

    def sent(self, person: str, count: int) -> None:
        """Wait until the mail server has taken so many mails to a person."""
        self.unit.said("send taken", count, channel=f"{person}.mail")

    def mails(self, person: str, part: str) -> list[Mail]:
        """What lies in that person's mailbox with `part` in its title."""
        found = [read(each) for each in self.mail.messages()]
        return [m for m in found if m.to == f"{person}@example.org" and part in m.title]

    def asks(self, payload: str, retain: bool = False) -> Record:
        """Send a word about the wire to the broker; the answer to it."""
        before = len(self.watcher.answers())
        self.watcher.send(payload, retain, topic=WIRE)
        self.watcher.until(lambda: len(self.watcher.answers()) > before, f"answered {payload}")
        return self.watcher.answers()[before]

    def level(self, stands: str) -> None:
        """Let the alarm float rise (`closed`) or fall (`open`)."""
        self.unit.move(LEVEL, stands)

    def circuit(self, on: bool) -> None:
        """Throw the breaker of the alarm circuit."""
        if self.drops:
            self.unit.move(LEVEL, "closed" if on else "open")
        self.unit.move(CIRCUIT, "closed" if on else "open")


@dataclass(slots=True)
class Played:
    """Everything that can be asked afterwards. Times are boot time in nanoseconds."""

    off: int
    on: int
    questions: list[Mail]
    waits: str
    """What `status` says before anybody has answered."""
    refused: list[tuple[str, Record]]
    """Commands over MQTT that were not obeyed, each with its answer."""
    answered: str
    declared: Seen
    returned: Seen
    """After `kill -9` and a start."""
    again: Seen
    """After the level fell and rose once more, and fell."""
    visit: list[tuple[str, Said]]
    """What Ben asked for at the panel, in order, and what he was told."""
    end: Seen
    records: list[Record]
    published: list[tuple[str, str]]

    def found(self, kind: str, **body: object) -> list[Record]:
        """Records of that kind with these values."""
        return [
            each
            for each in self.records
            if each["kind"] == kind and all(each["body"].get(k) == v for k, v in body.items())
        ]

    def one(self, kind: str, **body: object) -> Record:
        """The only record of that kind."""
        (found,) = self.found(kind, **body)
        return found

    def said(self, command: str) -> Said:
        """What Ben was told the first time he asked that."""
        return next(said for asked, said in self.visit if asked == command)
