"""Boots the user-mode kernel with systemd as its first process, and runs the project's unit file under it.

The guest's root lies in memory; what it has of this machine is mounted read-only, and it ends itself
where it finds that it could write there (service_init). This machine needs systemd installed, not running.
"""

import os
import shutil
import signal
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from tests.kernel.guest import NO_KERNEL, ROOT, program

SYSTEMD = Path("/usr/lib/systemd/systemd")
HERE = Path(__file__).parent
PATIENCE = 600
"""Seconds for the whole story; it takes two to three minutes."""
pytestmark = [
    pytest.mark.kernel,
    pytest.mark.slow,
    pytest.mark.long,
    pytest.mark.timeout(PATIENCE + 60),
    pytest.mark.skipif(program() is None, reason=NO_KERNEL),
    pytest.mark.skipif(not SYSTEMD.exists(), reason="no systemd here (Debian: systemd)"),
    pytest.mark.skipif(shutil.which("systemd-sysusers") is None, reason="no systemd-sysusers here"),
]


def parameters(folder: Path) -> list[str]:
    """The kernel's: its root is this machine's, read-only, until the first process has made another."""
    init = folder / "init"
    words = [HERE / "service_init", sys.base_prefix, sysconfig.get_path("purelib"), ROOT]
    init.write_text(f"#!/bin/sh\nexec {' '.join(map(str, words))} tests.kernel.service_inside\n")
    init.chmod(0o755)
    root = ["root=/dev/root", "rootfstype=hostfs", "rootflags=/", "ro", f"init={init}"]
    return ["mem=512M", *root, f"uml_dir={folder}", "con=null", "con0=fd:0,fd:1", "loglevel=1"]


def test_the_unit_file_under_a_real_systemd(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [str(program()), *parameters(tmp_path)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        start_new_session=True,
        cwd=tmp_path,
    )
    try:
        output, _ = process.communicate(timeout=PATIENCE)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(30)
    print(output)
    assert "--- guest ends with 0" in output
