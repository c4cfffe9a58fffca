"""The reader as a process of its own, and what it says, line by line."""

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from relayd.mailbox.keeper import COMMAND
from relayd.rig import Mailbox


class Reading:
    """One life of the reader."""

    def __init__(self, box: Mailbox, since: tuple[int, int] | None = None) -> None:
        self.process = subprocess.Popen(
            COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        self.order(
            {
                **{"host": box.host, "port": box.port, "secure": box.secure, "user": box.user},
                **{"ca": None if box.ca is None else str(box.ca), "folder": box.folder},
                **{"password": box.password.reveal(), "since": since},
            }
        )

    def order(self, order: object) -> None:
        """Write a line to it."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(order) + "\n")
        self.process.stdin.flush()

    def says(self) -> Any:
        """Its next line."""
        assert self.process.stdout is not None
        return json.loads(self.process.stdout.readline())

    def mail(self) -> Any:
        """What it says of the next mail."""
        while not {"mail", "unreadable"} & set(said := self.says()):
            pass
        return said

    def parts(self) -> int:
        """Close its input; how it ends."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        return self.process.wait(20)


@contextmanager
def reading(box: Mailbox, since: tuple[int, int] | None = None) -> Iterator[Reading]:
    """A reader that is killed where a test fails."""
    one = Reading(box, since)
    try:
        yield one
    finally:
        one.process.kill()
        one.process.wait()
        for pipe in (one.process.stdin, one.process.stdout):
            if pipe is not None:
                pipe.close()
