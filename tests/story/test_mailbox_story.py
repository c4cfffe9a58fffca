"""A reply by mail on the real daemon: Exim takes the message, Dovecot holds the answer, relayd takes it."""

import os
import re
import signal
import smtplib
import ssl
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from email.message import EmailMessage, Message
from pathlib import Path

import pytest

from tests.mailbox.test_parsing import HOSTILE
from tests.servers.imap import ImapServer, dovecot
from tests.servers.mail import MailServer, exim
from tests.story.pins import wires
from tests.story.plans import LEVEL, REAL, Site, plan
from tests.story.unit import Unit, closing

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.timeout(150),
    pytest.mark.skipif(exim() is None, reason="no Exim here (Debian: exim4-daemon-light)"),
    pytest.mark.skipif(dovecot() is None, reason="no Dovecot here, or not as root (dovecot-imapd)"),
]

CODE = re.compile(r"^Code ([a-z0-9]{8})$", re.MULTILINE)
MAILBOX = """
[mailbox]
host = "localhost"
port = {port}
user = "{user}"
password_from = "mailbox"
ca = "{ca}"
"""


@dataclass
class Post:
    """The mail around one unit: what it sends arrives at `out`, what people answer at `back`."""

    unit: Unit
    out: MailServer
    back: MailServer
    box: ImapServer

    def newest(self, person: str, count: int = 1) -> Message:
        """The newest mail to that person, once `count` of them are there."""

        def there() -> list[Message] | None:
            mine = [each for each in self.out.messages() if f"{person}@" in str(each["To"])]
            return mine if len(mine) >= count else None

        found = self.unit.until(there, f"{count} mails to {person}")
        return max(found, key=lambda each: int(text(each).split()[-1].rpartition(".")[2]))

    def reply(self, person: str, to: Message, words: str) -> None:
        """Answer it as a mail program does: own words, then the message, each line marked."""
        mail = EmailMessage()
        mail["From"], mail["To"] = f"{person}@example.org", "answers@example.org"
        mail["Subject"] = f"Re: {to['Subject']}"
        quoted = "\n".join(f"> {line}" for line in text(to).splitlines())
        mail.set_content(f"{words}\n\nOn Monday the unit wrote:\n{quoted}\n")
        with smtplib.SMTP("localhost", self.back.port) as line:
            line.starttls(context=ssl.create_default_context(cafile=str(self.back.ca)))
            line.login(self.back.user, self.back.password)
            line.send_message(mail)


def text(message: Message) -> str:
    payload = message.get_payload(decode=True)
    assert isinstance(payload, bytes)
    return payload.decode().strip()


@pytest.fixture
def post(tmp_path: Path) -> Iterator[Post]:
    with ExitStack() as around:
        out, back = (around.enter_context(MailServer()) for _ in range(2))
        box = around.enter_context(ImapServer(back.folder))
        moved = around.enter_context(wires(tmp_path, REAL))
        people = {name: {"mail": out.address(name)} for name in ("anna", "ben", "cleo")}
        unit = Unit(tmp_path / "unit", moved)
        around.enter_context(closing(unit))
        unit.environment["SSL_CERT_FILE"] = str(out.ca)
        credentials = tmp_path / "credentials"
        credentials.mkdir()
        (credentials / "mailbox").write_text(box.password)
        (credentials / "mailbox").chmod(0o600)
        unit.environment["RELAYD_CREDENTIALS"] = str(credentials)
        steps = ((0, ("anna",)), (4, ("ben",)), (60, ("cleo",)))
        made = plan(Site(people, moved.chip, moved.lines(), steps=steps)).replace(
            'name = "mail"\n', 'name = "mail"\nanswers = true\n'
        )
        made += MAILBOX.format(port=box.tls_port, user=box.user, ca=box.ca)
        unit.write_plan(made)
        unit.start()
        yield Post(unit, out, back, box)


def test_a_reply_is_seen_and_another_one_takes_it_and_stops_the_call_list(post: Post) -> None:
    unit = post.unit
    unit.move(LEVEL, "closed")
    unit.said("send taken", channel="anna.mail")
    first = post.newest("anna")
    assert unit.ask("status")["unit"]["ways"]["mailbox"] == "up"
    assert "Or reply to this message" in text(first)
    assert CODE.search(text(first))

    post.reply("anna", first, "Seen.")
    seen = unit.said("command done", way="mailbox", by="anna", code="seen")
    assert seen["body"]["code"] == "seen"
    told = post.newest("anna", 2)
    assert "Your answer came: you have seen it." in text(told)
    unit.said("send taken", channel="ben.mail")  # the call list goes on

    post.reply("ben", post.newest("ben"), "taken 45 min")
    unit.said("acknowledged", person="ben", act="taken")
    unit.said("call list stopped")
    assert unit.alarm("high-level")["taken"]["by"] == "Ben"
    told = post.newest("ben", 2)
    assert "Your answer came: you have it." in text(told)

    post.reply("ben", post.newest("ben", 2), "taken until tomorrow, maybe")
    refused = unit.said("answer not used")
    assert (refused["body"]["why"], refused["body"]["person"]) == ("not-understood", "ben")
    assert "Your answer was not taken" in text(post.newest("ben", 3))
    assert not unit.found("notice made", person="cleo")
    unit.move(LEVEL, "open")
    unit.said("occurrence ended", condition="high-level")
    assert unit.stop() == 0, unit.said_last()
    code = CODE.search(text(first))
    assert code is not None
    kept = (unit.state / "journal.db").read_bytes() + unit.log.read_bytes()
    assert code[1].encode() not in kept


def test_a_hostile_mailbox_is_not_noticed_by_the_alarm_path(post: Post) -> None:
    unit = post.unit
    unit.until(lambda: looked(post), "somebody looks into the mailbox")
    for raw in (*HOSTILE.values(), b"Subject: x\n\n" + b"x" * 100_000_000):
        post.box.put(raw)
    post.box.put(b"From: anna@example.org\nSubject: x\n\ntaken\n> Code b0000000\n")
    unit.move(LEVEL, "closed")
    for _ in range(3):  # and its reader is killed again and again while the alarm goes out
        os.kill(
            unit.until(lambda: child(unit, "relayd.mailbox.reader"), "a reader"), signal.SIGKILL
        )
    raised = unit.said("raised", condition="high-level")
    (owed,) = unit.found("notice made", person="anna", condition="high-level", why="raised")
    assert owed["up"] == raised["up"]  # in the very step, whatever lies in the mailbox
    unit.said("send taken", channel="anna.mail")
    post.reply("anna", post.newest("anna"), "taken 1 h")
    unit.said("command done", way="mailbox", by="anna", code="taken", seconds=90)
    assert unit.alarm("high-level")["taken"]["by"] == "Anna"
    assert {each["by"] for each in (e["body"] for e in unit.found("command done"))} == {"anna"}
    assert len(unit.found("answer not used")) > 1
    assert unit.stop() == 0, unit.said_last()


def looked(post: Post) -> bool:
    """Put a mail there, and see whether one was read: what came before the first look is left alone."""
    post.box.put(b"From: eve@example.org\nSubject: x\n\nhello\n")
    return bool(post.unit.found("answer not used"))


def child(unit: Unit, module: str) -> int | None:
    """The process id of the daemon's child that runs this module, if one does."""
    assert unit.process is not None
    for task in Path(f"/proc/{unit.process.pid}/task").glob("*/children"):
        for each in task.read_text().split():
            with suppress(FileNotFoundError, ProcessLookupError):
                if module in Path(f"/proc/{each}/cmdline").read_text():
                    return int(each)
    return None
