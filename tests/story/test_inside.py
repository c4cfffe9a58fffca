"""Boots the user-mode kernel and plays, inside it, the story and what needs its disk and pins."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.kernel.guest import NO_KERNEL, Disk, Finished, make_disk, program, run
from tests.story import table

pytestmark = [
    pytest.mark.kernel,
    pytest.mark.slow,
    pytest.mark.timeout(240),
    pytest.mark.skipif(program() is None, reason=NO_KERNEL),
]

PYTEST = ["-m", "pytest", "-p", "no:cacheprovider", "-q", "--color=no", "-m", "", "--timeout=0"]
PYTEST += ["--basetemp=/run/t"]
VERSIONS = ("5", "3.1.1")


def play(suite: str, folder: Path, told: dict[str, str]) -> Finished:
    """Run a suite in a guest of its own, with a disk of its own."""
    disk = Disk(folder / "disk.img", folder / "disk")
    disk.at.mkdir(parents=True)
    make_disk(disk.image)
    # The files of this machine know one user only in there: servers need a file system of the guest's.
    places = {"RELAYD_REAL_PINS": "1", "STORY_STATE": str(disk.at), "TMPDIR": "/run"}
    return run([*PYTEST, suite], 150, {**places, **told}, disk)


def judge(done: Finished) -> None:
    """Everything passed, nothing was skipped; its rows are kept."""
    print(done.output)
    assert done.status == 0
    assert " passed" in done.output
    assert " skipped" not in done.output
    table.taken_from(done.output)


def test_the_story_on_real_pins(tmp_path: Path) -> None:
    suite = "tests/story/test_story.py"
    with ThreadPoolExecutor() as pool:
        plays = [pool.submit(play, suite, tmp_path / v[0], {"STORY_MQTT": v}) for v in VERSIONS]
    for each in plays:
        judge(each.result())


def test_faults_of_disk_and_pins(tmp_path: Path) -> None:
    judge(play("tests/story/faults_inside.py", tmp_path, {}))


@pytest.mark.long
def test_a_card_that_fails(tmp_path: Path) -> None:
    judge(play("tests/story/card_inside.py", tmp_path, {}))
