"""Trains of bounce on real pins: none missed, none false. test_kernel.py runs it in the guest.

A train either ends on the other side (the contact moved, and the filter must turn once) or comes
back (a knock, and the filter must not turn). The machine may stall, and then the simulator hands
out its edges too late: a train is judged only if the hand that moves all lines was never late
meanwhile, nor in the train before, from which the filter must have come to rest.
"""

import heapq
import os
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from threading import Event as Flag

import pytest

from relayd.clock import boottime
from relayd.core.diagnosis.filter import advance, started
from relayd.core.events import EdgeSeen, LevelRead
from relayd.core.plan import Input, Means, Position
from relayd.pins.inputs import PinContacts
from relayd.rig import Line
from tests.contacts.harness import Posted, Said
from tests.kernel.inside import LABEL, Sim

MILLISECOND = 1_000_000
TRAINS, LINES = int(os.environ.get("RELAYD_TRAINS", 1_000)), 8
PLAN = Input("north.high-level", "north", Means.HIGH_LEVEL, Position.CLOSED)
SHORTEST, LONGEST = MILLISECOND, 6 * MILLISECOND
BOUNCE = 40 * MILLISECOND
"""All bounces of one train together: less than the filter's time, so that it turns once or never."""
STALL = 8 * MILLISECOND
"""The hand is late by more than this only where the machine gave it no time."""
STEADY = max(PLAN.close_time, PLAN.open_time) + 15 * MILLISECOND


@dataclass(slots=True)
class Train:
    """One train as it really ran. Times are boot time in nanoseconds."""

    before: bool
    after: bool
    begin: int
    steady: int = 0
    end: int = 0
    judged: bool = False

    def expected(self) -> list[bool]:
        return [self.after] if self.after != self.before else []


@dataclass(slots=True)
class Wire:
    """One line, its trains, and what moves it next."""

    name: str
    line: int
    trains: list[Train] = field(default_factory=list)
    moved: list[tuple[bool, int]] = field(default_factory=list)
    late: int = 0
    """When the hand was last late, on whichever line."""

    def moves(self, sim: Sim, chance: random.Random) -> Iterator[int]:
        """Run the trains; yields how long each position must last at least."""
        yield PLAN.close_time + PLAN.open_time + STEADY
        stands, missing, at_rest = False, TRAINS // LINES, False
        while missing:
            train = Train(stands, chance.random() < 0.5, boottime())
            for closed, lasts in bounces(train, chance):
                self.move(sim, closed)
                yield lasts
            train.steady = boottime()
            self.move(sim, train.after)
            stands = train.after
            yield STEADY
            train.end = boottime()
            quick = train.steady - train.begin < min(PLAN.close_time, PLAN.open_time)
            train.judged = at_rest and quick and self.late < train.begin
            at_rest = self.late < train.begin
            missing -= train.judged
            self.trains.append(train)

    def move(self, sim: Sim, closed: bool) -> None:
        """Every line is closed when low."""
        self.moved.append((closed, boottime()))
        sim.move(self.line, not closed)


def bounces(train: Train, chance: random.Random) -> Iterator[tuple[bool, int]]:
    """Positions before the train comes to rest, each with the time that it lasts.

    An even number where it rests on the other side, an odd one where it comes back.
    """
    count = 2 * chance.randrange(6) + (train.before == train.after)
    closed = train.before
    for _ in range(count):
        closed = not closed
        yield closed, chance.randrange(SHORTEST, min(LONGEST, BOUNCE // count))


def drive(sim: Sim, wires: list[Wire], chance: random.Random) -> None:
    """Let all lines bounce side by side, none sooner than its own times say."""
    never = Flag()
    steps = [wire.moves(sim, chance) for wire in wires]
    queue = [(boottime(), number) for number in range(len(steps))]
    while queue:
        due, number = heapq.heappop(queue)
        never.wait(max(0, due - boottime()) / 1e9)
        if boottime() - due > STALL:
            for wire in wires:
                wire.late = boottime()
        lasts = next(steps[number], None)
        if lasts is not None:
            heapq.heappush(queue, (boottime() + lasts, number))


def turns(said: list[Said], until: int) -> list[tuple[int, bool]]:
    """When the filter turned, and to where, fed with what was posted about one line."""
    first, *rest = said
    assert isinstance(first, LevelRead)
    times = PLAN.close_time, PLAN.open_time
    flt = started(first.closed, first.at, *times)
    found: list[tuple[int, bool]] = []
    levels = [(each.closed, each.at) for each in _levels(rest)]
    for raw, at in [*levels, (None, until)]:
        was = flt.closed
        flt = advance(flt, raw, at, *times)
        if was is not None and flt.closed is not None and flt.closed is not was:
            found.append((flt.changed, flt.closed))
    return found


def _levels(said: list[Said]) -> list[EdgeSeen | LevelRead]:
    kept = [each for each in said if isinstance(each, EdgeSeen | LevelRead)]
    assert len(kept) == len(said), "an input was lost"
    return kept


def report(seed: int, wires: list[Wire], posted: Posted, took: float) -> None:
    trains = [train for wire in wires for train in wire.trains]
    said = [each for wire in wires for each in posted.about(wire.name)]
    edges = [each for each in said if isinstance(each, EdgeSeen)]
    print(
        f"\nseed {seed}: {len(trains)} trains on {len(wires)} lines in {took:.0f} s,"
        f" {sum(not train.judged for train in trains)} not judged (the machine stalled),"
        f" {sum(len(train.expected()) for train in trains)} moves among them;"
        f" {sum(len(wire.moved) for wire in wires)} edges made, {len(edges)} told,"
        f" {sum(each.lost for each in edges)} said to be lost,"
        f" {len(said) - len(edges) - len(wires)} levels put right by a poll"
    )


def check(wire: Wire, said: list[Said], until: int, seed: int) -> None:
    """Each train that is judged turned the filter as it should, and nothing else turned it."""
    inside, found = 0, turns(said, until)
    for train in wire.trains:
        got = [to for at, to in found if train.begin <= at < train.end]
        inside += len(got)
        right = not train.judged or got == train.expected()
        assert right, f"seed {seed}: {wire.name} turned to {got}\n{story(wire, train, said)}"
    assert inside == len(found), f"seed {seed}: {wire.name} turned between two trains"


def story(wire: Wire, train: Train, said: list[Said]) -> str:
    """What was done and what was said in one train, in milliseconds from its begin."""
    lines = [(at, f"moved {closed}") for closed, at in wire.moved]
    lines += [(each.at, str(each)) for each in _levels(said)]
    lines += [(train.steady, "steady")]
    return "\n".join(
        f"{(at - train.begin) / MILLISECOND:8.2f} {text}"
        for at, text in sorted(lines)
        if train.begin <= at <= train.end
    )


@pytest.mark.timeout(0)
def test_of_many_trains_of_bounce_none_is_missed_and_none_is_false() -> None:
    seed = int(os.environ.get("RELAYD_SEED") or random.SystemRandom().randrange(1_000_000))
    sim, posted = Sim(LABEL), Posted()
    wires = [Wire(f"north.line-{line}", line) for line in range(LINES)]
    for wire in wires:
        wire.move(sim, False)
        wire.moved.clear()
    contacts = PinContacts(tuple(Line(w.name, LABEL, w.line) for w in wires), 1_000 * MILLISECOND)
    contacts.start(posted)
    began = boottime()
    drive(sim, wires, random.Random(seed))
    end = boottime()
    for wire in wires:
        posted.until_stands(wire.name, wire.trains[-1].after)
    contacts.stop()
    sim.close()
    report(seed, wires, posted, (end - began) / 1e9)
    for wire in wires:
        check(wire, posted.about(wire.name), end, seed)
    assert sum(train.judged for wire in wires for train in wire.trains) == TRAINS
