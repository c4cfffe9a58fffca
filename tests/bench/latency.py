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
EDGE = f"homie/5/{plans.UNIT}-{plans.EDGES}/inputs/alarm-power"


@dataclass(slots=True)
class Pin:
    """A line whose moves are told on a topic, by the word for closed or open, `late` ns after them."""

    line: int
    topic: str
    late: int = 0
    words: tuple[str, str] = ("open", "closed")
    closed: bool = False
    rounds: Rounds = field(default_factory=list)

    def word(self) -> str:
        return self.words[self.closed]


class Bench:
    """Pins, subscriber and the bare scripts: two that tell at once, two that wait as an alarm does."""

    def __init__(self, sim: Sim, subscriber: Subscriber, chance: random.Random) -> None:
        self.sim, self.subscriber, self._chance = sim, subscriber, chance
        self.bare = [Pin(8, "bare/nothing"), Pin(9, "bare/insert")]
        late = plans.FILTER + plans.ON_DELAY
        self.late = [Pin(10, "bare/late-nothing", late), Pin(11, "bare/late-insert", late)]

    def start_bare(self, stack: ExitStack, broker: int, folder: Path) -> None:
        """Start the bare scripts. All lines stand high, which is open."""
        for pins in (self.bare, self.late):
            for pin, stores in zip(pins, ([], [folder]), strict=True):
                self.sim.move(pin.line, True)
                words = [self.sim.label, pin.line, broker, pin.topic, pin.late, *stores]
                made = stack.enter_context(under.process(under.bare("edge", *words)))
                assert under.said(made) == ["ready"]

    def round(self, pins: list[Pin], count: int) -> None:
        """So many moves of each pin, in turn, at times that repeat in no pattern."""
        for pin in pins:
            pin.rounds.append([])
        for _ in range(count):
            for pin in pins:
                self.subscriber.idle(self._chance.uniform(0.008, 0.020))
                self._await([(pin, self._move(pin))])

    def alarms(self, pins: list[Pin], count: int) -> None:
        """Each alarm in turn, and before it, in the same second, both bare scripts that wait.

        The alarm's own notice is on its way to the service when the next ones are moved.
        """
        rounds: Rounds = []
        for pin in self.late:
            pin.rounds.append([])
        for number in range(count):
            alarm = pins[number % len(pins)]
            alarm.rounds.append([])
            self.subscriber.idle(self._chance.uniform(0.3, 0.5))
            moved = []
            for pin in (*self.late, alarm):
                moved.append((pin, self._move(pin)))
                self.subscriber.idle(0.12)
            self._await(moved)
            rounds.append(alarm.rounds.pop())
            self._move(alarm)
        pins[0].rounds.append([each for part in rounds for each in part])

    def _move(self, pin: Pin) -> int:
        pin.closed = not pin.closed
        self.subscriber.forget(pin.topic)
        moved = monotonic_ns()
        self.sim.move(pin.line, not pin.closed)
        return moved

    def _await(self, moved: list[tuple[Pin, int]]) -> None:
        for pin, at in moved:
            came = self.subscriber.until(pin.topic, pin.word())
            pin.rounds[-1].append(came - at - pin.late)


def alarm_pins() -> list[Pin]:
    """The contacts that raise an alarm. What follows when they go back is not waited for."""
    late = plans.FILTER + plans.ON_DELAY
    return [
        Pin(plans.LINES[f"{name}.high-level"], alarm_topic(name), late, ("RTNUN", "UNACK"))
        for name in plans.ALARMS
    ]


def alarm_topic(panel: str) -> str:
    """Where the state of that panel's high-level alarm is told."""
    return f"homie/5/{plans.UNIT}-{panel}/alarm-high-level/state"


def rows(what: str, measured: Rounds, bare: list[Pin]) -> list[Row]:
    """p50 and p99 over all rounds, and the ratios' median over the rounds."""
    found = []
    for pin, name, most in zip(
        bare, ("stores nothing", "makes one insert"), (2.0, 1.5), strict=True
    ):
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
