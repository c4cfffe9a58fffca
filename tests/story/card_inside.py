"""A card that fails for good. Not collected by itself: test_inside.py runs it, in a guest of its own."""

import subprocess
from pathlib import Path

import pytest

from relayd.clock import boottime
from tests.story.faults_inside import _warm as warm, chip as chip, stage as stage
from tests.story.plans import LEVEL
from tests.story.stage import Stage

pytestmark = pytest.mark.timeout(150)


def test_a_card_that_fails_and_becomes_read_only(stage: Stage) -> None:
    """As ext4 does it after an error of the card; alarms go on from memory, and it is told."""
    unit = stage.unit
    stage.begin(stage.site())
    warm(stage)
    since = boottime()
    _fail_disk(unit.state)
    unit.move(LEVEL, "closed")
    raised = stage.mail.until("anna", "HIGH LEVEL", 2, seconds=60)
    stage.note("the float rises: Anna is told", since, raised.at)
    late = stage.mail.until("anna", "JOURNAL LATE", seconds=60)
    assert stage.note("Anna is told 'journal late'", since, late.at) <= 60
    why = unit.ask("status")["unit"]["journal"]
    stage.note(f"it says why: {why}", since)
    assert why.startswith("late: ")
    unit.ask("acknowledge", {"panel": "cabin", "act": "seen"}, "anna")
    unit.move(LEVEL, "open")
    # By itself, or with others where so much was told within a minute.
    came = len(stage.mail.to("anna"))
    over = stage.mail.until("anna", "", came + 1, seconds=90).mail
    assert "High level" in over.text
    assert "Over: High level" in over.text or "it was there from" in over.text


def _fail_disk(folder: Path) -> None:
    """An error of the disk, at which ext4 takes no more writes (Linux, Documentation/ABI: sysfs-fs-ext4)."""
    disk = next(each for each in (folder, *folder.parents) if each.is_mount())
    subprocess.run(["mount", "-o", "remount,errors=remount-ro", str(disk)], check=True)
    Path("/sys/fs/ext4/ubda/trigger_fs_error").write_text("the card fails")
    with pytest.raises(OSError, match="Read-only"):
        (disk / "probe").write_text("x")
