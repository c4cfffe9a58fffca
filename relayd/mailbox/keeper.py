"""The daemon's side of the mailbox: starts its reader, listens, watches it, starts it again.

Out, through `post`: what `Answers` makes of each mail, ChannelDown('mailbox') while nobody looks
into it, ChannelUp('mailbox') when somebody does. One thread of its own; nothing here is in the way
of an alarm, and whatever the reader does costs at most the reader.
"""

import os
import select
import sys
from collections.abc import Callable, Sequence
from threading import RLock, Thread
from typing import Any

from relayd.channels.patience import Pace, Patience
from relayd.channels.pipes import Pipes
from relayd.channels.redact import redact
from relayd.clock import boottime
from relayd.core.effects import Answer
from relayd.core.events import ChannelDown, ChannelUp, Event
from relayd.core.plan import MINUTE, SECOND
from relayd.mailbox.answers import WAY, Answers
from relayd.mailbox.mail import Mail
from relayd.mailbox.memory import Progress
from relayd.rig import Mailbox

COMMAND = (sys.executable, "-m", "relayd.mailbox.reader")
PACE = Pace(answer=MINUTE, load=2 * MINUTE, longest=2 * MINUTE)
"""A command of the reader takes at most half a minute; a server that is away is asked seldom."""


class Keeper:
    """Keeps somebody looking into the mailbox until `stop`. One object lives once."""

    def __init__(
        self,
        post: Callable[[Event], None],
        mailbox: Mailbox,
        answers: Answers,
        progress: Progress,
        command: Sequence[str] = COMMAND,
        pace: Pace = PACE,
    ) -> None:
        self._post, self._mailbox, self._answers, self._progress = post, mailbox, answers, progress
        self._command, self._pace = command, pace
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        self._thread: Thread | None = None
        self._lock = RLock()
        self._stopping = self._down = False
        self._deaths, self._trouble = 0, ""
        self._pid: int | None = None

    def start(self) -> None:
        """Begin to look. Waits for no server."""
        self._thread = Thread(target=self._run, name="mailbox", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Look no more; waits some seconds at most."""
        self._stopping = True
        os.eventfd_write(self._bell, 1)
        if self._thread is not None:
            self._thread.join(2 * self._pace.parting / SECOND)

    def alive(self) -> bool:
        """Whether the thread runs; the process may be between two lives."""
        return self._thread is not None and self._thread.is_alive()

    def pid(self) -> int | None:
        """The reader's process id, or None between two lives."""
        return self._pid

    def answer(self, answer: Answer) -> None:
        """The core has answered what came by mail. Called by the daemon's thread."""
        with self._lock:
            self._answers.answered(answer.token, answer.ok)
            self._progress.answered(answer.token)

    def look(self) -> None:
        """Record what was only counted, where there is room. Called by the daemon's thread."""
        with self._lock:
            self._answers.look()

    def _run(self) -> None:
        while not self._stopping:
            try:
                pipes = Pipes(self._command, self._bell)
            except OSError as problem:
                self._went_down(f"its reader cannot be started: {problem.strerror}")
            else:
                self._live(pipes)
            self._pause(self._pace.pause(self._deaths))

    def _live(self, pipes: Pipes) -> None:
        """One life of the reader."""
        self._pid, born, self._trouble = pipes.pid, boottime(), ""
        why = "its thread failed"
        try:
            why = self._serve(pipes)
        except (ValueError, LookupError, TypeError) as problem:
            why = f"its reader says what nobody understands: {problem}"
        finally:
            ended = pipes.end()
            self._pid = None
            if boottime() - born >= self._pace.settled:
                self._deaths = 0
            if not self._stopping:
                self._went_down(self._trouble or why or f"its reader {ended}")

    def _serve(self, pipes: Pipes) -> str:
        """Listen until the reader ends or relayd stops; why it is given up, or ''."""
        patience = Patience(self._pace, boottime())
        pipes.put(self._order())
        while not self._stopping and not pipes.closed:
            if question := patience.question(boottime()):
                pipes.put({"ping": question})
            left = min(patience.due() - boottime(), self._pace.ping)
            for said in pipes.wait(max(0, left) / SECOND):
                self._take(said, patience)
            if why := patience.overdue(boottime()):
                return f"its reader {why}"
        return ""

    def _order(self) -> dict[str, object]:
        box = self._mailbox
        return {
            "host": box.host,
            "port": box.port,
            "secure": box.secure,
            "ca": None if box.ca is None else str(box.ca),
            "user": box.user,
            "password": box.password.reveal(),
            "folder": box.folder,
            "since": self._progress.since(),
        }

    def _take(self, said: dict[str, Any], patience: Patience) -> None:
        if "beat" in said:
            patience.heard_beat(said["beat"], boottime())
        elif "ready" in said:
            patience.heard_ready(boottime())
            self._down = False
            self._post(ChannelUp(WAY))
        elif "trouble" in said:
            self._trouble = str(said["trouble"])
        else:
            with self._lock:
                self._look(said)

    def _look(self, said: dict[str, Any]) -> None:
        if "at" in said:
            self._progress.begun(_at(said["at"]))
        elif "looking" in said:
            self._progress.looking(_at(said["looking"]))
        else:
            self._read(said, _at(said["uid"]))

    def _read(self, said: dict[str, Any], at: tuple[int, int]) -> None:
        """One mail, or why it could not be taken apart."""
        token = id = ""
        if "unreadable" in said:
            self._answers.unreadable(str(said["unreadable"]))
        else:
            mail = Mail(**{**said["mail"], "codes": tuple(said["mail"]["codes"])})
            id = mail.id
            if self._progress.known(id):
                self._answers.again()
            else:
                token = self._answers.take(mail)
        if token:
            self._progress.asked(token, at, id)
        else:
            self._progress.done(at)

    def _went_down(self, why: str) -> None:
        self._deaths += 1
        with self._lock:
            if self._progress.died():
                self._answers.unreadable("its reader died at this mail twice; it is left out")
        if not self._down:
            box = self._mailbox
            self._post(ChannelDown(WAY, redact(why, [box.password.reveal(), box.user])))
        self._down = True

    def _pause(self, pause: int) -> None:
        """Wait before the next life, so that one that dies at once does not burn the processor."""
        end = boottime() + pause
        while not self._stopping and (left := end - boottime()) > 0:
            if select.select([self._bell], [], [], min(left, self._pace.ping) / SECOND)[0]:
                os.eventfd_read(self._bell)


def _at(said: Sequence[int]) -> tuple[int, int]:
    validity, uid = said
    return int(validity), int(uid)
