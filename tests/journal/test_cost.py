"""What a commit costs the memory card."""

from dataclasses import replace
from pathlib import Path

import pytest

from relayd.core.state import Send, State, Subject
from relayd.journal import schema
from relayd.journal.store import Journal
from tests.journal.conftest import SOON
from tests.journal.samples import after, notice, now, record


def io_of_this_process() -> tuple[int, int]:
    """Bytes given to write calls, and bytes the kernel sends to a disk for them."""
    pairs = (line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    counted = {name: int(value) for name, value in pairs}
    return counted["wchar"], counted["write_bytes"]


@pytest.mark.slow
def test_small_pages_write_less(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cost = {}
    for size in (1024, 4096):
        monkeypatch.setattr(schema, "NEW_FILE", (f"PRAGMA page_size={size}", *schema.NEW_FILE[1:]))
        cost[size] = cost_of_a_commit(tmp_path / f"{size}.db")
        written, sent = cost[size]
        print(f"page size {size}: {written} bytes written, {sent} bytes to the disk per commit")
    assert cost[1024][0] < cost[4096][0] / 2


def cost_of_a_commit(path: Path, commits: int = 300) -> tuple[int, int]:
    """Per commit of one subject, one send and two records, checkpoints included."""
    journal = Journal(path, "unit-1", lambda: "abc123")
    old = journal.open()
    others = {f"panel:p{n}": Subject(f"panel:p{n}") for n in range(10)}
    old = replace(old, subjects=others)
    assert journal.commit(State(epoch=old.epoch), old, [], now(), SOON)
    begin = io_of_this_process()
    for n in range(commits):
        new = replace(after(old, 1000 + n), notices={10: notice(10, Send(11, "phone", tries=n))})
        assert journal.commit(old, new, [record(n), record(n)], now(n), SOON)
        old = new
    assert journal.close()
    end = io_of_this_process()
    return (end[0] - begin[0]) // commits, (end[1] - begin[1]) // commits
