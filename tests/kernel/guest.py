"""Boots the user-mode kernel on this machine's own files and runs Python in it as root.

The guest sees the same tree, the same interpreter and the same packages; what differs is the
kernel: it has simulated pins, and its power can be cut. Nothing here outlives its `with` block.
"""

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event as Flag, Thread
from time import monotonic
from types import TracebackType

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
READY = "--- guest is up"
STATUS = "--- guest ends with "
NO_KERNEL = "no kernel in the cache (run tests/kernel/build), or none that this machine can run"


@dataclass(frozen=True, slots=True)
class Disk:
    """An ext4 image and the directory of the guest at which it is mounted."""

    image: Path
    at: Path


@dataclass(frozen=True, slots=True)
class Finished:
    """How the program in the guest ended; `status` is None where the guest died before it did."""

    status: int | None
    output: str


@cache
def program() -> Path | None:
    """The kernel, if it is in the cache and this machine can run it."""
    found = subprocess.run(
        [HERE / "build", "--where"], capture_output=True, text=True, timeout=10, check=False
    )
    kernel = Path(found.stdout.strip()) if found.returncode == 0 else None
    return kernel if kernel is not None and runs(kernel) else None


def runs(kernel: Path) -> bool:
    """Whether a first program runs in it: a processor that is newer than the kernel may forbid it."""
    with tempfile.TemporaryDirectory(prefix="relayd-guest-") as folder:
        init = Path(folder) / "init"
        init.write_text(f'#!/bin/sh\necho "{READY}"\n')
        init.chmod(0o755)
        try:
            tried = subprocess.run(
                [kernel, *_parameters(Path(folder), init, None)],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                errors="replace",
                timeout=60,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return False
    return READY in tried.stdout


def make_disk(image: Path, megabytes: int = 64) -> None:
    """Write an empty ext4 file system into a new image."""
    with image.open("wb") as file:
        file.truncate(megabytes << 20)
    subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True, timeout=60)


class Guest:
    """One boot. `args` are the interpreter's: a script, or `-m`, a module and what it takes."""

    def __init__(
        self,
        args: Sequence[str | Path],
        env: Mapping[str, str] | None = None,
        disk: Disk | None = None,
    ) -> None:
        self._args = [str(each) for each in args]
        self._env = {**_environment(), **(env or {})}
        self._disk = disk
        self._lines: SimpleQueue[str | None] = SimpleQueue()
        self._output: list[str] = []
        self._status: int | None = None

    def __enter__(self) -> "Guest":
        self._folder = tempfile.TemporaryDirectory(prefix="relayd-guest-")
        try:
            self._process = self._boot(Path(self._folder.name))
        except BaseException:
            self._folder.cleanup()
            raise
        self._reader = Thread(target=self._read, daemon=True)
        self._reader.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.cut_power()
        self._folder.cleanup()

    @property
    def pid(self) -> int:
        """The kernel's process, which leads a process group of its own."""
        return self._process.pid

    def cut_power(self) -> None:
        """Kill the kernel with all its processes: what its disk had not flushed is lost."""
        if self._process.returncode is not None:
            return
        os.killpg(self.pid, signal.SIGKILL)
        self._process.wait(timeout=30)
        self._wait_for_all(monotonic() + 10)
        self._reader.join(timeout=30)
        if self._process.stdout is not None:
            self._process.stdout.close()

    def rest(self) -> list[str]:
        """The lines that came before the power was cut and were not read yet."""
        lines = []
        while (line := self._next(monotonic())) is not None:
            lines.append(line)
        return lines

    def _wait_for_all(self, end: float) -> None:
        """Wait for the kernel's own children too: they hold its memory until they are dead."""
        never = Flag()
        while living(self.pid) and monotonic() < end:
            never.wait(0.002)

    def until(self, wanted: Callable[[str], bool], seconds: float) -> str:
        """Read on to the first line that is wanted. Raises AssertionError with what came instead."""
        end = monotonic() + seconds
        while (line := self._next(end)) is not None:
            if wanted(line):
                return line
        raise AssertionError("the guest never said it:\n" + "".join(self._output))

    def finish(self, seconds: float) -> Finished:
        """Wait for the program to end; after that many seconds the power is cut."""
        end = monotonic() + seconds
        while self._next(end) is not None:
            pass
        self.cut_power()
        return Finished(self._status, "".join(self._output))

    def _next(self, end: float) -> str | None:
        """The next line of the program, or None at its end or after the deadline."""
        try:
            line = self._lines.get(timeout=max(0.0, end - monotonic()))
        except Empty:
            return None
        if line is not None:
            self._output.append(line)
        return line

    def _boot(self, folder: Path) -> "subprocess.Popen[str]":
        kernel = program()
        if kernel is None:
            raise FileNotFoundError("no kernel in the cache: run tests/kernel/build")
        return subprocess.Popen(
            [kernel, *_parameters(folder, self._init(folder), self._disk)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            start_new_session=True,
            cwd=folder,
        )

    def _init(self, folder: Path) -> Path:
        job = {
            "command": [sys.executable, *self._args],
            "env": self._env,
            "cwd": str(ROOT),
            "disk": str(self._disk.at) if self._disk else None,
        }
        (folder / "job.json").write_text(json.dumps(job))
        init = folder / "init"
        inside = HERE / "inside.py"
        init.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{inside}" "{folder}/job.json"\n')
        init.chmod(0o755)
        return init

    def _read(self) -> None:
        """Sort the console: the kernel's own lines are dropped, the status is kept."""
        assert self._process.stdout is not None
        up = False
        for raw in self._process.stdout:
            line = raw.replace("\r", "")
            if line.startswith(STATUS):
                self._status = int(line.removeprefix(STATUS))
                break
            if up:
                self._lines.put(line)
            up = up or line.startswith(READY)
        self._lines.put(None)


def run(
    args: Sequence[str | Path],
    seconds: float,
    env: Mapping[str, str] | None = None,
    disk: Disk | None = None,
) -> Finished:
    """Run one program in a guest of its own, for that many seconds at most."""
    with Guest(args, env, disk) as guest:
        return guest.finish(seconds)


def living(group: int) -> list[int]:
    """The processes of a group that still run (one that is dead but not yet reaped does not)."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = stat.read_text().rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue  # it ended while we looked
        if int(words[2]) == group and words[0] not in "ZX":
            found.append(int(stat.parent.name))
    return found


def _parameters(folder: Path, init: Path, disk: Disk | None) -> list[str]:
    return [
        "mem=512M",
        "root=/dev/root",
        "rootfstype=hostfs",
        "rootflags=/",
        "rw",
        f"init={init}",
        f"uml_dir={folder}",
        "con=null",
        "con0=fd:0,fd:1",
        "loglevel=1",
        *([f"ubd0={disk.image}"] if disk else []),
    ]


def _environment() -> dict[str, str]:
    path = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH", "")]))
    return {
        "PATH": f"{Path(sys.executable).parent}:/usr/sbin:/usr/bin:/sbin:/bin",
        "PYTHONPATH": path,
        "PYTHONDONTWRITEBYTECODE": "1",
        "PYTHONUNBUFFERED": "1",
        "HOME": "/run",
        "LANG": "C.UTF-8",
    }
