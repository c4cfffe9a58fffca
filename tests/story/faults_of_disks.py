"""Faults of the disk under the journal, played on the real daemon: full, read-only, damaged, restored."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from relayd.clock import boottime
from relayd.journal import files, reader
from tests.story.stage import Stage
from tests.story.unit import Unit

WITHIN = 60.0
"""Seconds within which people are told what is wrong with the journal."""


@contextmanager
def small_disk(unit: Unit) -> Iterator[None]:
    """The state directory lies on a disk of 2 MiB of its own."""
    unit.state.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m,mode=700", "tmpfs", str(unit.state)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("only root may mount a small disk")
    try:
        yield
    finally:
        unit.close()
        subprocess.run(["umount", "--lazy", str(unit.state)], check=True)


def fill(folder: Path) -> Path:
    """Take all the room that is left."""
    ballast = folder / "ballast"
    with ballast.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return ballast


def the_disk_is_full(stage: Stage) -> None:
    """Alarms go on from memory, 'journal late' is told, and later all of it is on the disk in order."""
    unit = stage.unit
    with small_disk(unit):
        stage.begin(stage.site())
        ballast, full = fill(unit.state), boottime()
        came = _alarm_from_memory(stage, full)
        unit.until(lambda: "full" in unit.ask("status")["unit"]["journal"], "it says why")
        unit.move("cabin.high-level", "open")
        stage.mail.until("anna", "Alarm over: High level")
        assert not unit.found("raised", condition="high-level"), "the disk took it: it is not full"
        ballast.unlink()
        freed = boottime()
        unit.until(lambda: unit.ask("status")["unit"]["journal"] == "in time", "in time")
        stage.note("room again: all is on the disk, in order", freed)
        _all_is_there(unit)
        assert came <= WITHIN


def _alarm_from_memory(stage: Stage, since: int) -> float:
    """The float rises: Anna is told of it and of the journal; seconds until both."""
    unit = stage.unit
    unit.move("cabin.high-level", "closed")
    raised = stage.mail.until("anna", "HIGH LEVEL", seconds=WITHIN)
    stage.note("the float rises: Anna is told", since, raised.at)
    late = stage.mail.until("anna", "JOURNAL LATE", seconds=WITHIN)
    stage.note("Anna is told 'journal late'", since, late.at)
    return float(max(raised.at, late.at) - since) / 1e9


def _all_is_there(unit: Unit) -> None:
    for kind in ("raised", "returned"):
        unit.said(kind, condition="high-level")
    found = unit.records()
    assert [each["n"] for each in found] == list(range(1, len(found) + 1))
    assert [each["up"] for each in found] == sorted(each["up"] for each in found)


def the_card_is_read_only(stage: Stage) -> None:
    """It starts from what is on it, and alarms go on from memory; then it is writable again."""
    unit = stage.unit
    with small_disk(unit):
        stage.begin(stage.site())
        stage.rises()
        stage.mail.until("anna", "HIGH LEVEL")
        before = unit.alarm("high-level")["occurrence"]
        assert unit.stop() == 0
        _remount(unit, "ro")
        began = boottime()
        unit.start()
        assert unit.alarm("high-level")["occurrence"] == before
        late = stage.mail.until("anna", "JOURNAL LATE", seconds=WITHIN)
        assert stage.note("Anna is told 'journal late'", began, late.at) <= WITHIN
        moved = boottime()
        unit.move("cabin.high-level", "open")
        over = stage.mail.until("anna", "Alarm over: High level", seconds=WITHIN)
        stage.note("the float falls: Anna is told", moved, over.at)
        _remount(unit, "rw")
        unit.until(lambda: unit.ask("status")["unit"]["journal"] == "in time", "in time")
        _all_is_there(unit)


def _remount(unit: Unit, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(unit.state)], check=True)


def the_journal_is_damaged_while_it_is_down(stage: Stage) -> None:
    """It is set aside and told; the alarm stands, and the journal begins anew with other ids."""
    unit = stage.unit
    stage.begin(stage.site())
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")
    epoch = _epoch(unit)
    unit.kill()
    path = unit.state / "journal.db"
    _spoil(path)
    _spoil(files.beside(path, "-wal"))
    began = boottime()
    unit.start()
    _told(stage, began)
    unit.until(lambda: "high-level" in {each["condition"] for each in unit.alarms()}, "it stands")
    assert len(files.asides(path)) == 1
    assert _epoch(unit) != epoch
    unit._records.clear()
    unit.move("cabin.high-level", "open")
    stage.mail.until("anna", "Alarm over: High level")


def _spoil(path: Path) -> None:
    """All of the file but its first page."""
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(1024)
        file.write(os.urandom(max(0, size - 1024)))


def _told(stage: Stage, since: int) -> None:
    told = stage.mail.until("anna", "JOURNAL DAMAGED", seconds=WITHIN)
    assert "set aside as journal.db.damaged-" in told.mail.text.replace("\n", " ")
    assert stage.note("Anna is told: journal damaged, set aside", since, told.at) <= WITHIN


def _epoch(unit: Unit) -> str:
    """The epoch, as it is in the ids of notices."""
    made = unit.until(lambda: unit.found("notice made"), "a notice")
    return str(made[-1]["body"]["notice"]).split(".")[1]


def the_journal_is_kept_and_comes_back(stage: Stage) -> None:
    """`relayd backup` beside the daemon; `relayd restore` only without it; ids are other ones then."""
    unit, kept = stage.unit, stage.folder / "kept.db"
    state = ("--state", str(unit.state))
    stage.begin(stage.site())
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")
    epoch, began = _epoch(unit), boottime()
    done = unit.relayd("backup", str(kept), *state)
    assert (done.returncode, done.stderr) == (0, "")
    stage.note("backup taken beside the daemon", began)
    assert kept.stat().st_mode & 0o777 == 0o600
    count = len(reader.records(kept, limit=10_000))
    assert [each["n"] for each in unit.records()][:count] == list(range(1, count + 1))
    refused = unit.relayd("restore", str(kept), *state, run=False)
    assert refused.returncode == 75
    assert "in use by another relayd" in refused.stderr
    stage.falls()
    stage.mail.until("anna", "Alarm over: High level")
    assert unit.stop() == 0
    again = stage.folder / "again.db"
    assert unit.relayd("backup", str(again), *state).returncode == 0
    wrong = unit.relayd("restore", str(unit.plan), *state, run=False)
    assert wrong.returncode == 1
    assert str(unit.plan) in wrong.stderr
    done = unit.relayd("restore", str(kept), *state, run=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "set aside as" in done.stdout
    unit._records.clear()
    mark, began = unit.mark(), boottime()
    assert mark == count
    unit.start()
    returned = unit.said("returned", after=mark, condition="high-level")
    stage.note("restored: the old alarm is set right from the contact", began, returned["up"])
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL", 2)
    assert _epoch(unit) != epoch
