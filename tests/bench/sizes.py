"""Rows that need no kernel: what a step costs as the plan grows, what a commit costs as the journal does."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from statistics import median
from time import perf_counter_ns

from relayd.channels.shown import Shown
from relayd.core.effects import Publish, Record
from relayd.core.events import EdgeSeen, Event, LevelRead, Now, Started, TimePassed
from relayd.core.machine import step
from relayd.core.plan import (
    MINUTE,
    SECOND,
    Input,
    Kind,
    Means,
    Panel,
    Plan,
    Position,
    Unpowered,
)
from relayd.core.state import State, Subject
from relayd.journal.store import Journal
from tests.bench.figures import Row, spread
from tests.core import world

SIZES = (1, 10, 100, 1_000)
FLAT = 1.5
"""What still counts as flat: the budget says 'flat' and names no figure."""
_MEANS = (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER)


def size_rows(sizes: tuple[int, ...], rounds: int, moves: int) -> Iterator[Row]:
    """A step of the core alone, and with what the broker is then shown, for each number of inputs."""
    made = [Moved(count) for count in sizes]
    for what, take in (
        ("a step of the core", Moved.step),
        ("the same, and the broker's tree", Moved.show),
    ):
        times = _in_turn([partial(_timed, each, take, moves) for each in made], rounds)
        for count, found in zip(sizes[1:], times[1:], strict=True):
            ratios = [a / b for a, b in zip(found, times[0], strict=True)]
            yield Row(
                f"{what}: {count} inputs beside {sizes[0]}",
                f"{spread(found, 0)} us",
                f"{spread(times[0], 0)} us",
                spread(ratios),
                f"flat: {FLAT:g}",
                median(ratios) <= FLAT,
            )


def journal_row(folder: Path, records: int, rounds: int, commits: int) -> Row:
    """A commit into a journal that holds many records, beside one that is new."""
    full, fresh = Written(folder / "full.db"), Written(folder / "fresh.db")
    full.fill(records)
    times = _in_turn([lambda: full.commits(commits), lambda: fresh.commits(commits)], rounds)
    for each in (full, fresh):
        each.close()
    ratios = [a / b for a, b in zip(*times, strict=True)]
    return Row(
        f"a commit: {records} records in the journal beside none",
        f"{spread(times[0], 0)} us",
        f"{spread(times[1], 0)} us",
        spread(ratios),
        f"flat: {FLAT:g}",
        median(ratios) <= FLAT,
    )


class Moved:
    """A plan with so many inputs, started and at rest; one contact of one panel is moved."""

    def __init__(self, inputs: int) -> None:
        self.plan, self.state = _plan(inputs), State("k3f9ab")
        self.up, self._closed = 100 * SECOND, False
        self.shown: list[str] = []
        self.due: int | None = None
        self._take(Started(True))
        for panel in self.plan.panels.values():
            for each in panel.inputs:
                self._take(LevelRead(each.id, each.in_alarm is Position.OPEN, self.up))
        while self.due is not None and self.due < 100 * SECOND + MINUTE:
            self.up = self.due
            self._take(TimePassed())
        self.shown_tree = Shown(self.plan, lambda key: None, lambda key, value: None)
        self.shown_tree.whole(self.state, self._now())

    def step(self) -> None:
        """An edge, and the turn of the filter that follows from it."""
        self._edge()
        self._turn()

    def _edge(self) -> None:
        self.up += 200_000_000
        self._closed = not self._closed
        self._take(EdgeSeen(f"{next(iter(self.plan.panels))}.high-level", self._closed, self.up))

    def _turn(self) -> None:
        assert self.due is not None
        self.up = max(self.due, self.up + 1)
        self._take(TimePassed())

    def show(self) -> None:
        """The same, and the tree for the broker made anew where something shows."""
        for take in (self._edge, self._turn):
            take()
            self.shown_tree.after(self.shown, self.state, self._now())

    def _take(self, event: Event) -> None:
        outcome = step(self.plan, self.state, event, self._now())
        self.state, self.due = outcome.state, outcome.due
        self.shown = [each.subject for each in outcome.effects if isinstance(each, Publish)]

    def _now(self) -> Now:
        return Now("boot", self.up, world.WALL + self.up, True)


class Written:
    """A journal into which one subject and one record are committed at a time."""

    def __init__(self, path: Path) -> None:
        self._journal = Journal(path, "bench", lambda: "k3f9ab")
        self._state, self._number = self._journal.open(), 0

    def fill(self, records: int) -> None:
        """Put records in, a thousand in one commit."""
        for _ in range(0, records, 1_000):
            self._commit([self._record() for _ in range(1_000)])

    def commits(self, count: int) -> float:
        """The median time of a commit in microseconds."""
        return _median_us(lambda: self._commit([self._record()]), count)

    def close(self) -> None:
        assert self._journal.close()

    def _record(self) -> Record:
        return Record("send taken", "panel:cabin", {"notice": "creek-1.k3f9ab.17", "tries": 1})

    def _commit(self, records: list[Record]) -> None:
        self._number += 1
        subject = Subject("panel:cabin", said={"number": str(self._number)})
        new = replace(self._state, subjects={subject.id: subject})
        now = Now("boot", self._number, world.WALL, True)
        assert self._journal.commit(self._state, new, records, now, 60.0)
        self._state = new


def _plan(inputs: int) -> Plan:
    """The panel that is moved has one input, whatever the size; the others have all three."""
    base = world.plan()
    counts = [1, *[3] * (inputs // 3)]
    assert sum(counts) == inputs, "one, and three a panel"
    panels = {}
    for number, count in enumerate(counts):
        name = f"p{number}"
        wired = tuple(_input(name, means) for means in _MEANS[:count])
        panels[name] = Panel(name, name, "", Kind.EFFLUENT_DEMAND, base.call_list, wired)
    return replace(base, panels=panels)


def _input(panel: str, means: Means) -> Input:
    if means is Means.HIGH_LEVEL:
        return Input(f"{panel}.{means}", panel, means, Position.CLOSED, Unpowered.OPEN)
    return Input(f"{panel}.{means}", panel, means, Position.OPEN)


def _timed(moved: Moved, take: Callable[[Moved], None], count: int) -> float:
    return _median_us(lambda: take(moved), count)


def _median_us(do: Callable[[], None], count: int) -> float:
    times = []
    for _ in range(count):
        began = perf_counter_ns()
        do()
        times.append((perf_counter_ns() - began) / 1_000)
    return median(times)


def _in_turn(measures: list[Callable[[], float]], rounds: int) -> list[list[float]]:
    """Each measure in turn, so that a machine that slows down slows all of them."""
    found: list[list[float]] = [[] for _ in measures]
    for _ in range(rounds):
        for times, measure in zip(found, measures, strict=True):
            times.append(measure())
    return found
