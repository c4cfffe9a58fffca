"""A panel whose alarm circuit dies at second 0 and lives again at second 300, as relays really behave.

The water, the circuit, the relay and its contact are simulated here; relayd sees the contact and
(where it is wired) the sensing relay of the alarm circuit, and nothing else.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cache
from itertools import product

from relayd.core.effects import Record
from relayd.core.plan import (
    HOUR,
    SECOND,
    CallList,
    Follows,
    Plan,
    Position,
    Step,
    Unpowered,
    seconds,
)
from tests.core.world import CIRCUIT, LEVEL, World, circuit_input, level_input, plan

ZERO = 1000 * SECOND
BACK, BOOT, END = 300.0, 2.0, 480.0
"""The circuit is alive again at 300 s, the panel's relay tells the truth 2 s later, and 480 is the end."""
EDGES = [half / 2 for half in range(-20, 21)]
WINDOW = 5.0


class Cause(StrEnum):
    """Why the contact moves at the edge time."""

    RISES = "the water rises"
    FALLS = "the water, high for two minutes, falls"
    DROPS = "the relay drops with the circuit, the water low"
    LETS_GO = "the relay drops with the circuit, the water high for two minutes"
    SILENCED = "somebody presses Silence, the water high for two minutes"
    TAP = "only the sensing of the circuit dies; the water rises"


class Side(StrEnum):
    """Where the contact really stands without power."""

    ALARM = "alarm side"
    NORMAL = "normal side"
    HOLDS = "holds"


@dataclass(frozen=True)
class Wiring:
    """One combination of declared properties, and how the contact really behaves."""

    in_alarm: Position
    unpowered: Unpowered
    follows: Follows
    wired: bool
    really: Side

    @property
    def declared(self) -> str:
        """Where the plan says that the contact stands without power."""
        if self.unpowered in (Unpowered.HOLDS, Unpowered.UNKNOWN):
            return self.unpowered.value
        alike = self.unpowered.value == self.in_alarm.value
        return (Side.ALARM if alike else Side.NORMAL).value

    @property
    def follows_water(self) -> bool:
        """Whether the contact's going back proves something, its circuit being alive."""
        return self.follows in (Follows.LEVEL, Follows.LAMP)

    def __str__(self) -> str:
        circuit = "circuit wired" if self.wired else "circuit not wired"
        return (
            f"{self.in_alarm.value} in alarm, unpowered {self.unpowered.value},"
            f" follows {self.follows.value}, {circuit}, really {self.really.value}"
        )


@dataclass(frozen=True)
class Cut:
    """One story: a wiring, a cause, and when the contact moves (seconds from the loss)."""

    wiring: Wiring
    cause: Cause
    edge: float

    def __str__(self) -> str:
        return f"{self.wiring}; {self.cause.value} at {self.edge:+}"

    @property
    def high_first(self) -> bool:
        """Whether the water stood high, and an alarm with it, long before."""
        return self.cause in (Cause.FALLS, Cause.LETS_GO, Cause.SILENCED)

    def high(self, at: float) -> bool:
        """The truth about the water."""
        if self.cause in (Cause.RISES, Cause.TAP):
            return at >= self.edge
        if self.cause is Cause.FALLS:
            return at < self.edge
        return self.cause is not Cause.DROPS

    def dead(self, at: float) -> bool:
        """Whether the contact's relay is without power."""
        if self.wiring.really is Side.HOLDS or self.cause is Cause.TAP:
            return False
        begins = self.edge if self.cause in (Cause.DROPS, Cause.LETS_GO) else 0.0
        return begins <= at < BACK + BOOT

    def in_alarm(self, at: float) -> bool:
        """Where the contact stands, seen from the alarm."""
        if self.dead(at):
            return self.wiring.really is Side.ALARM
        if self.cause is Cause.SILENCED:
            # A horn that comes back with the power sounds again.
            resounds = self.wiring.really is not Side.HOLDS and at >= BACK + BOOT
            return at < self.edge or resounds
        if self.wiring.follows is Follows.LATCHED and self.cause is Cause.FALLS:
            # Latched until its power goes: nobody pressed Reset.
            return self.wiring.really is Side.HOLDS or at < BACK + BOOT
        return self.high(at)


@dataclass
class Story:
    """What relayd made of it: (seconds, row) of each raising and return."""

    raised: list[tuple[float, str]] = field(default_factory=list)
    returned: list[tuple[float, str]] = field(default_factory=list)
    circuit: list[float] = field(default_factory=list)
    """When the loss of the alarm circuit was raised."""
    rows: dict[float, str] = field(default_factory=dict)
    """Row of the belief at some moments."""

    def stands(self, at: float) -> bool:
        """Whether a high-level alarm stood at that moment."""
        raised = sum(each <= at for each, _ in self.raised)
        return raised > sum(each <= at for each, _ in self.returned)


def sides(unpowered: Unpowered, in_alarm: Position) -> list[Side]:
    """How a contact that is declared so may really behave."""
    if unpowered is Unpowered.UNKNOWN:
        return [Side.ALARM, Side.NORMAL]
    if unpowered is Unpowered.HOLDS:
        return [Side.HOLDS]
    return [Side.ALARM if unpowered.value == in_alarm.value else Side.NORMAL]


def wirings() -> Iterator[Wiring]:
    """Every combination; one that is declared unknown once for each way it may behave."""
    for in_alarm, unpowered, follows, wired in product(Position, Unpowered, Follows, (True, False)):
        for really in sides(unpowered, in_alarm):
            yield Wiring(in_alarm, unpowered, follows, wired, really)


def cuts(wiring: Wiring) -> Iterator[Cut]:
    """Every cause that is possible with this contact, at every edge time that is."""
    causes = {Cause.RISES, Cause.FALLS}
    if wiring.really is Side.ALARM:
        causes.add(Cause.DROPS)
    if wiring.really is Side.NORMAL:
        causes.add(Cause.LETS_GO)
    if wiring.follows in (Follows.HORN, Follows.UNKNOWN):
        causes.add(Cause.SILENCED)
    if wiring.wired:
        causes.add(Cause.TAP)
    for cause in [each for each in Cause if each in causes]:
        # A relay drops within the window of the loss that the sensor sees, or later.
        first = -WINDOW if cause in (Cause.DROPS, Cause.LETS_GO) else EDGES[0]
        yield from (Cut(wiring, cause, edge) for edge in EDGES if edge >= first)


def one_keeper(wiring: Wiring) -> Plan:
    """A plan with that contact, and one person who is told once."""
    level = level_input(
        in_alarm=wiring.in_alarm, unpowered=wiring.unpowered, follows=wiring.follows
    )
    inputs = (level, circuit_input()) if wiring.wired else (level,)
    calls = CallList("night", (Step(0, ("anna",)),), repeat=24 * HOUR, slow=24 * HOUR)
    return replace(plan(*inputs), call_lists={"night": calls})


Moves = tuple[tuple[float, str, bool], ...]
"""(second, input, whether to its alarm side), in order."""


@cache
def before(wiring: Wiring, high: bool) -> World:
    """The world half a minute before, the alarm raised where the water stands high; never moved on."""
    rest = wiring.in_alarm is Position.OPEN
    world = World(one_keeper(wiring), up=ZERO - 200 * SECOND)
    world.start(high_level=rest, alarm_power=True).run_to(ZERO - 120 * SECOND)
    if high:
        world.alarm(LEVEL)
    world.run_to(ZERO - 30 * SECOND)
    return world


def moves(cut: Cut) -> Moves:
    """All that relayd can see of a story."""
    seen: list[tuple[float, str, bool]] = []
    stood = cut.in_alarm(-30.0)
    for moment in sorted({cut.edge, 0.0, BACK, BACK + BOOT}):
        stands = cut.in_alarm(moment)
        contact = [(moment, LEVEL, stands)] if stands is not stood else []
        sensor = [(moment, CIRCUIT, moment == 0.0)] if moment in (0.0, BACK) else []
        # Which of two edges at one time comes first is chance: both orders are tried.
        turn = -1 if cut.edge % 2 >= 1 else 1
        seen += [*contact, *(sensor if cut.wiring.wired else [])][::turn]
        stood = stands
    return tuple(seen)


def told(cut: Cut) -> Story:
    """Play the story and note what relayd raised and let return."""
    # How the contact really behaves is in the moves, and nowhere else.
    return _played(replace(cut.wiring, really=Side.HOLDS), cut.high_first, moves(cut))


@cache
def _played(wiring: Wiring, high: bool, seen: Moves) -> Story:
    """Stories that look alike to relayd are played once; nobody changes what comes out."""
    known = before(wiring, high)
    world = replace(known, effects=list(known.effects), made=dict(known.made))
    story = Story()
    for moment, name, alarm in seen:
        _look_on(world, story, moment)
        world.alarm(name, alarm)
    _look_on(world, story, END)
    _read(story, world)
    return story


def _look_on(world: World, story: Story, until: float) -> None:
    for moment in (30.0, 120.0, END):
        if (world.up - ZERO) / SECOND < moment <= until:
            world.run_to(ZERO + seconds(moment))
            story.rows[moment] = world.row
    world.run_to(ZERO + seconds(until))


def _read(story: Story, world: World) -> None:
    for at, effect in world.effects:
        if not isinstance(effect, Record) or effect.kind not in ("raised", "returned"):
            continue
        second = (at - ZERO) / SECOND
        if effect.body["condition"] == "alarm-power":
            story.circuit += [second] if effect.kind == "raised" else []
        else:
            getattr(story, effect.kind).append((second, str(effect.body["row"])))
