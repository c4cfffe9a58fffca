"""A storm of alarms: single messages first, then few that name them all, and a whole journal."""

import sqlite3
from collections import Counter
from contextlib import closing
from itertools import pairwise
from pathlib import Path
from time import process_time

import pytest

from relayd.core.plan import MINUTE, SECOND
from tests.faults.storm import Storm, awake, site


@pytest.mark.parametrize(
    ("panels", "contacts"),
    [
        pytest.param(10, 8, id="80 alarms on 10 panels"),
        pytest.param(50, 20, id="1,000 alarms on 50 panels", marks=pytest.mark.long),
    ],
)
def test_a_storm_is_few_messages_and_nothing_is_missing(
    tmp_path: Path, panels: int, contacts: int
) -> None:
    count = panels * contacts
    storm = Storm(awake(site(panels, contacts)), tmp_path / "journal.db")
    storm.begin()
    worked = process_time()
    begins = storm.breaks(10 * SECOND)
    storm.run_to(begins + 4 * MINUTE)
    worked = process_time() - worked
    storm.close()

    raised = [each for each in storm.recorded if each.kind == "raised"]
    assert len(raised) == count
    assert _rows(tmp_path / "journal.db") == Counter(each.kind for each in storm.recorded)
    print(f"\n{count} alarms in 10 s: {len(raised)} raised and on the disk, {worked:.1f} s of work")
    first_raise = min(_raised_at(storm))
    for person in ("anna", "ben"):
        told = storm.to(person, begins)
        # Each of the person's channels gets the same: one is looked at.
        own = [each for each in told if each[1].channel == f"{person}.mail"]
        singles = [at for at, each in own if "messages" not in each.title]
        bundles = [at for at, each in own if "messages" in each.title]
        first = own[0][0] - (first_raise - begins) / SECOND
        print(f"{person}: first news after {first:.2f} s, singles {singles}, bundles {bundles}")
        assert first <= 5
        assert all(sum(at - 60 < each <= at for each in singles) <= 3 for at in singles)
        assert all(round(later - sooner, 3) >= 30 for sooner, later in pairwise(bundles))
        assert storm.engine.state.notices == {}
        everything = "\n".join(each.body for _, each in own)
        missing = [each.text for each in storm.inputs() if each.text not in everything]
        held = [each for each in storm.recorded if each.kind == "held"]
        assert held == []
        assert missing == []


def _raised_at(storm: Storm) -> list[int]:
    return [
        alarm.raised.up
        for owner in storm.engine.state.subjects.values()
        for alarm in owner.alarms.values()
        if alarm.raised
    ]


def _rows(file: Path) -> Counter[str]:
    with closing(sqlite3.connect(file)) as base:
        return Counter(dict(base.execute("SELECT kind, count(*) FROM record GROUP BY kind")))
