"""A mailbox full of mails that are made to hurt: the alarm path does not notice, and answers still count."""

import os
import signal
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from threading import Event, Thread
from time import monotonic

import pytest

from relayd.mailbox.parsing import MEMORY
from tests.faults import hostile_mails
from tests.faults.forged_mails import BEN
from tests.faults.forged_stage import Besieged, asked, besieged, code, held
from tests.mailbox.mails import answer
from tests.servers.imap import dovecot

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.timeout(150),
    pytest.mark.skipif(dovecot() is None, reason="no Dovecot here, or not as root (dovecot-imapd)"),
]


def test_what_is_made_to_hurt_costs_at_most_the_reader_and_a_good_answer_counts() -> None:
    _, seed = asked(1)
    with TemporaryDirectory(prefix="f") as folder, besieged(Path(folder)) as at:
        at.raises("cabin")
        to_ben = at.came("ben", 0, "HIGH LEVEL - Cabin")
        had, mails = at.memory(), list(hostile_mails.every().items())
        Random(seed).shuffle(mails)
        began, most = monotonic(), Most(at)
        most.start()
        for number, (name, raw) in enumerate(mails):
            at.box.put(raw)
            if number == len(mails) // 2:
                _, _, after = at.alarm_in_time("mill")
            print(f"  {name}: {len(raw):,} bytes")
        os.kill(at.unit.until(at.reader, "a reader"), signal.SIGKILL)
        first = at.lag()
        at.box.put(answer("taken 1 h", code(to_ben), BEN, "<9@example.org>"))
        at.unit.said("command done", way="mailbox", by="ben", code="taken", seconds=120)
        took = monotonic() - began
        most.stop()
        print(f"{len(mails)} mails and Ben's answer in {took:.0f} s; first message {after:.2f} s")
        print(f"{at.lags.words()}, {first * 1e3:.0f} ms when the reader died")
        print(f"{at.memory_held(had)}; reader and children at most {most.reader} KiB")
        # Its own limit is of address space; what it really has stays within that.
        assert 0 < most.reader * 1024 < MEMORY
        assert at.acknowledged() == [("ben", "taken", "panel:cabin")]
        assert at.unit.ask("status")["unit"]["ways"]["mailbox"] == "up"
        assert at.unit.stop() == 0, at.unit.said_last()


class Most(Thread):
    """Looks again and again at the memory of the reader and of its child, and at the loop."""

    def __init__(self, at: Besieged) -> None:
        super().__init__(daemon=True)
        self.reader = 0
        self._at, self._over = at, Event()

    def run(self) -> None:
        while not self._over.wait(0.02):
            pid = self._at.reader()
            for each in family(pid) if pid else ():
                self.reader = max(self.reader, held(each))

    def stop(self) -> None:
        self._over.set()
        self.join()


def family(pid: int) -> list[int]:
    """The process and its children."""
    try:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except (FileNotFoundError, ProcessLookupError):
        return []
    return [pid, *map(int, children)]
