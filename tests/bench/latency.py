"""From a move of a pin to the message at a subscriber, each beside its floors, in turn. In the guest."""

import random
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from time import monotonic_ns

from tests.bench import plans, under
from tests.bench.figures import Row, ms, quantile, spread
from tests.bench.subscriber import Subscriber
from tests.kernel.inside import Sim

Rounds = list[list[float]]
STORED_NOTHING, STORED_ONE = "bare/nothing", "bare/insert"
EDGE = f"homie/5/{plans.UNIT}-{plans.EDGES}/inputs/alarm-power"


@dataclass(slots=True)
class Pin:
    """A line whose moves are told on a topic after `late` ns that do not count."""

    line: int
    topic: str
    late: int = 0
    closed: bool = True
    rounds: Rounds = field(default_factory=list)


class Bench:
    """Pins, subscriber and the bare scripts."""

    def __init__(self, sim: Sim, subscriber: Subscriber, chance: random.Random) -> None:
        self.sim, self.subscriber, self._chance = sim, subscriber, chance
        self.bare = [Pin(8, STORED_NOTHING), Pin(9, STORED_ONE)]

    def start_bare(self, stack: ExitStack, broker: int, folder: Path) -> None:
        """Start both bare scripts."""
        for pin, stores in zip(self.bare, ([], [folder]), strict=True):
            command = under.bare("edge", self.sim.label, pin.line, broker, pin.topic, *stores)
            made = stack.enter_context(under.process(command))
            assert under.said(made) == ["ready"]

    def round(self, pins: list[Pin], count: int) -> None:
        """So many moves of each pin, in turn, at times that repeat in no pattern."""
        for pin in pins:
            pin.rounds.append([])
        for _ in range(count):
            for pin in pins:
                self.subscriber.idle(self._chance.uniform(0.008, 0.020))
                pin.rounds[-1].append(self._move(pin))

    def _move(self, pin: Pin) -> int:
        pin.closed = not pin.closed
        self.subscriber.forget()
        moved = monotonic_ns()
        self.sim.move(pin.line, not pin.closed)
        came = self.subscriber.until(pin.topic, "closed" if pin.closed else "open")
        return came - moved - pin.late

    def alarms(self, rounds: Rounds, bare_moves: int) -> None:
        """Every alarm panel raises its alarm once and ends it; bare moves while they end."""
        rounds.append([])
        for name in plans.ALARMS:
            state = f"homie/5/{plans.UNIT}-{name}/alarm-high-level/state"
            self.subscriber.idle(self._chance.uniform(0.15, 0.25))
            self.subscriber.forget()
            moved = monotonic_ns()
            self.sim.move(plans.LINES[f"{name}.high-level"], False)
            came = self.subscriber.until(state, "UNACK")
            rounds[-1].append(came - moved - plans.FILTER - plans.ON_DELAY)
        for name in plans.ALARMS:
            self.sim.move(plans.LINES[f"{name}.high-level"], True)
        end = monotonic_ns() + plans.RELEASE + 200_000_000
        self.round(self.bare, bare_moves)
        self.subscriber.idle(max(0, end - monotonic_ns()) / 1e9)


def rows(what: str, measured: Rounds, bare: list[Pin]) -> list[Row]:
    """p50 and p99 over all rounds, and the ratios' median over the rounds."""
    found = []
    for pin, name, most in zip(bare, ("stores nothing", "one insert"), (2.0, 1.5), strict=True):
        floor = pin.rounds[-len(measured) :]
        ratios = [
            quantile(a, 0.99) / quantile(b, 0.99) for a, b in zip(measured, floor, strict=True)
        ]
        middle = median(median(a) / median(b) for a, b in zip(measured, floor, strict=True))
        found.append(
            Row(
                f"{what}, beside a bare script that {name}",
                _both(measured),
                _both(floor),
                f"p50 {middle:.2f}, p99 {spread(ratios)}",
                f"p99 {most:g}",
                median(ratios) <= most,
            )
        )
    return found


def _both(rounds: Rounds) -> str:
    values = [each for part in rounds for each in part]
    return f"p50 {ms(median(values))}, p99 {ms(quantile(values, 0.99))}"
