"""Very many alarms at once, through the engine, with a journal on the disk: who was told what, when.

Simulated time: services answer at once, contacts move when the script says so. The disk is real.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from relayd.core.effects import Record, Tell
from relayd.core.events import EdgeSeen, Event, LevelRead, Now, Outcome, Sent, Started, TimePassed
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    CallList,
    Hours,
    Input,
    Means,
    Panel,
    Plan,
    Position,
    Priority,
    Step,
)
from relayd.core.state import State
from relayd.engine import Engine
from relayd.journal.store import Journal
from tests.core.build import contact, panel, plan_of
from tests.core.world import WALL

PRIORITIES = (Priority.HIGH, Priority.MEDIUM, Priority.HIGH, Priority.LOW)


def site(panels: int, each: int) -> Plan:
    """So many panels with so many contacts, a fourth of them low, half of them high; two people."""
    made = [_panel(number, each) for number in range(panels)]
    steps = (Step(0, ("anna", "ben")), Step(8 * MINUTE, ("carla",)))
    return plan_of(*made, call_lists={"night": CallList("night", steps, repeat=24 * HOUR)})


def _panel(number: int, contacts: int) -> Panel:
    name = f"p{number}"
    inputs = [_contact(name, each) for each in range(contacts)]
    return panel(name, *inputs)


def _contact(owner: str, number: int) -> Input:
    priority = PRIORITIES[number % len(PRIORITIES)]
    text = f"Thing {owner}-{number}."
    name = f"c{number}"
    return contact(Means.OTHER, panel=owner, name=name, priority=priority, text=text, on_delay=0)


@dataclass
class Storm:
    """An engine in simulated time."""

    plan: Plan
    file: Path
    up: int = 1000 * SECOND
    tells: list[tuple[int, Tell]] = field(default_factory=list)
    recorded: list[Record] = field(default_factory=list)
    waiting: list[Tell] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.journal = Journal(self.file, self.plan.unit, lambda: "storm1")
        state = self.journal.open()
        self.engine = Engine(self.plan, state, self, self, self.now)

    def now(self) -> Now:
        return Now("boot-1", self.up, WALL + self.up, True)

    # What the engine needs

    def commit(
        self, old: State, new: State, records: Sequence[Record], now: Now, wait: float
    ) -> bool:
        self.recorded += records
        # The disk of a test machine is no part of the promise: a full minute of patience.
        return self.journal.commit(old, new, records, now, 60)

    def late(self) -> str:
        return ""

    def tell(self, tell: Tell) -> None:
        self.tells.append((self.up, tell))
        self.waiting.append(tell)

    def settled(self, send: int) -> None:
        """Nothing waits for that."""

    def withdraw(self, send: int) -> None:
        self.waiting = [each for each in self.waiting if each.send != send]

    # What happens

    def give(self, event: Event) -> None:
        """One turn, and the answers of the services."""
        self.engine.turn(event)
        while self.waiting:
            self.engine.turn(Sent(self.waiting.pop(0).send, Outcome.TAKEN))

    def run_to(self, end: int) -> None:
        """Let time pass, stopping at every deadline."""
        while self.engine.due is not None and self.engine.due <= end:
            self.up = self.engine.due
            self.give(TimePassed())
        self.up = end

    def begin(self) -> None:
        """Start, every contact at rest."""
        self.give(Started(True))
        for each in self.inputs():
            self.give(LevelRead(each.id, each.in_alarm is Position.OPEN, self.up))
        self.run_to(self.up + MINUTE)

    def inputs(self) -> list[Input]:
        """Every contact."""
        return [each for one in self.plan.panels.values() for each in one.inputs]

    def breaks(self, lasts: int) -> int:
        """Every contact moves within that time, evenly; when the first moved (boot ns)."""
        begins, inputs = self.up, self.inputs()
        for number, each in enumerate(inputs):
            self.run_to(begins + lasts * number // len(inputs))
            self.give(EdgeSeen(each.id, each.in_alarm is Position.CLOSED, self.up))
        return begins

    def to(self, person: str, since: int) -> list[tuple[float, Tell]]:
        """What went to a person since then, each with its time (s)."""
        mine = {name for name, who in self.plan.channels.items() if who == person}
        return [
            (round((at - since) / SECOND, 3), each)
            for at, each in self.tells
            if at >= since and each.channel in mine
        ]

    def close(self) -> None:
        """Write what is still to be written."""
        assert self.journal.close()


def awake(plan: Plan) -> Plan:
    """The same with everybody awake and at work at any hour, so that nothing is held."""
    people = {name: replace(each, waking=(0, 24 * HOUR)) for name, each in plan.people.items()}
    work = Hours("always", dict.fromkeys(range(7), (0, 24 * HOUR)))
    return replace(plan, people=people, hours={"always": work}, work="always")
