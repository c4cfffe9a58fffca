"""A process that is killed in the midst of committing: what was acknowledged is there."""

import json
import random
import subprocess
import sys
from pathlib import Path

import pytest

from relayd.journal import reader
from relayd.journal.store import Journal

CHILD = """
import json, sys
from pathlib import Path
from relayd.journal.store import Journal
from tests.journal.samples import after, now, notice, record
from relayd.core.state import Send
from dataclasses import replace

journal = Journal(Path(sys.argv[1]), "unit-1", lambda: "abc123")
old = journal.open()
print(json.dumps({"opened": old.counter}), flush=True)
while True:
    n = old.counter + 1
    new = replace(after(old, n), notices={n: notice(n, Send(n, "phone"))})
    done = journal.commit(old, new, [record(n)], now(n), 20.0)
    print(json.dumps({"n": n, "done": done}), flush=True)
    old = new
"""


def killed_after(path: Path, lines: int) -> tuple[int, int]:
    """Let a child commit, kill it after so many lines; what it opened with, what it had done."""
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        said = [child.stdout.readline() for _ in range(lines + 1)]
        child.kill()
        said += [line for line in child.stdout if line.endswith("\n")]
    told = [json.loads(line) for line in said]
    assert all(each["done"] for each in told[1:])
    return told[0]["opened"], told[-1]["n"]


@pytest.mark.slow
def test_what_was_acknowledged_is_there_after_kill_9(path: Path) -> None:
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    chance = random.Random(seed)
    done = 0
    for _ in range(20):
        opened, last = killed_after(path, chance.randrange(1, 60))
        # The child before may have committed one more than it could say.
        assert opened in (done, done + 1)
        done = last
    journal = Journal(path, "unit-1", lambda: "other1")
    state = journal.open()
    assert journal.check() is None
    assert journal.close()
    assert state.epoch == "abc123"
    assert state.counter in (done, done + 1)
    # One step is there as a whole or not at all.
    assert state.subjects["panel:north"].said == {"n": str(state.counter)}
    assert state.notices.keys() == {state.counter}
    rows = reader.records(path, limit=100_000)
    assert [row["body"]["n"] for row in rows] == list(range(1, state.counter + 1))
