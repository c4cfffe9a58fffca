"""Random histories around the core, and what must hold after every single step of them."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from hypothesis import strategies as st

from relayd.core.alarm import ACTIVE
from relayd.core.effects import Answer, Record, Tell
from relayd.core.events import (
    Acknowledge,
    Act,
    ChannelDown,
    ChannelUp,
    ClockJudged,
    Event,
    FaultFound,
    InputFound,
    InputLost,
    JournalJudged,
    LevelRead,
    Looked,
    Outcome,
    PlanJudged,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.machine import Outcome as MachineOutcome
from relayd.core.plan import (
    HOUR,
    MINUTE,
    SECOND,
    Follows,
    Input,
    Plan,
    Position,
    Unpowered,
    seconds,
)
from relayd.core.state import NoticeKind, Process, SendState
from relayd.journal.codec import decode, encode
from tests.core.world import (
    CIRCUIT,
    LEVEL,
    PUMP,
    World,
    circuit_input,
    level_input,
    plan,
    pump_input,
    stored,
)

OPEN_SENDS = (SendState.OWED, SendState.OUT, SendState.LEAVING)
SEEN_LONG_ENOUGH = seconds(10 + 10 + 3 + 0.3)
"""Settle time of an alarm, on-delay, release hold, filters: whatever happened before, it is raised then."""
NAMES = (LEVEL, CIRCUIT, PUMP)
FAULTS = "fault in relayd"


@dataclass
class Unit(World):
    """A world that watches the promises of the core while a history goes through it."""

    closed: dict[str, bool] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)
    seen_since: int | None = None
    """Since when the level contact stood in alarm, read, with its circuit alive and read."""

    def step(self, event: Event) -> MachineOutcome:
        """Step, and hold against the outcome what holds for every step."""
        outcome = super().step(event)
        if not isinstance(event, TimePassed):
            assert outcome == super().step(event), "not deterministic"
        assert outcome.state.counter >= self.state.counter, "numbers may repeat"
        faults = [
            each for each in outcome.effects if isinstance(each, Record) and each.kind == FAULTS
        ]
        assert faults == []
        return outcome

    def begin(self, planned: bool = True) -> "Unit":
        """Start, and read every input that can be read."""
        self.give(Started(planned))
        for each in self.plan.panels["cabin"].inputs:
            self.closed.setdefault(each.id, each.in_alarm is Position.OPEN)
            if each.id in self.lost:
                self.give(InputLost(each.id, "no such chip"))
            else:
                self.give(LevelRead(each.id, self.closed[each.id], self.up))
        self.seen_since = None
        self.watch()
        return self

    def watch(self) -> None:
        """Note since when the alarm can be seen, and hold that it is raised in time."""
        if not self._visible():
            self.seen_since = None
        elif self.seen_since is None:
            self.seen_since = self.up
        elif self.up - self.seen_since >= SEEN_LONG_ENOUGH:
            assert self.process("high-level") in ("UNACK", "ACKED"), "a raise was lost"

    def _visible(self) -> bool:
        level, circuit = self.plan.input(LEVEL), self.plan.input(CIRCUIT)
        assert level is not None
        if LEVEL in self.lost or self.closed[LEVEL] != (level.in_alarm is Position.CLOSED):
            return False
        return circuit is None or (CIRCUIT not in self.lost and self.closed[CIRCUIT])

    def check(self) -> None:
        """The promises about all that is owed."""
        self._alarms_go_on()
        self._nobody_is_forgotten()
        self._numbers_are_given_once()

    def _alarms_go_on(self) -> None:
        for subject in self.state.subjects.values():
            for alarm in subject.alarms.values():
                if alarm.process not in ACTIVE:
                    continue
                calls = alarm.call.due if alarm.call else None
                next_step = calls if alarm.process is Process.UNACK else alarm.realarm
                assert next_step is not None, f"{alarm.condition} stands and nobody will be told"
                assert next_step > self.up, f"{alarm.condition} was not told in time"
                assert self.due is not None, f"{alarm.condition} stands and nothing is due"
                assert self.due <= next_step, f"{alarm.condition} will be slept through"

    def _nobody_is_forgotten(self) -> None:
        told: dict[tuple[int, str], set[NoticeKind]] = {}
        for notice in self.notices():
            told.setdefault((notice.occurrence, notice.person), set()).add(notice.kind)
            for send in notice.sends:
                if send.state in OPEN_SENDS:
                    assert notice.id in self.state.notices, f"{notice.id} was forgotten"
                    assert send.due is not None, f"{send.id} will never be tried again"
                else:
                    assert send.state is SendState.TAKEN or send.detail, "withdrawn for no reason"
        for (occurrence, person), kinds in told.items():
            if NoticeKind.STAND_DOWN in kinds:
                assert NoticeKind.RAISED in kinds, f"{person} was stood down of {occurrence} untold"

    def _numbers_are_given_once(self) -> None:
        numbers = [each.id for each in self.notices()]
        numbers += [send.id for each in self.notices() for send in each.sends]
        numbers += list({each.occurrence for each in self.notices()} - {0})
        assert len(numbers) == len(set(numbers)), "a number was given twice"
        assert max(numbers, default=0) <= self.state.counter


Act_ = Callable[[Unit], object]
"""One thing that happens."""


@dataclass(frozen=True)
class Happens:
    """One thing that happens, told so that a failing history can be read."""

    what: str
    do: Act_ = field(compare=False)

    def __repr__(self) -> str:
        return self.what


def _edge(name: str, closed: bool, polled: bool) -> Happens:
    def do(unit: Unit) -> None:
        if name in unit.closed and name not in unit.lost:
            unit.closed[name] = closed
            if polled:
                unit.give(LevelRead(name, closed, unit.up))
            else:
                unit.move(name, closed)

    return Happens(f"{name} {'closes' if closed else 'opens'}{' (polled)' if polled else ''}", do)


def _lost(name: str) -> Happens:
    def do(unit: Unit) -> None:
        if name in unit.closed:
            unit.lost.add(name)
            unit.give(InputLost(name, "no such chip"))

    return Happens(f"{name} lost", do)


def _found(closed: bool) -> Happens:
    def do(unit: Unit) -> None:
        if unit.lost:
            name = min(unit.lost)
            unit.lost.discard(name)
            unit.closed[name] = closed
            unit.give(InputFound(name, closed, unit.up))

    return Happens(f"a lost input found {'closed' if closed else 'open'}", do)


def _passes(length: float) -> Happens:
    return Happens(f"{length} s pass", lambda unit: unit.run(length))


def _slept(length: float) -> Happens:
    def do(unit: Unit) -> None:
        unit.up += seconds(length)
        unit.give(TimePassed())
        # What moved meanwhile is seen now, and its on-delay begins now.
        unit.seen_since = None

    return Happens(f"{length} s are slept through", do)


def _stands(name: str, alarm: bool, length: float) -> Happens:
    """A contact that stands at one side for a while, as contacts do most of the time."""

    def do(unit: Unit) -> None:
        spec = unit.plan.input(name)
        if spec is not None and name not in unit.lost:
            unit.closed[name] = alarm == (spec.in_alarm is Position.CLOSED)
            unit.move(name, unit.closed[name])
        unit.watch()
        unit.run(length)

    return Happens(f"{name} stands {'in alarm' if alarm else 'normal'} for {length} s", do)


def _restart(down: float, other_boot: bool, trusted: bool) -> Happens:
    def do(unit: Unit) -> None:
        boot = f"{unit.boot}'" if other_boot else None
        assert stored(unit.state) == replace(unit.state, live={}, closed=()), "not stored whole"
        unit.crash(down, boot, trusted, None)
        unit.begin(planned=False)

    clock = "trusted" if trusted else "not trusted"
    return Happens(
        f"restart after {down} s{' in another boot' if other_boot else ''}, clock {clock}", do
    )


def _asked(by: str, command: Acknowledge | Looked) -> Happens:
    def do(unit: Unit) -> None:
        answer = unit.ask(command, by)
        assert isinstance(answer, Answer)
        assert answer.say
        assert answer.code

    return Happens(f"{by}: {command}", do)


def _took(which: int, by: str, act: Act) -> Happens:
    """An acknowledgement of one of the open occurrences, by its outside id."""

    def do(unit: Unit) -> None:
        open_ones = sorted(
            alarm.occurrence
            for subject in unit.state.subjects.values()
            for alarm in subject.alarms.values()
            if alarm.process is not Process.NORM
        )
        if open_ones:
            number = open_ones[which % len(open_ones)]
            ref = f"{unit.plan.unit}.{unit.state.epoch}.{number}"
            assert unit.ask(Acknowledge(occurrence=ref, act=act), by).ok

    return Happens(f"{by} has {act.value} open alarm {which}", do)


def _sent(which: int, outcome: Outcome) -> Happens:
    def do(unit: Unit) -> None:
        given = [each for _, each in unit.effects if isinstance(each, Tell)]
        send = given[-1 - which % len(given)].send if given else 4711
        unit.give(Sent(send, outcome, "" if outcome is Outcome.TAKEN else "busy"))

    return Happens(f"send {which} back was {outcome.value}", do)


def _deaf(channel: str, deaf: bool) -> Happens:
    def do(unit: Unit) -> None:
        (unit.deaf.add if deaf else unit.deaf.discard)(channel)

    return Happens(f"{channel} {'answers no more' if deaf else 'answers again'}", do)


def _news(event: Event) -> Happens:
    return Happens(repr(event), lambda unit: unit.give(event))


def _clock(trusted: bool) -> Happens:
    def do(unit: Unit) -> None:
        unit.trusted = trusted
        unit.give(ClockJudged(trusted))

    return Happens(f"clock {'trusted' if trusted else 'not trusted'}", do)


name = st.sampled_from(NAMES)
person = st.sampled_from(["anna", "ben", "eve"])
act = st.sampled_from([None, *Act])
short = st.sampled_from([0.001, 0.02, 0.049, 0.05, 0.051, 0.3, 1, 2.9, 3, 4, 6, 9.9, 10, 11, 25])
long = st.sampled_from([30, 61, 130, 200, 600, 900, 1800, 3700, 8000])
length = st.one_of(short, short, long, st.floats(0.001, 100))
WAYS_NEWS: list[Event] = [
    ChannelDown("sender", "exit 1"),
    ChannelUp("sender"),
    ChannelDown("mqtt", "refused"),
    ChannelUp("mqtt"),
    JournalJudged(True, "slow"),
    JournalJudged(False),
    PlanJudged(True, "line 3"),
    PlanJudged(False),
    FaultFound("inbox", "dropped 3"),
]

contacts = st.one_of(
    st.builds(_stands, st.just(LEVEL), st.booleans(), length),
    st.builds(_stands, st.just(LEVEL), st.booleans(), long),
    st.builds(_stands, st.just(CIRCUIT), st.booleans(), length),
    st.builds(_stands, name, st.booleans(), long),
    st.builds(_edge, name, st.booleans(), st.booleans()),
    st.builds(_edge, st.just(LEVEL), st.booleans(), st.booleans()),
    st.builds(_passes, length),
)
others = st.one_of(
    st.builds(_slept, length),
    st.builds(_lost, name),
    st.builds(_found, st.booleans()),
    st.builds(_restart, length, st.booleans(), st.booleans()),
    st.builds(
        _asked,
        person,
        st.builds(
            Acknowledge,
            panel=st.sampled_from(["cabin", "creek-1", "cellar"]),
            act=act,
            within=st.sampled_from([None, 0, MINUTE, HOUR, 25 * HOUR]),
        ),
    ),
    st.builds(_asked, person, st.builds(Looked, st.just("cabin"), st.booleans())),
    st.builds(_took, st.integers(0, 3), st.sampled_from(["anna", "ben"]), st.sampled_from(Act)),
    st.builds(_sent, st.integers(0, 5), st.sampled_from(Outcome)),
    st.builds(_deaf, st.sampled_from(["anna.mail", "ben.mail", "ben.push"]), st.booleans()),
    st.builds(_news, st.sampled_from(WAYS_NEWS)),
    st.builds(_clock, st.booleans()),
)
happenings = st.one_of(contacts, others)


def histories(most: int) -> st.SearchStrategy[list[Happens]]:
    """Up to that many happenings; half of the histories begin with high water that is told."""
    risen = st.builds(_stands, st.just(LEVEL), st.just(True), st.sampled_from([15, 200, 600]))
    return st.one_of(
        st.lists(happenings, min_size=min(6, most), max_size=most),
        st.builds(
            lambda first, rest: [first, *rest],
            risen,
            st.lists(happenings, min_size=4, max_size=most),
        ),
    )


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Any declared properties, with and without the sensing of circuit and pump."""
    level = level_input(
        in_alarm=draw(st.sampled_from(Position)),
        unpowered=draw(st.sampled_from(Unpowered)),
        follows=draw(st.sampled_from(Follows)),
    )
    inputs: list[Input] = [level]
    inputs += [circuit_input()] if draw(st.booleans()) else []
    inputs += [pump_input()] if draw(st.booleans()) else []
    return plan(*inputs, silence_time=draw(st.sampled_from([None, 10 * MINUTE])))


def live(plan_: Plan, history: list[Happens]) -> Unit:
    """Go through the history, and hold every promise all the way and to the end of the next day."""
    unit = Unit(plan_).begin()
    for each in history:
        each.do(unit)
        unit.watch()
        unit.check()
    unit.run(30)
    unit.watch()
    unit.check()
    assert decode(type(unit.state), encode(unit.state)) == unit.state
    assert unit.up >= 100 * SECOND or unit.boot != "boot-1"
    return unit
