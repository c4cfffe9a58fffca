"""Forged requests at the control socket of the real daemon, by users of this machine: none is done.

Who is not of the socket's group cannot connect; where the file's mode was opened by hand, the
kernel's word of who asks refuses the same. Members may act by the plan's rules, and no further.
"""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.faults import forged_asker
from tests.faults.forged_stage import Besieged, asked, besieged
from tests.faults.test_forged import COUNTS, escalated
from tests.servers.imap import dovecot
from tests.story.unit import ROOT

pytestmark = [
    pytest.mark.untraced,
    pytest.mark.slow,
    pytest.mark.timeout(150),
    pytest.mark.skipif(dovecot() is None, reason="no Dovecot here, or not as root (dovecot-imapd)"),
]


@pytest.mark.parametrize("usual", COUNTS)
def test_forged_requests_at_the_control_socket_are_not_done(usual: int) -> None:
    many, seed = asked(usual)
    with TemporaryDirectory(prefix="f") as folder, besieged(Path(folder)) as at:
        occurrence, _ = at.raises("barn")
        at.command_line(occurrence, "anna")
        at.ends("barn")
        stands, _ = at.raises("cabin")
        truly = [("anna", "taken", "panel:barn")]
        about = [str(seed), str(many // 3), stands, occurrence]
        had, log = at.memory()["daemon"], at.unit.log.stat().st_size
        for each in (Path(folder), at.unit.run.parent):
            each.chmod(0o755)
        shut = outcomes(at, "forged", about, ())
        assert shut == {"PermissionError": many // 3}
        asker = during(at, "forged", about)
        assert at.acknowledged() == truly
        assert set(asker) == {"not-allowed"}, asker
        assert asker["not-allowed"] == many // 3
        member = outcomes(at, "of nobody", about, (os.getgid(),))
        assert "done" not in member, member
        assert at.acknowledged() == truly
        escalated(at, ("cabin",))
        print(f"no member: {shut}; through an opened file: {asker}; a member: {member}")
        grown = at.unit.log.stat().st_size - log
        print(f"{at.lags.words()}; daemon {had} to {at.memory()['daemon']} KiB; log {grown} bytes")
        at.unit.ask("acknowledge", {"occurrence": stands, "act": "taken"}, "ben")
        assert at.acknowledged() == [*truly, ("ben", "taken", "panel:cabin")]
        assert at.unit.stop() == 0, at.unit.said_last()


def during(at: Besieged, kinds: str, about: Sequence[str]) -> dict[str, int]:
    """The same through a file that somebody opened to all, with an alarm in the middle."""
    run, socket = at.unit.run, at.unit.run / "control.sock"
    modes = [(each, each.stat().st_mode & 0o7777) for each in (run, socket)]
    for each in (run, socket):
        each.chmod(0o777)
    with started(at, kinds, about, ()) as process:
        at.alarm_in_time("mill")
        at.lag()
        said, wrong = process.communicate(timeout=600)
    for each, mode in modes:
        each.chmod(mode)
    return counted(said, wrong)


def outcomes(
    at: Besieged, kinds: str, about: Sequence[str], groups: Sequence[int]
) -> dict[str, int]:
    """What somebody of those groups gets for it."""
    run = at.unit.run
    mode = run.stat().st_mode & 0o7777
    if groups:
        run.chmod(0o755)  # as the directory of an installed unit
    with started(at, kinds, about, groups) as process:
        said, wrong = process.communicate(timeout=600)
    run.chmod(mode)
    return counted(said, wrong)


def started(
    at: Besieged, kinds: str, about: Sequence[str], groups: Sequence[int]
) -> "subprocess.Popen[str]":
    """The asker, as a user of no rights beside those of these groups."""
    own, path = ",".join(map(str, groups)), str(at.unit.run / "control.sock")
    words = [sys.executable, "-m", forged_asker.__name__, own, path, kinds, *about]
    pipe = subprocess.PIPE
    return subprocess.Popen(words, stdout=pipe, stderr=pipe, text=True, cwd=ROOT)


def counted(said: str, wrong: str) -> dict[str, int]:
    assert said, wrong
    found: dict[str, int] = json.loads(said)
    return found
