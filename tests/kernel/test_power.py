"""The power of a guest is cut while its unit is under load: what was committed is there at the next boot.

The guest's disk keeps what was flushed, and nothing else: an honest disk. RELAYD_SEED repeats the
seeds; the moments of the cuts are as the machine has it.
"""

import json
import os
import random
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from tests.kernel.guest import NO_KERNEL, Disk, Guest, make_disk, program

pytestmark = [
    pytest.mark.kernel,
    pytest.mark.slow,
    pytest.mark.skipif(program() is None, reason=NO_KERNEL),
]

BOOT = 90.0
DOWN = 3
Line = dict[str, Any]


@dataclass
class Campaign:
    """What the host heard of every life."""

    told: dict[int, tuple[str, str, str]] = field(default_factory=dict)
    """Send -> outside id, channel and title."""
    repeats: Counter[tuple[int, str]] = field(default_factory=Counter)
    """(Life, channel) -> sends that came again."""
    life: int = 0
    record: int = 0
    up: int = 0
    epoch: str = ""
    lost: int = 0
    """Committed records that a life did not find."""
    late: int = 0
    commits: int = 0
    made: list[str] = field(default_factory=list)
    over: list[str] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    owed: int | None = None

    def hear(self, line: Line) -> None:
        """Take one line of the unit."""
        if "told" in line:
            self._told(line["told"], (line["ref"], line["channel"], line["title"]))
        elif "opened" in line:
            assert line["harm"] == "", line
            assert self.epoch in ("", line["epoch"]), "another journal"
            self.epoch = line["epoch"]
            self.lost += max(0, self.record - line["opened"])
        elif "record" in line:
            self.record, self.up = line["record"], line["up"] // 10**9
            self.commits += 1
        elif "numbers" in line:
            self.numbers += line["numbers"]
            self.made += line["made"]
            self.over += line["over"]
        else:
            self.late += "late" in line
            self.owed = line.get("owed", self.owed)

    def _told(self, send: int, what: tuple[str, str, str]) -> None:
        if send in self.told:
            assert self.told[send] == what, "a repeat differs, or an id was given twice"
            self.repeats[self.life, what[1]] += 1
        self.told[send] = what


def _lived(campaign: Campaign, disk: Disk, seed: int, lines: int) -> None:
    """One life: until so many lines came and the power is cut, or to its end (0)."""
    words = [disk.at, campaign.up + DOWN, seed, 0 if lines else 4]
    told = ["-m", "tests.kernel.power_inside", *map(str, words)]
    with Guest(told, disk=disk) as guest:
        if lines:
            for _ in range(lines):
                campaign.hear(json.loads(guest.until(lambda line: line.startswith("{"), BOOT)))
            guest.cut_power()
            rest = guest.rest()
        else:
            done = guest.finish(BOOT)
            assert done.status == 0, done.output
            rest = done.output.splitlines()
    for line in rest:
        if line.startswith("{") and line.rstrip().endswith("}"):
            campaign.hear(json.loads(line))
    campaign.life += 1


def cut_again_and_again(folder: Path, cuts: int) -> Campaign:
    """Cut the power so often, each time at a random moment; then let the unit come to rest, and judge."""
    seed = int(os.environ.get("RELAYD_SEED") or random.SystemRandom().randrange(1_000_000))
    print(f"seed {seed}: RELAYD_SEED={seed} repeats it")
    chance, campaign = random.Random(seed), Campaign()
    disk = Disk(folder / "disk.img", folder / "disk")
    disk.at.mkdir()
    make_disk(disk.image)
    for _ in range(cuts):
        _lived(campaign, disk, chance.randrange(1_000_000), chance.randrange(1, 120))
    _lived(campaign, disk, chance.randrange(1_000_000), 0)
    refs = {ref for ref, *_ in campaign.told.values()}
    assert campaign.lost == 0
    assert campaign.owed == 0
    assert campaign.numbers == list(range(1, len(campaign.numbers) + 1))
    assert len(campaign.made) == len(set(campaign.made)), "an id was given twice"
    assert refs <= set(campaign.made), "told, and not remembered"
    assert set(campaign.made) <= refs | set(campaign.over), "owed, and never sent"
    assert campaign.late or max(campaign.repeats.values(), default=0) <= 1
    print(
        f"{cuts} power cuts: {campaign.commits} commits seen, {campaign.lost} lost;"
        f" {len(campaign.made)} notices, none owed and not sent; {sum(campaign.repeats.values())}"
        f" repeats, at most {max(campaign.repeats.values(), default=0)} a cut and channel, same ids;"
        f" late {campaign.late} times"
    )
    return campaign


@pytest.mark.timeout(170)
def test_three_power_cuts(tmp_path: Path) -> None:
    assert cut_again_and_again(tmp_path, 3).commits > 0


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_50_power_cuts(tmp_path: Path) -> None:
    cuts = int(os.environ.get("RELAYD_CUTS") or 50)
    assert cut_again_and_again(tmp_path, cuts).commits > 0
