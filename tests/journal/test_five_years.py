"""A journal of five years: what its examination, its pruning and a backup cost. Prints, and asserts no time."""

from dataclasses import replace
from pathlib import Path
from threading import Thread
from time import perf_counter

import pytest

from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.plan import SECOND
from relayd.core.state import State
from relayd.journal import backup, opening, upkeep
from relayd.journal.base import connect
from relayd.journal.rounds import Known, Rounds
from relayd.journal.store import Journal
from relayd.journal.upkeep import MIB, USUAL, Keep, Keeper
from tests.journal.samples import BOOT

RECORDS, AT_ONCE = 750_000, 7_500
"""410 a day."""
BODY = {"condition": "high-level", "priority": "high", "row": "L1", "text": "x" * 90}


def moment(n: int) -> Now:
    """When record n is made: five years hold them all."""
    return Now(BOOT, n * SECOND, (1_700_000_000 + n * 210) * SECOND, True)


def begun(path: Path) -> State:
    """Write it."""
    journal = Journal(path, "unit-1", lambda: "abc123")
    state = journal.open()
    for n in range(0, RECORDS, AT_ONCE):
        made = [
            Record("raised", "panel:north", {**BODY, "occurrence": n + k}) for k in range(AT_ONCE)
        ]
        assert journal.commit(state, replace(state, counter=n + 1), made, moment(n), 60)
    assert journal.close()
    return state


@pytest.mark.long
@pytest.mark.timeout(900)
def test_what_five_years_cost(tmp_path: Path) -> None:
    path = tmp_path / "journal.db"
    state = begun(path)
    print(f"{RECORDS} records: {path.stat().st_size / MIB:.0f} MiB")
    assert path.stat().st_size < USUAL.size
    began = perf_counter()
    found = opening.find(path, lambda: "other1")
    print(f"opened and loaded in {perf_counter() - began:.3f} s")
    assert found.base is not None
    found.base.close()
    _examined(path)
    _looked_through(path, state)
    _pruned(path, state)
    began = perf_counter()
    backup.copy(path, tmp_path / "kept.db")
    print(f"backup of {path.stat().st_size / MIB:.0f} MiB in {perf_counter() - began:.1f} s")


def _examined(path: Path) -> None:
    """Commits go on while the file is examined."""
    began = perf_counter()
    assert upkeep.check(path) is None
    print(f"examined in {perf_counter() - began:.1f} s")
    journal = Journal(path, "unit-1", lambda: "other1")
    state = journal.open()
    thread, took = Thread(target=journal.examine), list[float]()
    thread.start()
    while thread.is_alive():
        began = perf_counter()
        assert journal.commit(state, state, [Record("t", "unit", {})], moment(RECORDS), 5)
        took.append(perf_counter() - began)
    print(f"{len(took)} commits meanwhile, the slowest in {max(took) * 1000:.0f} ms")
    assert journal.close()
    assert journal.opened.harm() == ""


def _looked_through(path: Path, state: State) -> None:
    """The daily round, slice by slice."""
    rounds, took = Rounds(path), list[float]()
    while not rounds.whole:
        began = perf_counter()
        assert rounds.step(Known(frozenset(state.subjects), state.notices, frozenset())).said == ()
        took.append(perf_counter() - began)
    rounds.close()
    print(
        f"{len(took)} slices of a round in {sum(took):.1f} s:"
        f" half of them under {sorted(took)[len(took) // 2] * 1000:.1f} ms,"
        f" the slowest {max(took) * 1000:.0f} ms"
    )


def _pruned(path: Path, state: State) -> None:
    """Halve it, step by step."""
    keeper, base, took = Keeper(Keep(size=128 * MIB)), connect(path), list[float]()
    gone = 1
    while gone:
        began = perf_counter()
        gone = keeper.step(base, state, moment(RECORDS))
        took.append(perf_counter() - began)
    assert upkeep.size(base) <= 128 * MIB
    base.close()
    took.sort()
    print(
        f"{len(took)} steps of pruning: half of them under {took[len(took) // 2] * 1000:.0f} ms,"
        f" the slowest {took[-1] * 1000:.0f} ms"
    )
