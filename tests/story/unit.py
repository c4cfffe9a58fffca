"""The daemon in a process of its own, and what a test may do with it: start, end, move, ask, await.

Nothing here waits for a time to pass: each wait is for the thing itself and has a deadline.
"""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from threading import Event as Flag
from time import monotonic
from typing import Any, Protocol, TypeVar

from relayd.control import client
from relayd.errors import RelaydError
from tests.story import journal, scripted
from tests.story.bell import Bell
from tests.story.journal import Record

ROOT = Path(__file__).parents[2]
PATIENCE = 30.0
READY = 45.0
"""Seconds a start may take: several units start at once on a small machine."""
TRIES = 10
"""Looks at a journal that is being begun anew just now."""

Value = TypeVar("Value")


class Wires(Protocol):
    """How the contacts are moved."""

    module: str
    chip: str

    def environment(self) -> dict[str, str]:
        """What the daemon must know of them."""

    def lines(self) -> Mapping[str, int]:
        """Input id -> line of the chip."""

    def stands(self, input: str) -> str:
        """How that contact stands: `open`, `closed` or `lost`."""

    def move(self, input: str, stands: str, process: "subprocess.Popen[bytes] | None") -> None:
        """Let a contact stand `open`, `closed` or `lost`."""


class Scripted:
    """Contacts in a file: moves are lines on the daemon's standard input."""

    module, chip = scripted.MODULE, "scripted"

    def __init__(self, file: Path, stand: Mapping[str, str]) -> None:
        self._file, self._stand = file, dict(stand)
        self._write()

    def environment(self) -> dict[str, str]:
        return {scripted.WIRES: str(self._file)}

    def lines(self) -> Mapping[str, int]:
        return {name: number for number, name in enumerate(self._stand)}

    def stands(self, input: str) -> str:
        return self._stand[input]

    def move(self, input: str, stands: str, process: "subprocess.Popen[bytes] | None") -> None:
        self._stand[input] = stands
        self._write()
        if process is not None and process.stdin is not None and process.poll() is None:
            os.write(process.stdin.fileno(), f"{input} is {stands}\n".encode())

    def _write(self) -> None:
        fresh = self._file.with_suffix(".new")
        fresh.write_text(json.dumps(self._stand))
        fresh.replace(self._file)


class Unit:
    """One unit: its plan, its state directory, and the daemon that runs on them just now."""

    def __init__(self, folder: Path, wires: Wires, state: Path | None = None) -> None:
        folder.mkdir(exist_ok=True)
        self.plan, self.run = folder / "plan.toml", folder / "run"
        self.state = state or folder / "state"
        self.log = folder / "unit.log"
        self.wires = wires
        self.environment: dict[str, str] = {}
        self.within: tuple[str, ...] = ()
        """What is written before the daemon's command: the network in which it runs."""
        self.process: subprocess.Popen[bytes] | None = None
        self._records: list[Record] = []
        self._notify = folder / "notify"
        self._room = folder / "copy"
        self._bell: Bell | None = None

    # The process

    def write_plan(self, text: str) -> None:
        """Put a plan where the daemon reads it."""
        self.plan.write_text(text)
        self.plan.chmod(0o600)

    def command(self, *words: str) -> list[str]:
        """`relayd` with these words, as a process of its own is started."""
        places = ["--plan", str(self.plan), "--state", str(self.state), "--run", str(self.run)]
        return [sys.executable, "-m", self.wires.module, *words, *places]

    def begin(self) -> None:
        """Start the daemon, and wait for nothing."""
        assert self.process is None
        self._bell = Bell(self._notify)
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [*self.within, *self.command("run")],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                cwd=ROOT,
                env=self.surroundings(),
            )

    def start(self) -> None:
        """Start the daemon, and wait until it watches."""
        self.begin()
        self.await_watching()

    def await_watching(self) -> None:
        """Wait for the word that systemd would get: once more after each start or reload."""
        end = monotonic() + READY
        assert self._bell is not None
        while not self._bell.rang(0.5):
            assert self.lives(), f"it ended with {self.status()}: {self.said_last()}"
            assert monotonic() < end, f"not ready: {self.said_last()}"

    def lives(self) -> bool:
        """Whether the process runs."""
        return self.process is not None and self.process.poll() is None

    def status(self) -> int | None:
        """The exit status of the process that ended."""
        return None if self.process is None else self.process.poll()

    def ends(self) -> int:
        """Wait for its own end; its exit status."""
        assert self.process is not None
        status = self.process.wait(PATIENCE)
        self._forget()
        return status

    def stop(self) -> int:
        """End it as systemd would; its exit status."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.ends()

    def kill(self) -> None:
        """`kill -9`: it says nothing and puts nothing in order."""
        assert self.process is not None
        self.process.kill()
        self.ends()

    def close(self) -> None:
        """Nothing of it is left."""
        if self.lives():
            self.kill()
        self._forget()

    def sender(self) -> int | None:
        """The process id of its sender, if one runs."""
        assert self.process is not None
        mine = Path(f"/proc/{self.process.pid}/task").glob("*/children")
        for each in [int(word) for file in mine for word in _text(file).split()]:
            if "relayd.channels.sender" in _text(Path(f"/proc/{each}/cmdline")):
                return each
        return None

    def said_last(self) -> str:
        """The end of what it wrote to its standard error."""
        return self.log.read_text(errors="replace")[-3000:]

    def surroundings(self) -> dict[str, str]:
        """The environment of its processes."""
        path = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH", "")]))
        own = {"PYTHONPATH": path, "NOTIFY_SOCKET": str(self._notify)}
        return {**os.environ, **own, **self.wires.environment(), **self.environment}

    def _forget(self) -> None:
        process, self.process = self.process, None
        bell, self._bell = self._bell, None
        if process is not None and process.stdin is not None:
            process.stdin.close()
        if bell is not None:
            bell.close()

    # The world

    def move(self, input: str, stands: str) -> None:
        """Let a contact stand `open`, `closed` or `lost`, whether anybody watches or not."""
        self.wires.move(input, stands, self.process)

    # Asking and awaiting

    def ask(self, do: str, what: Mapping[str, object] | None = None, by: str | None = None) -> Any:
        """Ask over the control socket. Raises RelaydError."""
        return client.ask(self.run / "control.sock", do, what, by)

    def relayd(self, *words: str, run: bool = True) -> "subprocess.CompletedProcess[str]":
        """Run a command of `relayd` beside the daemon (`run`: one that speaks to it)."""
        place = ["--run", str(self.run)] if run else []
        command = [sys.executable, "-m", "relayd", *words, *place]
        return subprocess.run(
            command,
            capture_output=True,
            text=True,
            cwd=ROOT,
            env=self.surroundings(),
            timeout=PATIENCE,
            check=False,
        )

    def alarms(self) -> list[Record]:
        """Every alarm that is not over, as `status` tells it."""
        found = self.ask("status")
        own: list[Record] = found["unit"]["alarms"]
        return own + [alarm for panel in found["panels"] for alarm in panel["alarms"]]

    def alarm(self, condition: str) -> Record:
        """The one alarm of that condition."""
        (found,) = [each for each in self.alarms() if each["condition"] == condition]
        return found

    def records(self) -> list[Record]:
        """The whole journal so far, each record with the boot time at which it was made."""
        after = self._records[-1]["n"] if self._records else 0
        fresh = None
        for _ in range(TRIES):
            if fresh is None:
                fresh = journal.records(self.state / "journal.db", after, self._room)
        self._records += fresh or []
        return self._records

    def kept(self, subject: str) -> Record:
        """What the journal keeps of a subject, beside its records: the state after a power cut."""
        path = self.state / "journal.db"
        return self.until(lambda: journal.kept(path, subject, self._room), f"{subject} is kept")

    def mark(self) -> int:
        """Where the journal now ends: `said(..., after=mark)` looks only at what follows."""
        found = self.records()
        return int(found[-1]["n"]) if found else 0

    def found(self, kind: str, after: int = 0, **body: object) -> list[Record]:
        """The records of that kind whose body (or subject) holds these values."""
        return [
            each
            for each in self.records()
            if each["kind"] == kind
            and each["n"] > after
            and all(
                {**each["body"], "subject": each["subject"]}.get(k) == v for k, v in body.items()
            )
        ]

    def said(
        self, kind: str, count: int = 1, after: int = 0, seconds: float = PATIENCE, **body: object
    ) -> Record:
        """The `count`-th such record, as soon as it is in the journal."""

        def there() -> list[Record] | None:
            found = self.found(kind, after, **body)
            return found if len(found) >= count else None

        return self.until(there, f"{kind} {body}", seconds)[count - 1]

    def until(
        self, holds: Callable[[], Value | None], what: str, seconds: float = PATIENCE
    ) -> Value:
        """The first value that is not None or False; fails with what the unit said instead."""
        never, end = Flag(), monotonic() + seconds
        while True:
            try:
                found = holds()
            except RelaydError as error:
                found, what = None, f"{what} ({error})"
            if found:
                return found
            if monotonic() > end:
                raise AssertionError(f"not within {seconds} s: {what}\n{self._tail()}")
            never.wait(0.02)

    def _tail(self) -> str:
        try:
            last = [
                f"{each['kind']} {each['subject']} {each['body']}" for each in self.records()[-15:]
            ]
        except RelaydError as error:
            last = [str(error)]
        return "\n".join([*last, self.said_last()])


@contextmanager
def closing(*units: Unit) -> Iterator[None]:
    """Whatever happens, no daemon is left."""
    try:
        yield
    finally:
        for each in units:
            each.close()


def _text(path: Path) -> str:
    try:
        return path.read_text(errors="replace")
    except (FileNotFoundError, ProcessLookupError):
        return ""  # it ended while we looked
