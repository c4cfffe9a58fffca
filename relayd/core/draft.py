"""The next state while a step is being worked out: what the stations of one step write on.

In: the state before. Out: `finished()`, the state after with its effects. The only mutable thing
in the core; it lives for one step and is seen by nobody outside.
"""

from collections.abc import Mapping
from dataclasses import replace
from itertools import compress, islice
from operator import is_not
from typing import TypeVar

from relayd.core.effects import Effect, Publish, Record
from relayd.core.events import Now
from relayd.core.plan import Plan
from relayd.core.state import Alarm, Live, Notice, Stamp, State, Subject

UNIT = "unit"
K = TypeVar("K")


class Draft:
    """One step's workbench."""

    def __init__(self, plan: Plan, state: State, now: Now) -> None:
        self.plan = plan
        self.now = now
        self.epoch = state.epoch
        self.boot = state.boot
        self.counter = state.counter
        self.subjects = dict(state.subjects)
        self.notices = dict(state.notices)
        self.live = dict(state.live)
        self.turns = dict(state.turns)
        self.handed = dict(state.handed)
        self.rests = dict(state.rests)
        self.effects: list[Effect] = []
        self.closed: list[Notice] = []
        self.missed: list[Notice] = []
        """Notices that no way has taken, though each was tried in this step or before."""
        self.works: list[str] = []
        """Channels that took something in this step, and had failed before."""
        self._before = state

    @property
    def stamp(self) -> Stamp:
        """The step's time, as it is remembered."""
        return Stamp(self.now.up, self.now.wall, self.now.trusted)

    def at(self, up: int) -> Stamp:
        """The moment at which boot time was `up`."""
        return Stamp(up, self.now.wall - (self.now.up - up), self.now.trusted)

    def number(self) -> int:
        """The next number; none is given twice."""
        self.counter += 1
        return self.counter

    def ref(self, number: int) -> str:
        """The id that the world sees."""
        return f"{self.plan.unit}.{self.epoch}.{number}"

    def subject(self, subject: str) -> Subject:
        """The subject as it now is."""
        return self.subjects.get(subject) or Subject(subject)

    def put(self, subject: Subject) -> None:
        """Keep a changed subject."""
        if self.subjects.get(subject.id) != subject:
            self.subjects[subject.id] = subject

    def alarm(self, subject: str, condition: str) -> Alarm:
        """That alarm as it now is; it must exist."""
        return self.subject(subject).alarms[condition]

    def put_alarm(self, subject: str, alarm: Alarm) -> None:
        """Keep a changed alarm."""
        owner = self.subject(subject)
        self.put(replace(owner, alarms={**owner.alarms, alarm.condition: alarm}))

    def put_live(self, subject: str, live: Live) -> None:
        """Keep what is found again from the contacts."""
        self.live[subject] = live

    def put_notice(self, notice: Notice) -> None:
        """Keep a notice with a send that is owed or out."""
        self.notices[notice.id] = notice

    def close_notice(self, notice: int) -> None:
        """Nothing is owed on this notice any more."""
        closed = self.notices.pop(notice, None)
        if closed is not None:
            self.closed.append(closed)

    def record(self, kind: str, subject: str, **body: object) -> None:
        """Write a line of the journal."""
        self.effects.append(Record(kind, subject, body))

    def finished(self) -> tuple[State, tuple[Effect, ...]]:
        """The state after the step, and what is asked for; what did not change is the same object."""
        before = self._before
        shown = changed(before.subjects, self.subjects)
        noticed = bool(changed(before.notices, self.notices) or self.closed)
        durable = bool(shown or noticed or self.effects) or self.boot != before.boot
        moved = [
            key
            for key in changed(before.live, self.live)
            if _shows(before.live.get(key), self.live.get(key))
        ]
        self.effects += [Publish(key) for key in dict.fromkeys([*shown, *moved])]
        state = State(
            epoch=self.epoch,
            boot=self.boot,
            stamp=self.stamp if durable else before.stamp,
            counter=self.counter,
            subjects=self.subjects if shown else before.subjects,
            notices=self.notices if noticed else before.notices,
            closed=tuple(self.closed),
            live=self.live,
            turns=self.turns,
            handed=self.handed,
            rests=self.rests,
        )
        return state, tuple(self.effects)


def changed(before: Mapping[K, object], after: Mapping[K, object]) -> list[K]:
    """Keys that came, went, or hold another object, in the order of `before`, then of `after`."""
    if [*before] == [*islice(after, len(before))]:
        # No key went, which is nearly always so: then no line of Python runs for what stayed.
        moved = compress(before, map(is_not, before.values(), after.values()))
        return [*moved, *islice(after, len(before), None)]
    return [
        key for key in dict.fromkeys([*before, *after]) if before.get(key) is not after.get(key)
    ]


def _shows(before: Live | None, after: Live | None) -> bool:
    """Whether a settled value or a lost input changed: bounces and charges are nobody's business."""
    return _settled(before) != _settled(after)


def _settled(live: Live | None) -> dict[str, tuple[bool | None, str]]:
    inputs = live.inputs if live else {}
    return {
        name: (each.filter.closed if each.filter else None, each.lost)
        for name, each in inputs.items()
    }
