"""A world in simulated time around the core: moves contacts, answers sends, jumps to each deadline."""

from dataclasses import dataclass, field, replace

from relayd.core.effects import Answer, Effect, Publish, Record, Tell, Withdraw
from relayd.core.events import (
    Acknowledge,
    Act,
    Command,
    Commanded,
    EdgeSeen,
    Event,
    LevelRead,
    Now,
    Outcome,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.machine import Outcome as MachineOutcome, step
from relayd.core.plan import (
    MINUTE,
    SECOND,
    CallList,
    Circuits,
    Follows,
    Input,
    Kind,
    Means,
    Panel,
    Person,
    Plan,
    Position,
    Reach,
    Step,
    Unpowered,
    seconds,
)
from relayd.core.state import Alarm, Notice, NoticeKind, State
from relayd.journal.codec import decode, encode

WALL = 1_800_000_000 * SECOND
LEVEL, CIRCUIT, PUMP = "cabin.high-level", "cabin.alarm-power", "cabin.pump-power"


def level_input(**changes: object) -> Input:
    """A normally open high-level contact that follows the level, its relay energised by the alarm."""
    base = Input(LEVEL, "cabin", Means.HIGH_LEVEL, Position.CLOSED, Unpowered.OPEN, Follows.LEVEL)
    return replace(base, **changes)  # type: ignore[arg-type]


def circuit_input(**changes: object) -> Input:
    """A relay held closed by the alarm circuit."""
    base = Input(
        CIRCUIT,
        "cabin",
        Means.ALARM_POWER,
        Position.OPEN,
        on_delay=60 * SECOND,
        off_delay=30 * SECOND,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def pump_input() -> Input:
    """A relay held closed by the pump's supply."""
    return Input(
        PUMP, "cabin", Means.PUMP_POWER, Position.OPEN, on_delay=60 * SECOND, off_delay=30 * SECOND
    )


def plan(*inputs: Input, **changes: object) -> Plan:
    """One cabin, Anna who is the owner and Ben who responds; invented, as everything here."""
    panel = Panel(
        "cabin",
        "Cabin tank",
        "behind the shed",
        Kind.EFFLUENT_DEMAND,
        "night",
        inputs or (level_input(), circuit_input()),
        circuits=Circuits.UNKNOWN,
        hoa=Reach.OUTSIDE,
    )
    people = {
        "anna": Person("anna", "Anna", ("anna.mail",), "555-0101"),
        "ben": Person(
            "ben", "Ben", ("ben.mail", "ben.push"), "555-0102", responds=True, qualified=True
        ),
    }
    steps = (Step(0, ("anna",)), Step(3 * MINUTE, ("anna",)), Step(8 * MINUTE, ("ben",)))
    base = Plan(
        unit="creek-1",
        unit_name="Creek",
        zone="UTC",
        offsets=(),
        call_list="night",
        panels={"cabin": replace(panel, **changes)},  # type: ignore[arg-type]
        people=people,
        call_lists={"night": CallList("night", steps)},
        channels={name: person.id for person in people.values() for name in person.channels},
        remote_commands=True,
    )
    return base


def two_ways(*inputs: Input) -> Plan:
    """Anna has a second way, so that the call list goes on at its own pace when one fails."""
    usual = plan(*inputs)
    anna = replace(usual.people["anna"], channels=("anna.mail", "anna.push"))
    channels = {**usual.channels, "anna.push": "anna"}
    return replace(usual, people={**usual.people, "anna": anna}, channels=channels)


def stored(state: State) -> State:
    """What of a state is still there after a crash: through the journal's own letters and back."""
    kept = replace(state, live={}, closed=(), turns={}, handed={}, rests={})
    return decode(State, encode(kept))


@dataclass
class World:
    """Runs a plan through events; every send is taken at once unless `deaf` names its channel."""

    plan: Plan
    state: State = field(default_factory=lambda: State("k3f9ab"))
    up: int = 100 * SECOND
    boot: str = "boot-1"
    trusted: bool = True
    wall_offset: int = WALL
    due: int | None = None
    deaf: set[str] = field(default_factory=set)
    effects: list[tuple[int, Effect]] = field(default_factory=list)
    made: dict[int, Notice] = field(default_factory=dict)
    """Every notice there ever was, as it last stood."""
    tokens: int = 0

    def now(self) -> Now:
        """The clocks as they stand."""
        return Now(self.boot, self.up, self.wall_offset + self.up, self.trusted)

    def step(self, event: Event) -> MachineOutcome:
        """What the core makes of `event` now."""
        return step(self.plan, self.state, event, self.now())

    def give(self, event: Event) -> list[Effect]:
        """Step once with `event`, then answer the sends that went out."""
        outcome = self.step(event)
        self.state, self.due = outcome.state, outcome.due
        self.made |= self.state.notices
        self.made |= {each.id: each for each in self.state.closed}
        assert self.due is None or self.due > self.up, (
            f"due {self.due} is not later than {self.up}: it would spin"
        )
        self.effects += [(self.up, each) for each in outcome.effects]
        for effect in outcome.effects:
            if isinstance(effect, Tell) and effect.channel not in self.deaf:
                self.give(Sent(effect.send, Outcome.TAKEN))
        return list(outcome.effects)

    def start(self, planned: bool = True, **levels: bool) -> "World":
        """Begin, and read every input: closed by keyword (`high_level=True`), else at rest."""
        self.give(Started(planned))
        panels = [each for panel in self.plan.panels.values() for each in panel.inputs]
        for each in (*self.plan.inputs, *panels):
            name = each.id.partition(".")[2].replace("-", "_")
            rest = each.in_alarm is Position.OPEN
            self.give(LevelRead(each.id, levels.get(name, rest), self.up))
        return self

    def restart(
        self,
        down: float = 5,
        boot: str | None = None,
        trusted: bool | None = None,
        plan: Plan | None = None,
        planned: bool = False,
        **levels: bool,
    ) -> "World":
        """End without a word, lie there for `down` seconds, and begin again with what was stored.

        Another `boot` begins its boot time anew; wall time goes on. `levels` as for `start`.
        """
        self.crash(down, boot, trusted, plan)
        return self.start(planned, **levels)

    def crash(self, down: float, boot: str | None, trusted: bool | None, plan: Plan | None) -> None:
        """The part of a restart that happens before relayd runs again."""
        self.up += seconds(down)
        if boot is not None and boot != self.boot:
            shift = self.up - 20 * SECOND
            self.wall_offset += shift
            self.boot, self.up = boot, self.up - shift
            # What happened before is kept in this boot's time.
            self.effects = [(at - shift, each) for at, each in self.effects]
        self.trusted = self.trusted if trusted is None else trusted
        self.plan = plan or self.plan
        self.state, self.due = stored(self.state), None

    def move(self, input_id: str, closed: bool) -> list[Effect]:
        """An edge, now."""
        return self.give(EdgeSeen(input_id, closed, self.up))

    def alarm(self, input_id: str, on: bool = True) -> list[Effect]:
        """Move a contact to its alarm side, or back."""
        spec = self.plan.input(input_id)
        assert spec is not None
        return self.move(input_id, on == (spec.in_alarm is Position.CLOSED))

    def run(self, length: float) -> "World":
        """Let `length` seconds pass, stopping at every deadline."""
        return self.run_to(self.up + seconds(length))

    def run_to(self, end: int) -> "World":
        """Let time pass until `end` (boot ns)."""
        while self.due is not None and self.due <= end:
            self.up = self.due
            self.give(TimePassed())
        self.up = end
        return self

    def ask(self, command: Command, by: str = "ben", way: str = "test") -> Answer:
        """Give a command and return its answer."""
        self.tokens += 1
        answers = [
            each
            for each in self.give(Commanded(f"t{self.tokens}", command, by, way))
            if isinstance(each, Answer)
        ]
        assert len(answers) == 1
        return answers[0]

    def ack(
        self, by: str, act: Act | None = None, until: int | None = None, within: int | None = None
    ) -> Answer:
        """Acknowledge whatever is open at the cabin."""
        return self.ask(Acknowledge(panel="cabin", act=act, until=until, within=within), by)

    def process(self, condition: str, subject: str = "panel:cabin") -> str:
        """The alarm's process state by name."""
        alarm = self.state.subjects[subject].alarms.get(condition)
        return alarm.process.value if alarm else "NORM"

    def open_alarm(self, condition: str = "high-level", subject: str = "panel:cabin") -> Alarm:
        """That alarm as it stands."""
        return self.state.subjects[subject].alarms[condition]

    @property
    def row(self) -> str:
        """The row of the belief table that holds."""
        return self.state.subjects["panel:cabin"].belief.row

    def told(self, since: int = 0) -> list[tuple[float, str, str]]:
        """(seconds since `since`, person, title) of every send handed out."""
        return [
            ((at - since) / SECOND, self.plan.channels[each.channel], each.title)
            for at, each in self.effects
            if isinstance(each, Tell) and at >= since
        ]

    def tells(self, since: int = 0) -> list[Tell]:
        """Every send handed out, in order."""
        return [each for at, each in self.effects if isinstance(each, Tell) and at >= since]

    def notices(self, kind: NoticeKind | None = None) -> list[Notice]:
        """Every notice there ever was, or those of one kind, in order."""
        return [
            self.made[each] for each in sorted(self.made) if kind in (None, self.made[each].kind)
        ]

    def records(self, kind: str) -> list[Record]:
        """All records of a kind."""
        return [each for _, each in self.effects if isinstance(each, Record) and each.kind == kind]


def high(plan_: Plan | None = None, deaf: frozenset[str] = frozenset()) -> World:
    """A world at the very moment at which high level is raised; `deaf` channels never answer."""
    world = World(plan_ or plan(), deaf=set(deaf)).start().run(10)
    world.alarm(LEVEL)
    return world.run(10.05)


__all__ = ["CIRCUIT", "LEVEL", "PUMP", "Publish", "Withdraw", "World", "plan"]
