"""What is under measurement inside the guest: relayd, bare scripts, and what the kernel counts of them."""

import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from time import monotonic, monotonic_ns

PATIENCE = 60.0
ROOT = Path(__file__).parents[2]


@contextmanager
def process(command: Sequence[str]) -> Iterator["subprocess.Popen[str]"]:
    """A process that says `ready` on its output; killed at the end."""
    made = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    try:
        yield made
    finally:
        made.kill()
        made.communicate()


def bare(*words: object) -> list[str]:
    """The command of one of the bare scripts."""
    return [sys.executable, "-m", "tests.bench.bare", *map(str, words)]


def said(made: "subprocess.Popen[str]") -> list[str]:
    """The words of its next line."""
    assert made.stdout is not None
    words = made.stdout.readline().split()
    assert words, "a bare script ended"
    return words


def said_line(made: "subprocess.Popen[str]") -> tuple[str, str]:
    """Its next line: the first word, and the rest."""
    assert made.stdout is not None
    first, _, rest = made.stdout.readline().strip().partition(" ")
    assert first, "a bare script ended"
    return first, rest


class Unit:
    """relayd on a folder of the guest's disk; `stage` holds its compiled modules."""

    def __init__(self, folder: Path, stage: Path, module: str = "relayd") -> None:
        folder.mkdir(exist_ok=True)
        self.folder, self.plan = folder, folder / "plan.toml"
        # In memory: what is written to a log must neither count nor wait for the disk.
        self._log = Path("/run") / f"{folder.name}.log"
        self._stage, self._module = stage, module
        self._process: subprocess.Popen[bytes] | None = None
        self._bell = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._bell.bind(str(Path("/run") / f"{folder.name}.notify"))
        self._bell.settimeout(PATIENCE)

    def start(self) -> int:
        """Start it and wait for READY=1; ns from before the start to that."""
        places = ["--plan", self.plan, "--state", self.folder / "state", "--run", "/run/relayd"]
        began = monotonic_ns()
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", self._module, "run", *map(str, places)],
                cwd=self._stage,
                stderr=log,
                stdin=subprocess.DEVNULL,
                env={**os.environ, "NOTIFY_SOCKET": str(self._bell.getsockname())},
            )
        while self._bell.recv(4096) != b"READY=1":
            assert self._process.poll() is None, self.said_last()
        return monotonic_ns() - began

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def sender(self) -> int:
        """The process id of its sender."""
        for folder in Path("/proc").glob("[0-9]*"):
            with suppress(FileNotFoundError, ProcessLookupError):  # it ended while we looked
                words = (folder / "stat").read_text().rpartition(")")[2].split()
                if int(words[1]) == self.pid:
                    return int(folder.name)
        raise AssertionError("no sender runs")

    def stop(self) -> None:
        """End it as systemd would."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        self._process.wait(PATIENCE)
        self._bell.setblocking(False)
        while select.select([self._bell], [], [], 0)[0]:
            self._bell.recv(4096)
        self._bell.settimeout(PATIENCE)

    def said_last(self) -> str:
        """The end of its log."""
        return self._log.read_text(errors="replace")[-3000:]


def start_of(command: Sequence[str]) -> int:
    """ns from before the start of a process to its `ready`."""
    began = monotonic_ns()
    with process(command) as made:
        assert said(made) == ["ready"]
        return monotonic_ns() - began


def until(holds: "object", seconds: float = PATIENCE) -> None:
    """Wait until that call gives something true."""
    assert callable(holds)
    end = monotonic() + seconds
    while not holds():
        assert monotonic() < end, "it did not come to be"
        select.select([], [], [], 0.05)


def processor(pid: int) -> int:
    """Processor time of a process in ns, by its own clock (clock_getcpuclockid(3))."""
    return time.clock_gettime_ns((~pid << 3) | 2)


def wakeups(pid: int) -> int:
    """Voluntary context switches of all its threads."""
    found = 0
    for status in Path(f"/proc/{pid}/task").glob("*/status"):
        for line in status.read_text().splitlines():
            if line.startswith("voluntary_ctxt_switches"):
                found += int(line.split()[1])
    return found


def memory(pid: int) -> tuple[int, int]:
    """Resident bytes, and the same with what is shared divided by those who share it."""
    found = {}
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]:
        name, _, value = line.partition(":")
        found[name] = int(value.split()[0]) * 1024
    return found["Rss"], found["Pss"]


def disk() -> tuple[int, int]:
    """Bytes written to the guest's disk, and how often it was flushed."""
    os.sync()
    words = Path("/sys/block/ubda/stat").read_text().split()
    return int(words[6]) * 512, int(words[15])
