"""Random histories around the core: contacts move, people ask, sends end, relayd starts again."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

from hypothesis import strategies as st

from relayd.core.effects import Tell
from relayd.core.events import (
    Acknowledge,
    Act,
    AtPanel,
    ChannelDown,
    ChannelUp,
    ClockJudged,
    ComeBack,
    Command,
    Event,
    FaultFound,
    GoAway,
    HornWire,
    InputFound,
    InputLost,
    InService,
    JournalJudged,
    LevelRead,
    Looked,
    Outcome,
    OutOfService,
    PlanJudged,
    PutOff,
    Reset,
    Sent,
    Settled,
    Shelve,
    Stage,
    TimePassed,
    Unshelve,
    Wire,
)
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Plan, Position, seconds
from relayd.core.state import Process
from relayd.journal.codec import decode, encode
from tests.core.promises import Unit
from tests.core.random_plans import plans
from tests.core.world import CIRCUIT, LEVEL, WALL, stored

Act_ = Callable[[Unit], object]
"""One thing that happens."""


@dataclass(frozen=True)
class Happens:
    """One thing that happens, told so that a failing history can be read."""

    what: str
    do: Act_ = field(compare=False)

    def __repr__(self) -> str:
        return self.what


def _named(unit: Unit, which: int) -> str:
    """One of the plan's inputs."""
    inputs = unit.all_inputs()
    return inputs[which % len(inputs)].id


def _edge(which: int, closed: bool, polled: bool) -> Happens:
    def do(unit: Unit) -> None:
        name = _named(unit, which)
        if name not in unit.lost:
            unit.closed[name] = closed
            if polled:
                unit.give(LevelRead(name, closed, unit.up))
            else:
                unit.move(name, closed)

    way = " (polled)" if polled else ""
    return Happens(f"input {which} {'closes' if closed else 'opens'}{way}", do)


def _lost(which: int) -> Happens:
    def do(unit: Unit) -> None:
        name = _named(unit, which)
        unit.lost.add(name)
        unit.give(InputLost(name, "no such chip"))

    return Happens(f"input {which} lost", do)


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


def _stands(which: int | str, alarm: bool, length: float) -> Happens:
    """A contact that stands at one side for a while, as contacts do most of the time."""

    def do(unit: Unit) -> None:
        name = which if isinstance(which, str) else _named(unit, which)
        spec = unit.plan.input(name)
        if spec is not None and name not in unit.lost:
            unit.closed[name] = alarm == (spec.in_alarm is Position.CLOSED)
            unit.move(name, unit.closed[name])
        unit.watch()
        unit.run(length)

    return Happens(f"input {which} stands {'in alarm' if alarm else 'normal'} for {length} s", do)


def _flutters(which: int, times: int, gap: float) -> Happens:
    def do(unit: Unit) -> None:
        name = _named(unit, which)
        for _ in range(times if name not in unit.lost else 0):
            unit.closed[name] = not unit.closed[name]
            unit.move(name, unit.closed[name])
            unit.watch()
            unit.run(gap)

    return Happens(f"input {which} moves {times} times, every {gap} s", do)


def _restart(down: float, other_boot: bool, trusted: bool) -> Happens:
    def do(unit: Unit) -> None:
        boot = f"{unit.boot}'" if other_boot else None
        kept = replace(unit.state, live={}, closed=(), turns={}, handed={}, rests={})
        assert stored(unit.state) == kept, "not stored whole"
        unit.crash(down, boot, trusted, None)
        unit.begin(planned=False)

    clock = "trusted" if trusted else "not trusted"
    return Happens(
        f"restart after {down} s{' in another boot' if other_boot else ''}, clock {clock}", do
    )


def _asked(by: str, command: Command) -> Happens:
    def do(unit: Unit) -> None:
        answer = unit.ask(command, by)
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
            if alarm.process not in (Process.NORM, Process.LATAK)
        )
        if open_ones:
            number = open_ones[which % len(open_ones)]
            ref = f"{unit.plan.unit}.{unit.state.epoch}.{number}"
            assert unit.ask(Acknowledge(occurrence=ref, act=act), by).ok

    return Happens(f"{by} has {act.value} open alarm {which}", do)


def _about(which: int, by: str, make: Callable[[str, str], Command]) -> Happens:
    """A command about one of the alarms that there are."""

    def do(unit: Unit) -> None:
        there = [
            (owner.id.removeprefix("panel:").replace("unit", unit.plan.unit), name)
            for owner in unit.state.subjects.values()
            for name in owner.alarms
            if not owner.id.startswith("channel:")
        ]
        panel, condition = there[which % len(there)] if there else ("cabin", "high-level")
        assert unit.ask(make(panel, condition), by).say

    return Happens(f"{by}: {make('?', f'alarm {which}')}", do)


def _end(which: int, by: str, make: Callable[[str], Command]) -> Happens:
    """A command about one of the loose ends that there are."""

    def do(unit: Unit) -> None:
        keys = list(unit.state.subjects["panel:cabin"].loose) or ["horn-wire"]
        assert unit.ask(make(keys[which % len(keys)]), by).say

    return Happens(f"{by}: {make(f'loose end {which}')}", do)


def _leaves(by: str, left: bool) -> Happens:
    def do(unit: Unit) -> None:
        keys = tuple(unit.state.subjects["panel:cabin"].loose) if left else ()
        assert unit.ask(AtPanel("cabin", Stage.END, left=keys, why="a part is on order"), by).say

    return Happens(f"{by} leaves{' what is open' if left else ''}", do)


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


which = st.integers(0, 15)
some = st.integers(0, 5)
person = st.sampled_from(["anna", "ben", "carla", "eve"])
act = st.sampled_from([None, *Act])
short = st.sampled_from([0.001, 0.02, 0.049, 0.05, 0.051, 0.3, 1, 2.9, 3, 4, 6, 9.9, 10, 11, 25])
long = st.sampled_from([30, 61, 130, 200, 600, 900, 1800, 3700, 8000])
night = st.sampled_from([8 * 3600, 15 * 3600, 27 * 3600])
length = st.one_of(short, short, long, st.floats(0.001, 100))
within = st.sampled_from([None, 0, MINUTE, HOUR, 3 * HOUR, 25 * HOUR])
until = st.sampled_from([WALL + 2 * HOUR, WALL + DAY, WALL - HOUR])
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
    st.builds(_stands, which, st.booleans(), long),
    st.builds(_stands, which, st.booleans(), long),
    st.builds(_edge, which, st.booleans(), st.booleans()),
    st.builds(_flutters, which, st.integers(2, 12), st.sampled_from([0.04, 1.5, 6, 12, 20, 75])),
    st.builds(_passes, st.one_of(length, length, night)),
)
asides = st.one_of(
    st.builds(
        _about, some, person, st.builds(lambda time: lambda p, c: Shelve(p, c, within=time), within)
    ),
    st.builds(
        _about, some, person, st.builds(lambda time: lambda p, c: Shelve(p, c, until=time), until)
    ),
    st.builds(_about, some, person, st.just(Unshelve)),
    st.builds(
        _about,
        some,
        person,
        st.builds(lambda time: lambda p, c: OutOfService(p, c, within=time), within),
    ),
    st.builds(_about, some, person, st.just(InService)),
    st.builds(_about, some, person, st.just(Reset)),
    st.builds(_asked, person, st.builds(OutOfService, st.just("cabin"), within=within)),
    st.builds(_asked, person, st.just(InService("cabin"))),
    st.builds(_asked, person, st.just(Reset("cabin"))),
)
panel_work = st.one_of(
    st.builds(_asked, person, st.builds(HornWire, st.just("cabin"), st.sampled_from(Wire))),
    st.builds(_asked, person, st.builds(AtPanel, st.just("cabin"), st.just(Stage.BEGIN), within)),
    st.builds(_asked, person, st.builds(AtPanel, st.just("cabin"), st.just(Stage.EXTEND), within)),
    st.builds(_leaves, person, st.booleans()),
    st.builds(
        _end,
        some,
        person,
        st.builds(lambda time: lambda key: PutOff("cabin", key, within=time, why="a part"), within),
    ),
    st.builds(_end, some, person, st.just(lambda key: Settled("cabin", key))),
    st.builds(_asked, person, st.builds(Looked, st.just("cabin"), st.booleans())),
)
people_ask = st.one_of(
    st.builds(
        _asked,
        person,
        st.builds(
            Acknowledge,
            panel=st.sampled_from(["cabin", "creek-1", "cellar"]),
            act=act,
            within=within,
        ),
    ),
    st.builds(_took, some, st.sampled_from(["anna", "ben"]), st.sampled_from(Act)),
    st.builds(
        _asked,
        person,
        st.builds(GoAway, person, within=within, stand_in=st.one_of(st.just(""), person)),
    ),
    st.builds(_asked, person, st.builds(ComeBack, person)),
)
machines = st.one_of(
    st.builds(_slept, length),
    st.builds(_lost, which),
    st.builds(_found, st.booleans()),
    st.builds(_restart, length, st.booleans(), st.booleans()),
    st.builds(_sent, some, st.sampled_from(Outcome)),
    st.builds(_deaf, st.sampled_from(["anna.mail", "ben.mail", "ben.push"]), st.booleans()),
    st.builds(_news, st.sampled_from(WAYS_NEWS)),
    st.builds(_clock, st.booleans()),
)
happenings = st.one_of(contacts, contacts, people_ask, asides, panel_work, machines)


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


def live(plan_: Plan, history: list[Happens]) -> Unit:
    """Go through the history, and hold every promise all the way."""
    unit = Unit(plan_).begin()
    for each in history:
        each.do(unit)
        unit.watch()
        unit.check()
    unit.run(30)
    unit.watch()
    unit.check()
    again = decode(type(unit.state), encode(unit.state))
    assert again == unit.state
    before = unit.step(TimePassed())
    unit.state = again
    assert unit.step(TimePassed()) == before, "what was stored goes on in another way"
    assert unit.up >= 100 * SECOND or unit.boot != "boot-1"
    return unit


__all__ = ["Happens", "histories", "live", "plans"]
