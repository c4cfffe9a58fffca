"""relayd as it is, with the time noted between two waits of its loop: `python -m tests.bench.watched`.

BENCH_TURNS names the file into which the (end, length) pairs go, in ns of CLOCK_MONOTONIC.
"""

import atexit
import json
import os
import sys
from pathlib import Path
from time import monotonic_ns

from relayd import daemon
from relayd.__main__ import main
from relayd.core.events import Event
from relayd.inbox import Inbox

turns: list[tuple[int, int]] = []


class Noting(Inbox):
    """An inbox that notes how long it is since it last gave something out."""

    since = 0

    def get(self, timeout: float) -> Event | None:
        now = monotonic_ns()
        if self.since:
            turns.append((now, now - self.since))
        try:
            return super().get(timeout)
        finally:
            self.since = monotonic_ns()


if __name__ == "__main__":
    vars(daemon)["Inbox"] = Noting
    atexit.register(lambda: Path(os.environ["BENCH_TURNS"]).write_text(json.dumps(turns)))
    sys.exit(main())
