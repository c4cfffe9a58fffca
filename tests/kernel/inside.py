"""What runs inside the guest: its first process, and the simulated pins that the tests move."""

import ctypes
import fcntl
import json
import os
import subprocess
import sys
import termios
from pathlib import Path

CONFIG = Path("/sys/kernel/config/gpio-sim")
LABEL = "sim-panel"
FREEZE, THAW = 0xC0045877, 0xC0045878  # linux/fs.h: FIFREEZE, FITHAW
POWER_OFF = 0x4321FEDC  # linux/reboot.h


class Sim:
    """A simulated gpiochip. A line's pull is its level while nobody drives it."""

    def __init__(self, name: str = LABEL, lines: int = 32, label: str | None = None) -> None:
        label = label or name
        self.label = label
        self._folder = CONFIG / name
        bank = self._folder / "bank0"
        bank.mkdir(parents=True)
        (bank / "num_lines").write_text(str(lines))
        (bank / "label").write_text(label)
        self._pulls: dict[int, int] = {}
        self.restore()

    def move(self, line: int, high: bool) -> None:
        """Put the line high or low."""
        if line not in self._pulls:
            self._pulls[line] = os.open(self._line(line) / "pull", os.O_WRONLY)
        os.pwrite(self._pulls[line], b"pull-up" if high else b"pull-down", 0)

    @property
    def path(self) -> str:
        """Its node under /dev; another one after each `restore`."""
        return "/dev/" + (self._folder / "bank0" / "chip_name").read_text().strip()

    def remove(self) -> None:
        """Take the chip out of the machine, whoever holds it.

        Linux 6.1 never frees the numbers of a chip that was in use: about 15 times a boot.
        """
        for descriptor in self._pulls.values():
            os.close(descriptor)
        self._pulls.clear()
        self._live("0")

    def restore(self) -> None:
        """Put the chip (back) in; all its lines stand low."""
        self._live("1")

    def close(self) -> None:
        """Remove the chip for good."""
        self.remove()
        (self._folder / "bank0").rmdir()
        self._folder.rmdir()

    def _live(self, wanted: str) -> None:
        live = self._folder / "live"
        if live.read_text().strip() != wanted:
            live.write_text(wanted)

    def _line(self, line: int) -> Path:
        device = (self._folder / "dev_name").read_text().strip()
        chip = (self._folder / "bank0" / "chip_name").read_text().strip()
        return Path("/sys/devices/platform") / device / chip / f"sim_gpio{line}"


def freeze(folder: Path) -> None:
    """Stop every write to the file system that holds the folder, until `thaw`."""
    _ioctl(folder, FREEZE)


def thaw(folder: Path) -> None:
    """Let the writes go on."""
    _ioctl(folder, THAW)


def _ioctl(folder: Path, request: int) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.ioctl(descriptor, request, 0)
    finally:
        os.close(descriptor)


def _prepare(disk: str | None) -> None:
    mounts = [
        ("proc", "/proc"),
        ("sysfs", "/sys"),
        ("configfs", "/sys/kernel/config"),
        ("tmpfs", "/run"),
    ]
    for kind, at in mounts:
        _command("mount", "-t", kind, kind, at)
    # The kernel itself has mounted a new /dev, with nothing in it but devices.
    Path("/dev/shm").mkdir(exist_ok=True)
    _command("mount", "-t", "tmpfs", "tmpfs", "/dev/shm")
    _command("ip", "link", "set", "lo", "up")
    if disk is not None:
        _command("mount", "-t", "ext4", "/dev/ubda", disk)


def _command(*words: str) -> None:
    subprocess.run(words, check=True, env={"PATH": "/usr/sbin:/usr/bin:/sbin:/bin"})


def _plain_console() -> None:
    settings = termios.tcgetattr(1)
    settings[1] &= ~termios.OPOST
    termios.tcsetattr(1, termios.TCSANOW, settings)


def _work(job: dict[str, object]) -> int:
    """Run the job and reap everybody else until it ends; its status as a shell would give it."""
    command, env, cwd = job["command"], job["env"], job["cwd"]
    assert isinstance(command, list)
    assert isinstance(env, dict)
    assert isinstance(cwd, str)
    process = subprocess.Popen(command, env=env, cwd=cwd, start_new_session=True)
    while True:
        pid, status = os.wait()
        if pid == process.pid:
            code = os.waitstatus_to_exitcode(status)
            return code if code >= 0 else 128 - code


def main(path: str) -> None:
    """Be the first process: prepare, work, say the status, power off."""
    status = 125
    try:
        _plain_console()
        job = json.loads(Path(path).read_text())
        print("--- guest is up", flush=True)
        _prepare(job["disk"])
        status = _work(job)
    finally:
        os.sync()
        print(f"--- guest ends with {status}", flush=True)
        ctypes.CDLL(None).reboot(POWER_OFF)


if __name__ == "__main__":
    main(sys.argv[1])
