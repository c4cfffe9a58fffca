"""One daemon a state directory."""

import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from relayd.errors import Locked, RelaydError
from relayd.journal import lock
from tests.journal.conftest import fill

HOLDER = """
import sys
from pathlib import Path
from relayd.journal import lock
held = lock.take(Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""
SECOND = """
import sys
from pathlib import Path
from relayd.errors import RelaydError
from relayd.journal import lock
try:
    lock.take(Path(sys.argv[1]))
except RelaydError as error:
    print(error, file=sys.stderr)
    sys.exit(error.exit_code)
"""


def test_a_second_process_is_told_who_holds_it_and_ends_with_75(tmp_path: Path) -> None:
    held = lock.take(tmp_path / "state")
    second = [sys.executable, "-c", SECOND, str(tmp_path / "state")]
    refused = subprocess.run(second, capture_output=True, text=True, timeout=20)
    held.release()
    accepted = subprocess.run(second, capture_output=True, text=True, timeout=20)
    assert refused.returncode == 75
    assert refused.stderr.strip() == (
        f"{tmp_path / 'state'} is in use by another relayd (process {os.getpid()})"
    )
    assert (accepted.returncode, accepted.stderr) == (0, "")


def test_a_daemon_that_was_killed_leaves_no_lock_behind(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(Locked, match=rf"process {holder.pid}\b"):
            lock.take(tmp_path)
        holder.send_signal(signal.SIGKILL)
        holder.wait(20)
    lock.take(tmp_path).release()


def test_a_process_that_is_started_does_not_keep_the_lock(tmp_path: Path) -> None:
    held = lock.take(tmp_path)
    with subprocess.Popen(["cat"], stdin=subprocess.PIPE):
        held.release()
        lock.take(tmp_path).release()


def test_the_directory_becomes_ours_alone(tmp_path: Path) -> None:
    directory = tmp_path / "a" / "state"
    directory.mkdir(parents=True, mode=0o755)
    held = lock.take(directory)
    assert stat.S_IMODE(directory.stat().st_mode) == 0o700
    assert stat.S_IMODE((directory / "lock").stat().st_mode) == 0o600
    held.release()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give a directory away")
def test_a_directory_of_another_user_is_refused(tmp_path: Path) -> None:
    os.chown(tmp_path, 12345, -1)
    with pytest.raises(RelaydError, match="belongs to user 12345, not to us"):
        lock.take(tmp_path)


def test_a_lock_that_leads_elsewhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "lock").symlink_to(tmp_path / "other")
    with pytest.raises(RelaydError, match="the lock cannot be made"):
        lock.take(tmp_path)
    assert not (tmp_path / "other").exists()


def test_a_file_in_the_place_of_the_directory_is_refused(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("")
    with pytest.raises(RelaydError, match="state"):
        lock.take(tmp_path / "state")


@pytest.mark.slow
def test_a_full_disk_does_not_keep_the_daemon_from_starting(disk: Path) -> None:
    fill(disk)
    held = lock.take(disk)
    with pytest.raises(Locked, match="process not known"):
        lock.take(disk)
    held.release()


@pytest.mark.slow
@pytest.mark.parametrize("before", [False, True], ids=["never locked", "locked before"])
def test_neither_does_a_read_only_disk(disk: Path, before: bool) -> None:
    if before:
        lock.take(disk).release()
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
    held = lock.take(disk)
    with pytest.raises(Locked, match=str(os.getpid()) if before else "not known"):
        lock.take(disk)
    held.release()
