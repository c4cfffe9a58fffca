"""`relayd log --follow`, until the daemon stops."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.control.fake import FakeDaemon


@pytest.mark.slow
def test_what_happens_is_printed_until_the_daemon_stops(daemon: FakeDaemon, tmp_path: Path) -> None:
    daemon.reads = {"records": []}
    arguments = ["log", "--follow", "--panel", "p", "--run", str(tmp_path)]
    with subprocess.Popen(
        [sys.executable, "-m", "relayd", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    ) as following:
        assert following.stdout is not None
        assert following.stderr is not None
        assert following.stdout.readline() == "no records\n"
        printed = ""
        while not printed:
            daemon.control.publish({"what": "input", "input": "q.level", "reads": "open"})
            daemon.control.publish({"what": "input", "input": "p.level", "reads": "open"})
            printed = first_line(following)
        assert printed == "p.level reads open\n"
        daemon.control.close()
        assert following.stderr.read() == "relayd: the daemon stops\n"
        assert following.wait() == 69


def first_line(following: subprocess.Popen[str]) -> str:
    """A line if there is one by now; events before it followed are not heard, so one asks again."""
    import select

    assert following.stdout is not None
    ready, _, _ = select.select([following.stdout], [], [], 0.05)
    return following.stdout.readline() if ready else ""
