"""The story that every unit must tell, played once and kept: what was done, said, mailed, published.

Two people, and a third who must not be told; the water rises, one has seen it, one takes it, the
water falls; the alarm circuit dies and comes back, and the one who was told has seen that.
"""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from email.header import decode_header, make_header
from email.message import Message

from relayd.clock import boottime
from relayd.core.plan import SECOND
from tests.channels.watcher import TICKET, Watcher
from tests.servers.mail import MailServer
from tests.story.journal import Record
from tests.story.plans import CIRCUIT, LEVEL
from tests.story.unit import Unit

ID = re.compile(r"[a-z0-9-]+\.[a-z0-9]+\.[0-9]+")
Take = Callable[[Unit, Watcher, str], str]
"""Lets Ben take an occurrence; what he is told."""


@dataclass(frozen=True, slots=True)
class Mail:
    """One mail as it lies in the mailbox; `id` is its last line."""

    to: str
    title: str
    text: str
    id: str


@dataclass(frozen=True, slots=True)
class Played:
    """Everything that can be asked afterwards. Times are boot time in nanoseconds."""

    rose: int
    fell: int
    off: int
    on: int
    occurrence: str
    seen: str
    taken: str
    records: list[Record]
    mails: list[Mail]
    published: list[tuple[str, str]]
    server: str
    """The mail server's own log."""

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

    def notices(self, condition: str, why: str) -> list[Record]:
        """Who was owed such a notice, in order."""
        return self.found("notice made", condition=condition, why=why)

    def titles(self, person: str) -> list[str]:
        """What a person got, in the order of the ids."""
        own = [each for each in self.mails if each.to == f"{person}@example.org"]
        return [each.title for each in sorted(own, key=lambda mail: number(mail.id))]


def number(id: str) -> int:
    """The last part of an outside id, which rises."""
    return int(id.rpartition(".")[2])


def command(ticket: str, occurrence: str, person: str, act: str) -> str:
    """An acknowledgement as it is sent to the broker."""
    asked = {"ticket": ticket, "occurrence": occurrence, "person": person, "act": act}
    return json.dumps(asked)


def take_over_mqtt(unit: Unit, watcher: Watcher, occurrence: str) -> str:
    """Ben takes it with the ticket that is shown now."""
    ticket = watcher.answers()[-1]["ticket"]
    answer = watcher.asks(command(ticket, occurrence, "ben", "taken"))
    return f"{answer['code']}: {answer['say']}"


def take_by_command(unit: Unit, watcher: Watcher, occurrence: str) -> str:
    """Ben takes it on the unit's command line."""
    done = unit.relayd("ack", occurrence, "--by", "ben", "--taken")
    assert done.returncode == 0, done.stderr
    return f"taken: {done.stdout}"


def play(unit: Unit, watcher: Watcher, mail: MailServer, take: Take) -> Played:
    """Play it on a unit that watches, with its contacts at rest."""
    rose = boottime()
    unit.move(LEVEL, "closed")
    unit.said("send taken", channel="anna.mail")
    occurrence = str(unit.alarm("high-level")["occurrence"])
    answer = watcher.asks(command(watcher.tree[TICKET], occurrence, "anna", "seen"))
    unit.said("send taken", channel="ben.mail")
    taken = take(unit, watcher, occurrence)
    unit.said("send taken", 2, channel="anna.mail")
    fell = boottime()
    unit.move(LEVEL, "open")
    unit.said("occurrence ended", condition="high-level")
    unit.said("send taken", 3, channel="anna.mail")
    unit.said("send taken", 2, channel="ben.mail")
    off = boottime()
    unit.move(CIRCUIT, "open")
    unit.said("raised", condition="alarm-power")
    unit.said("send taken", 4, channel="anna.mail")
    on = boottime()
    unit.move(CIRCUIT, "closed")
    unit.said("returned", condition="alarm-power")
    unit.ask("acknowledge", {"panel": "cabin"}, "anna")
    unit.until(lambda: not _owed(unit), "nothing is owed")
    watcher.until(lambda: not alerts(watcher), "no alert")
    mails = [read(each) for each in mail.messages()]
    records, came = list(unit.records()), list(watcher.came)
    return Played(
        rose, fell, off, on, occurrence, answer["code"], taken, records, mails, came, mail.log()
    )


def alerts(watcher: Watcher) -> dict[str, str]:
    """The alerts that the broker shows now."""
    return {topic: text for topic, text in watcher.tree.items() if "/$alert/" in topic}


def read(message: Message) -> Mail:
    """A delivered mail, taken apart."""
    payload = message.get_payload(decode=True)
    assert isinstance(payload, bytes)
    text = payload.decode(message.get_content_charset() or "utf-8").strip()
    id = text.splitlines()[-1]
    assert ID.fullmatch(id), text
    title = str(make_header(decode_header(str(message["Subject"]))))
    return Mail(_recipient(str(message["To"])), title, text, id)


def seconds(nanoseconds: int) -> float:
    """For a person to read."""
    return nanoseconds / SECOND


def _recipient(to: str) -> str:
    return to.rpartition("<")[2].rstrip(">").strip()


def _owed(unit: Unit) -> bool:
    """Whether a notice was made of which no send was taken yet."""
    made = {each["body"]["notice"] for each in unit.found("notice made")}
    done = {each["body"]["notice"] for each in unit.found("send taken")}
    gone = {each["body"]["notice"] for each in unit.found("send withdrawn")}
    return bool(made - done - gone)
