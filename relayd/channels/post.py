"""The daemon's side of the sender: starts it, feeds it, watches it, starts it again.

In: `tell` and `withdraw`, from any thread, which never wait. Out, through `post`: one Sent for
every send in hand, ChannelDown('sender') when the process ends or hangs, ChannelUp('sender')
when it is ready. One thread of its own does the rest.
"""

import json
import os
import select
import subprocess
import sys
from collections.abc import Iterable, Mapping, Sequence
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Any

from relayd.channels.ledger import Ledger
from relayd.channels.patience import Pace, Patience
from relayd.channels.pipes import Pipes
from relayd.channels.redact import redact
from relayd.clock import boottime
from relayd.contacts import Post as Take
from relayd.core.effects import Tell
from relayd.core.events import ChannelDown, ChannelUp, Outcome, Sent
from relayd.core.plan import SECOND, seconds
from relayd.errors import RelaydError
from relayd.rig import Secret

COMMAND = (sys.executable, "-m", "relayd.channels.sender")
SENDER = "sender"
AHEAD = 65536
"""Bytes written ahead to the sender; what is not written yet can still be taken back here."""
CHECKING = 120
"""Seconds that a check of addresses may take."""


class Post:
    """The way to the message services. `addresses` maps channel names to Apprise addresses.

    After `stop` nothing is in hand: what was not answered by then is posted as failed.
    """

    def __init__(
        self,
        post: Take,
        addresses: Mapping[str, Secret],
        command: Sequence[str] | None = None,
        pace: Pace | None = None,
    ) -> None:
        self._post = post
        self._addresses = addresses
        self._command = command or COMMAND
        self._pace = pace or Pace()
        self._ledger = Ledger()
        self._withdrawn: SimpleQueue[int] = SimpleQueue()
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        self._thread: Thread | None = None
        self._stopping = False
        self._down = False
        self._deaths = 0
        self._beat = boottime()
        self._pid: int | None = None

    def start(self) -> None:
        """Start the sender, and keep it running until `stop`."""
        self._thread = Thread(target=self._run, name="sender", daemon=True)
        self._thread.start()

    def tell(self, tell: Tell) -> None:
        """Hand out one send; never blocks. A send that is still in hand is not sent twice."""
        if tell.channel not in self._addresses:
            self._post(Sent(tell.send, Outcome.REFUSED, "no address for this channel"))
        elif why_not := self._ledger.offer(tell):
            self._post(Sent(tell.send, Outcome.FAILED, why_not))
        else:
            self._ring()

    def withdraw(self, send: int) -> None:
        """Take a send back if it has not left: then nothing is posted for it. Never blocks."""
        if self._ledger.withdraw(send):
            self._withdrawn.put(send)
            self._ring()

    def settled(self, send: int) -> None:
        """What became of a send is on the disk: the next of its channel may leave. Never blocks."""
        self._ledger.settled(send)
        self._ring()

    def stop(self) -> None:
        """Give what is being sent some seconds to end, then end the sender."""
        self._stopping = True
        self._ring()
        if self._thread is not None:
            self._thread.join(2 * self._pace.parting / SECOND)
        self._fail(self._ledger.close(), "relayd is stopping")

    def beat(self) -> int:
        """Boot time (ns) of the thread's last turn; it turns at least every `Pace.ping`."""
        return self._beat

    def alive(self) -> bool:
        """Whether the thread runs; the process may be between two lives."""
        return self._thread is not None and self._thread.is_alive()

    def pid(self) -> int | None:
        """The process's id, or None between two lives."""
        return self._pid

    def _run(self) -> None:
        while not self._stopping:
            try:
                pipes = Pipes(self._command, self._bell)
            except OSError as problem:
                self._went_down(f"cannot be started: {problem.strerror}")
            else:
                self._live(pipes)
            self._pause(self._pace.pause(self._deaths))

    def _live(self, pipes: Pipes) -> None:
        """One life of the sender, from its start to its end."""
        self._pid, born = pipes.pid, boottime()
        why = "its thread failed"
        try:
            why = self._serve(pipes)
        except ValueError as problem:
            why = f"says what nobody understands: {problem}"
        finally:
            ended = pipes.end()
            self._pid = None
            if boottime() - born >= self._pace.settled:
                self._deaths = 0
            if not self._stopping:
                self._went_down(why or ended)
                self._fail(self._ledger.lost(), "the sender ended")

    def _serve(self, pipes: Pipes) -> str:
        """Turn until the sender ends or relayd stops; why the sender is given up, or ''."""
        patience = Patience(self._pace, boottime())
        while not self._stopping and not pipes.closed:
            if patience.ready:
                self._feed(pipes)
            if question := patience.question(self._turn()):
                pipes.put({"ping": question})
            self._listen(pipes, patience, self._due(pipes, patience))
            if why := patience.overdue(self._turn()):
                return why
        if self._stopping and patience.ready:
            pipes.part()
            end = boottime() + self._pace.parting
            while not pipes.closed and self._turn() < end:
                self._listen(pipes, patience, end)
        return ""

    def _due(self, pipes: Pipes, patience: Patience) -> int:
        room = patience.ready and pipes.backlog() < AHEAD
        behind = self._ledger.due() if room else None
        return patience.due() if behind is None else min(patience.due(), behind)

    def _turn(self) -> int:
        self._beat = boottime()
        return self._beat

    def _feed(self, pipes: Pipes) -> None:
        while pipes.backlog() < AHEAD and (tell := self._ledger.next(boottime())):
            pipes.put(self._order(tell))
        while True:
            try:
                pipes.put({"withdraw": self._withdrawn.get_nowait()})
            except Empty:
                return

    def _order(self, tell: Tell) -> dict[str, object]:
        return {
            "send": tell.send,
            "channel": tell.channel,
            "address": self._addresses[tell.channel].reveal(),
            "title": tell.title,
            "body": tell.body,
            "priority": tell.priority,
        }

    def _listen(self, pipes: Pipes, patience: Patience, until: int) -> None:
        wait = min(until - boottime(), self._pace.ping)
        for said in pipes.wait(max(0, wait) / SECOND):
            self._take(said, patience)

    def _take(self, said: dict[str, Any], patience: Patience) -> None:
        if "ready" in said:
            patience.heard_ready(boottime())
            self._down = False
            self._post(ChannelUp(SENDER))
        elif "beat" in said:
            patience.heard_beat(said["beat"], boottime())
        elif "withdrawn" in said:
            self._ledger.done(said["withdrawn"])
            self._ledger.settled(said["withdrawn"])
        elif self._ledger.done(said["send"]):
            again = seconds(said.get("again", 0))
            self._post(Sent(said["send"], Outcome(said["outcome"]), said["detail"], again))

    def _went_down(self, why: str) -> None:
        self._deaths += 1
        if not self._down:
            secrets = [address.reveal() for address in self._addresses.values()]
            self._post(ChannelDown(SENDER, redact(why, secrets)))
        self._down = True

    def _fail(self, sends: Iterable[int], why: str) -> None:
        for send in sends:
            self._post(Sent(send, Outcome.FAILED, why))

    def _pause(self, pause: int) -> None:
        """Wait before the next start, so that one that dies at once does not burn the processor."""
        end = boottime() + pause
        while not self._stopping and (left := end - self._turn()) > 0:
            rung, _, _ = select.select([self._bell], [], [], min(left, self._pace.ping) / SECOND)
            if rung:
                os.eventfd_read(self._bell)

    def _ring(self) -> None:
        os.eventfd_write(self._bell, 1)


def address_problem(address: str) -> str | None:
    """Why Apprise cannot use this address, without showing it; None where it can."""
    return address_problems([address])[0]


def address_problems(addresses: Sequence[str]) -> list[str | None]:
    """Of each address why it cannot be used, or None; one process looks at all. Sends nothing.

    Raises RelaydError where the check itself did not come to an end.
    """
    asked = "".join(json.dumps(each) + "\n" for each in addresses)
    try:
        check = subprocess.run(
            [*COMMAND, "--check"], input=asked, capture_output=True, text=True, timeout=CHECKING
        )
    except (OSError, subprocess.TimeoutExpired) as problem:
        raise RelaydError(f"addresses could not be checked: {type(problem).__name__}") from problem
    answers = [json.loads(line) for line in check.stdout.splitlines()]
    if check.returncode or len(answers) != len(addresses):
        said = redact(check.stderr.strip().rpartition("\n")[2], addresses)
        raise RelaydError(f"addresses could not be checked: {said}")
    return answers
