"""The sender's children: one forked process a send, started, listened to, and ended in time.

In: orders as JSON lines on the standard input. Out: outcomes as JSON lines. Knows nothing of
services: `deliver` is given, and runs in the child. This process has one thread, so a fork is safe.
"""

import ctypes
import json
import os
import selectors
import signal
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Any, NoReturn

from relayd.channels.redact import redact
from relayd.channels.turns import Job, Running, next_job, to_end
from relayd.channels.verdict import Verdict
from relayd.clock import boottime
from relayd.core.events import Outcome
from relayd.core.plan import SECOND

PARTING = 3 * SECOND
"""How long the sends that run may go on after the input was closed."""
NOISE = 4096
"""Bytes kept of what a child wrote to its standard error."""
PIPE = 65536
"""Bytes that a pipe of the kernel's holds."""

_PR_SET_PDEATHSIG = 1

Deliver = Callable[[Job], Verdict]


def die_with_parent() -> None:
    """Ask the kernel to kill this process when its parent ends, however it ends."""
    ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)


@dataclass(slots=True)
class _Child:
    """A forked send: its end is seen at `pidfd`, its answer comes through `answer`."""

    run: Running
    pid: int
    pidfd: int
    answer: int
    stderr: int
    deadline: int
    killed: bool = False
    why: str = "the send ended without an answer"
    noise: bytes = b""


class Children:
    """The loop: reads orders from descriptor 0, writes outcomes to the descriptor `out`.

    A send may take `limit` ns; `room` ns where channels wait that have no place at all.
    """

    def __init__(self, deliver: Deliver, out: int, limit: int, room: int) -> None:
        self._deliver, self._out, self._limit, self._room = deliver, out, limit, room
        self._poll = selectors.DefaultSelector()
        self._waiting: list[Job] = []
        self._children: list[_Child] = []
        self._partial = b""
        self._open = True

    def run(self) -> None:
        """Work until the input is closed and what runs has ended."""
        self._poll.register(0, selectors.EVENT_READ, self._read)
        self._say({"ready": True})
        while self._open or self._children:
            for key, _ in self._poll.select(self._wait()):
                key.data()
            self._end_overdue()
            while job := next_job(self._waiting, self._running()):
                self._waiting.remove(job)
                self._start(job)

    def _running(self) -> list[Running]:
        return [child.run for child in self._children]

    def _wait(self) -> float | None:
        now = boottime()
        due = [child.deadline for child in self._children]
        if self._waiting:
            # One that is already past making room has no place to give; look again at the next.
            due += [at for run in self._running() if (at := run.since + self._room) > now]
        return max(0, min(due) - now) / SECOND if due else None

    def _read(self) -> None:
        piece = os.read(0, 65536)
        if not piece:
            self._part()
            return
        *lines, self._partial = (self._partial + piece).split(b"\n")
        for line in lines:
            self._obey(json.loads(line))

    def _obey(self, order: dict[str, Any]) -> None:
        if "ping" in order:
            self._say({"beat": order["ping"]})
        elif "withdraw" in order:
            self._withdraw(order["withdraw"])
        else:
            self._waiting.append(Job(**order))

    def _withdraw(self, send: int) -> None:
        for job in [each for each in self._waiting if each.send == send]:
            self._waiting.remove(job)
            self._say({"withdrawn": send})

    def _part(self) -> None:
        self._open = False
        self._poll.unregister(0)
        self._waiting.clear()
        for child in self._children:
            child.deadline = min(child.deadline, boottime() + PARTING)

    def _end_overdue(self) -> None:
        now = boottime()
        makes_room = to_end(self._waiting, self._running(), now, self._room)
        for child in self._children:
            if now >= child.deadline:
                _kill(child, f"took longer than {self._limit / SECOND:g} s")
            elif child.run is makes_room:
                _kill(child, f"took longer than {self._room / SECOND:g} s while others waited")

    def _start(self, job: Job) -> None:
        answer, give = os.pipe()
        stderr, noise = os.pipe()
        parent, now = os.getpid(), boottime()
        try:
            pid = os.fork()
        except OSError as problem:
            for each in (answer, give, stderr, noise):
                os.close(each)
            self._tell(job, Verdict(Outcome.FAILED, f"could not start: {problem.strerror}"))
            return
        if not pid:
            _in_child(self._deliver, job, give, noise, parent)
        os.close(give)
        os.close(noise)
        for each in (answer, stderr):
            os.set_blocking(each, False)
        run = Running(job, now)
        child = _Child(run, pid, os.pidfd_open(pid), answer, stderr, now + self._limit)
        self._children.append(child)
        self._poll.register(child.pidfd, selectors.EVENT_READ, partial(self._ended, child))
        self._poll.register(stderr, selectors.EVENT_READ, partial(self._hear, child))

    def _hear(self, child: _Child) -> None:
        """Keep its standard error flowing, or it would stand still at a full pipe."""
        if child not in self._children or child.stderr not in self._poll.get_map():
            return
        piece = _pour(child.stderr)
        child.noise = (child.noise + (piece or b""))[-NOISE:]
        if piece == b"":
            self._poll.unregister(child.stderr)

    def _ended(self, child: _Child) -> None:
        self._hear(child)
        os.waitpid(child.pid, 0)
        self._children.remove(child)
        said = _pour(child.answer)
        for each in (child.pidfd, child.stderr, child.answer):
            with suppress(KeyError):  # not watched, or not any more
                self._poll.unregister(each)
            os.close(each)
        outcome, detail, again = json.loads(said) if said else (Outcome.FAILED, child.why, 0)
        if outcome != Outcome.TAKEN and child.noise:
            detail = f"{detail}; {child.noise.decode(errors='replace')}"
        self._tell(child.run.job, Verdict(Outcome(outcome), detail, again))

    def _tell(self, job: Job, how: Verdict) -> None:
        detail = redact(how.detail, [job.address])
        again = {"again": how.again} if how.again else {}
        self._say({"send": job.send, "outcome": how.outcome, "detail": detail, **again})

    def _say(self, line: dict[str, object]) -> None:
        rest = json.dumps(line).encode() + b"\n"
        while rest:
            rest = rest[os.write(self._out, rest) :]


def _kill(child: _Child, why: str) -> None:
    if not child.killed:
        child.killed, child.why = True, why
    child.deadline = boottime() + SECOND  # and again, should it not have died by then
    try:
        os.killpg(child.pid, signal.SIGKILL)
    except ProcessLookupError:  # it has no group of its own yet, or has just ended
        signal.pidfd_send_signal(child.pidfd, signal.SIGKILL)


def _in_child(deliver: Deliver, job: Job, answer: int, noise: int, parent: int) -> NoReturn:
    """Send in the forked child, and end it without touching what it shares with the sender."""
    status = 1
    try:
        os.setsid()
        die_with_parent()
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        nothing = os.open(os.devnull, os.O_RDWR)
        for ours, theirs in ((nothing, 0), (nothing, 1), (noise, 2)):
            os.dup2(ours, theirs)
        if os.getppid() == parent:
            how = deliver(job)
            os.write(answer, json.dumps([how.outcome, how.detail[:16384], how.again]).encode())
            status = 0
    finally:
        os._exit(status)


def _pour(descriptor: int) -> bytes | None:
    """What lies in a pipe, b"" at its end, None where it is open and empty."""
    try:
        return os.read(descriptor, PIPE)
    except BlockingIOError:
        return None
