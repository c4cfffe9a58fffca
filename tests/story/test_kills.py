"""The campaign of kills: the real daemon under load, ended without a word at random moments.

RELAYD_KILLS says how many (1,000 if nothing is said), RELAYD_SEED repeats a run.
"""

import os
import random
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.story import kills, loaded
from tests.story.kills import Figures
from tests.story.plans import AT_REST
from tests.story.stage import stage

AT_ONCE = 4
A_UNIT = 25
"""Kills of one unit: then it is judged, and another one begins."""
KILLS = int(os.environ.get("RELAYD_KILLS") or 1000)


def campaign(folder: Path, seed: int) -> Figures:
    """One unit from its first start to its judgement: of one panel, or (odd seeds) of twenty."""
    contacts, play = (loaded.AT_REST, loaded.play) if seed % 2 else (AT_REST, kills.play)
    with stage(folder / str(seed), contacts) as made:
        return play(made, A_UNIT, seed)


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_nothing_that_was_committed_is_lost_and_nobody_is_forgotten() -> None:
    first = int(os.environ.get("RELAYD_SEED") or random.SystemRandom().randrange(1_000_000))
    seeds = range(first, first + KILLS // A_UNIT)
    print(f"seeds {seeds}: RELAYD_SEED={first} repeats them")
    # A folder of a short name: the path of a Unix socket is at most 107 bytes long.
    with TemporaryDirectory(prefix="k") as folder, ThreadPoolExecutor(AT_ONCE) as pool:
        done = list(pool.map(lambda seed: campaign(Path(folder), seed), seeds))
    for each in done:
        print(each.words())
    total = Figures(
        sum(each.kills for each in done),
        sum(each.notices for each in done),
        sum(each.repeats for each in done),
        max(each.most for each in done),
        sum(each.records for each in done),
    )
    print(f"all: {total.words()}")
