"""The unit file under a real service manager. Not collected by itself: test_service.py boots it.

`python -m tests.kernel.service_inside` is a service beside relayd's, as root. It says one line for each thing that
was seen and how long it took, and ends the guest.
"""

import os
import shutil
import signal
import subprocess
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from threading import Event as Flag

from tests.kernel.inside import Sim
from tests.kernel.service_plan import LINE, plan
from tests.story.mailbox import Mailbox, mailbox

MARK = "service| "
SOURCE = Path("/opt/source/systemd")
PLAN = Path("/etc/relayd/relayd.toml")
STATE = Path("/var/lib/relayd")
NAME = "relayd.service"


def say(what: str, seconds: float | None = None) -> None:
    """One row for the host."""
    after = "" if seconds is None else f"{seconds:7.2f} s"
    print(f"{MARK}{after:>9} | {what}", flush=True)


def run(*words: str) -> str:
    """A command that must end well; what it said."""
    done = subprocess.run(words, capture_output=True, text=True, timeout=200, check=False)
    assert done.returncode == 0, f"{words}: {done.returncode} {done.stdout} {done.stderr}"
    return done.stdout.strip()


def shown(name: str, unit: str = NAME) -> str:
    """A property of a unit, as systemd has it."""
    return run("systemctl", "show", "-p", name, "--value", unit)


def until(holds: Callable[[], bool], what: str, seconds: float) -> float:
    """Wait for something to be so; how long it took."""
    began, never = time.monotonic(), Flag()
    while not holds():
        assert time.monotonic() < began + seconds, f"not within {seconds} s: {what}\n{_last()}"
        never.wait(0.1)
    return time.monotonic() - began


def _last() -> str:
    done = subprocess.run(
        ["systemctl", "status", "--no-pager", "-n", "40", "-l", NAME],
        capture_output=True,
        text=True,
    )
    return done.stdout + done.stderr


class Story:
    """What is done to the service, in its order."""

    def __init__(self, mail: Mailbox) -> None:
        self.mail = mail
        self.sim = Sim()

    def installed(self) -> None:
        """As the files of systemd/ say it, each at its place."""
        run("systemd-sysusers", str(SOURCE / "relayd.sysusers"))
        run("systemd-tmpfiles", "--create", str(SOURCE / "relayd.tmpfiles"))
        # No udev in here: what 60-relayd.rules says of a chip is done by hand.
        shutil.chown(self.sim.path, "root", "gpio")
        os.chmod(self.sim.path, 0o660)
        secret = Path("/etc/relayd/credentials/anna-mail")
        secret.write_text(self.mail.address("anna").replace("127.0.0.1", "mail.example.org"))
        secret.chmod(0o600)
        self.write_plan()

    def write_plan(self, name: str = "Alder pond") -> None:
        """The plan, at its place."""
        PLAN.write_text(plan(name))
        PLAN.chmod(0o644)

    def starts(self) -> None:
        """`systemctl start` comes back when READY=1 was said."""
        began = time.monotonic()
        run("systemctl", "start", NAME)
        took = time.monotonic() - began
        say(f"READY=1: {shown('ActiveState')} ({shown('SubState')})", took)
        until(lambda: bool(shown("StatusText")), "a status", 10)
        say(f"status text: '{shown('StatusText')}'")
        status = Path(f"/proc/{shown('MainPID')}/status").read_text()
        seen = [
            each
            for each in status.splitlines()
            if each.startswith(("Seccomp:", "NoNewPrivs", "CapEff", "Uid"))
        ]
        say("; ".join(" ".join(each.split()) for each in seen))
        assert "Seccomp:\t2" in status

    def tells(self) -> None:
        """Pin, credential, name, sender's child: a mail comes."""
        began = time.monotonic()
        self.sim.move(LINE, False)
        self.mail.until("anna", "HIGH LEVEL", seconds=90)
        say("float to mail: pins, credential, a name, the sender's child", time.monotonic() - began)
        run("/opt/relayd/bin/relayd", "status")
        run("/opt/relayd/bin/relayd", "ack", "--by", "anna", "--taken")
        say("the control socket in /run/relayd answers")

    def is_fed(self) -> None:
        """The watchdog's stamp moves on."""
        first = shown("WatchdogTimestampMonotonic")
        took = until(lambda: shown("WatchdogTimestampMonotonic") != first, "it is fed", 30)
        say(f"the watchdog ({shown('WatchdogUSec')}) is fed again", took)

    def reloads(self) -> None:
        """The same process, the new plan."""
        pid = shown("MainPID")
        self.write_plan("Elder pond")
        began = time.monotonic()
        run("systemctl", "reload", NAME)
        asked = ["/opt/relayd/bin/relayd", "status"]
        until(
            lambda: "Elder pond" in subprocess.run(asked, capture_output=True, text=True).stdout,
            "the new plan",
            90,
        )
        say("reload: the new plan, the same process", time.monotonic() - began)
        assert shown("MainPID") == pid
        # Longer than TimeoutStopSec: who has said that it stops is killed after that.
        # That nothing happens for so long is what is under test.
        Flag().wait(25)
        assert shown("NRestarts") == "0"
        assert (shown("ActiveState"), shown("SubState")) == ("active", "running")
        say("still the same process 25 s later")

    def is_stopped_dead(self) -> None:
        """A process that stands still is killed by the watchdog, and comes back."""
        pid, began = int(shown("MainPID")), time.monotonic()
        os.kill(pid, signal.SIGSTOP)
        until(lambda: shown("Result") == "watchdog", "the watchdog", 60)
        say("SIGSTOP to the watchdog's kill", time.monotonic() - began)
        until(lambda: shown("NRestarts") == "1", "a restart", 60)
        say("SIGSTOP to restart", time.monotonic() - began)
        until(lambda: shown("ActiveState") == "active", "active again", 120)
        say("SIGSTOP to READY=1", time.monotonic() - began)
        came = [each.mail.title for each in self.mail.to("anna")]
        self.mail.until("anna", "", len(came) + 1, seconds=90)
        last = self.mail.to("anna")[-1].mail
        print(last.text)
        say(f"then told: {last.title} / {last.text.splitlines()[0]}", time.monotonic() - began)

    def ends(self, status: int) -> None:
        """What the unit file makes of an exit status, on a copy that ends with it."""
        name = f"ends-{status}.service"
        text = Path("/etc/systemd/system/relayd.service").read_text()
        lines = [
            f"ExecStart=/bin/sh -c 'exit {status}'" if each.startswith("ExecStart=") else each
            for each in text.splitlines()
            if not each.startswith(("StateDirectory", "RuntimeDirectory", "WorkingDirectory"))
        ]
        Path("/etc/systemd/system", name).write_text("\n".join(lines))
        run("systemctl", "daemon-reload")
        subprocess.run(["systemctl", "start", name], capture_output=True, timeout=60, check=False)
        if status == 78:
            until(lambda: shown("ActiveState", name) == "failed", "given up", 30)
            say(f"exit 78: {shown('ActiveState', name)}, {shown('NRestarts', name)} restarts")
            assert shown("NRestarts", name) == "0"
        else:
            took = until(lambda: int(shown("NRestarts", name)) >= 2, "restarts", 60)
            say(f"exit {status}: restarted twice and goes on", took)
        run("systemctl", "stop", name)

    def refuses_a_bad_plan(self) -> None:
        """No plan and no last good one: 78, and no restart."""
        run("systemctl", "stop", NAME)
        say(f"stopped: {shown('Result')}")
        (STATE / "last-good.toml").unlink()
        PLAN.write_text("[unit]\n")
        subprocess.run(["systemctl", "start", NAME], capture_output=True, timeout=120, check=False)
        until(lambda: shown("ActiveState") == "failed", "failed", 60)
        say(
            f"no plan that can be used: exit {shown('ExecMainStatus')}, {shown('NRestarts')} restarts"
        )
        assert shown("ExecMainStatus") == "78"


def main() -> int:
    """Play it all; the status."""
    subprocess.run(["ip", "link", "set", "lo", "up"], check=True)
    subprocess.run(["mount", "-t", "configfs", "configfs", "/sys/kernel/config"], check=False)
    with mailbox() as mail:
        story = Story(mail)
        story.sim.move(LINE, True)
        for deed in (
            story.installed,
            story.starts,
            story.tells,
            story.is_fed,
            story.reloads,
            story.is_stopped_dead,
        ):
            deed()
        for status in (78, 70):
            story.ends(status)
        story.refuses_a_bad_plan()
    return 0


if __name__ == "__main__":
    ended = 1
    try:
        ended = main()
    finally:
        if ended:
            traceback.print_exc()
            print(_last())
        print(f"--- guest ends with {ended}", flush=True)
        Path("/proc/sysrq-trigger").write_text("o")
