"""A plan and a script of happenings, run in simulated time: out comes a chronicle, line by line.

In: a plan, what happens when, the instant at which it begins. Out: `Line`s, the same ones byte for
byte for the same script. Uses the core alone: no file, no clock, no thread. Sends are answered at
once unless the script says that their channel is down.
"""

import string
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from relayd.core.calling import hours
from relayd.core.effects import Answer, Effect, Record, Tell
from relayd.core.events import (
    Command,
    Commanded,
    EdgeSeen,
    Event,
    InputFound,
    InputLost,
    LevelRead,
    Now,
    Outcome,
    Sent,
    Started,
    TimePassed,
)
from relayd.core.machine import step
from relayd.core.plan import DAY, SECOND, Input, Plan, Position
from relayd.core.saying import when
from relayd.core.state import State

BOOTED = 100 * SECOND
"""Boot time at which a simulated unit begins to watch."""


@dataclass(frozen=True, slots=True)
class Moves:
    """A contact moves to its alarm side, or back; `aside` says it in the reader's words ('-': nothing)."""

    input: str
    alarm: bool
    aside: str = ""


@dataclass(frozen=True, slots=True)
class Flutters:
    """A contact moves to its alarm side and back again and again: `times`, each way for so long (ns)."""

    input: str
    times: int
    there: int
    away: int


@dataclass(frozen=True, slots=True)
class GoesDeaf:
    """An input can no longer be read (or can be again, where `why` is empty)."""

    input: str
    why: str = "the chip is gone"


@dataclass(frozen=True, slots=True)
class Says:
    """A person asks the unit for something."""

    person: str
    command: Command
    aside: str = ""


@dataclass(frozen=True, slots=True)
class ChannelFails:
    """A message service takes nothing any more (or takes again)."""

    channel: str
    fails: bool = True


@dataclass(frozen=True, slots=True)
class PowerCut:
    """The unit is without power for so long (ns), and begins again in a boot of its own."""

    lasts: int


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """What somebody does that no contact and no word tells the unit: for the reader alone."""

    text: str


Happening = Moves | Flutters | GoesDeaf | Says | ChannelFails | PowerCut | Meanwhile
Script = Iterable[tuple[int, Happening]]
"""Each happening with its time from the beginning, in nanoseconds."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a chronicle: UTC (ns since 1970), who or what it is about, and what happened."""

    wall: int
    about: str
    text: str


class Simulation:
    """A unit of that plan in simulated time."""

    def __init__(self, plan: Plan, begin: int, trusted: bool = True) -> None:
        self.plan = plan
        self.state = State("simulated")
        self.lines: list[Line] = []
        self._up, self._boots = BOOTED, 1
        self._offset = begin - BOOTED
        self._trusted = trusted
        self._due: int | None = None
        self._tokens = 0
        self._down: set[str] = set()
        self._stands = {each.id: each.in_alarm is Position.OPEN for each in _inputs(plan)}
        self._deaf: dict[str, str] = {}
        self._begin(True)

    @property
    def wall(self) -> int:
        """UTC in nanoseconds since 1970."""
        return self._offset + self._up

    def run_to(self, wall: int) -> None:
        """Let time pass until then, stopping at every deadline."""
        end = wall - self._offset
        while self._due is not None and self._due <= end:
            self._up = max(self._up, self._due)
            self._give(TimePassed())
        self._up = max(self._up, end)

    def happen(self, happening: Happening) -> None:
        """Let that happen now."""
        if isinstance(happening, Moves):
            self._move(happening.input, happening.alarm, happening.aside)
        elif isinstance(happening, Flutters):
            self._flutter(happening)
        elif isinstance(happening, GoesDeaf):
            self._deafen(happening)
        elif isinstance(happening, Says):
            self._ask(happening)
        elif isinstance(happening, ChannelFails):
            self._channel(happening)
        elif isinstance(happening, PowerCut):
            self._cut(happening.lasts)
        else:
            self._say("meanwhile", happening.text)

    def _begin(self, planned: bool) -> None:
        self._give(Started(planned))
        for each, closed in self._stands.items():
            if each in self._deaf:
                self._give(InputLost(each, self._deaf[each]))
            else:
                self._give(LevelRead(each, closed, self._up))

    def _move(self, name: str, alarm: bool, aside: str = "") -> None:
        spec = self.plan.input(name)
        if spec is None:
            raise ValueError(f"the plan has no input '{name}'")
        closed = alarm == (spec.in_alarm is Position.CLOSED)
        if aside != "-":
            self._say(name, aside or f"the contact {'closes' if closed else 'opens'}")
        self._stands[name] = closed
        if name not in self._deaf:
            self._give(EdgeSeen(name, closed, self._up))

    def _flutter(self, flutter: Flutters) -> None:
        lasts = flutter.times * (flutter.there + flutter.away)
        self._say(
            flutter.input, f"the contact flutters {flutter.times} times in {when.lasted(lasts)}"
        )
        for _ in range(flutter.times):
            for alarm, length in ((True, flutter.there), (False, flutter.away)):
                self._move(flutter.input, alarm, "-")
                self.run_to(self.wall + length)

    def _deafen(self, deaf: GoesDeaf) -> None:
        if deaf.why:
            self._deaf[deaf.input] = deaf.why
            self._say(deaf.input, f"cannot be read: {deaf.why}")
            self._give(InputLost(deaf.input, deaf.why))
        elif self._deaf.pop(deaf.input, ""):
            self._say(deaf.input, "can be read again")
            self._give(InputFound(deaf.input, self._stands[deaf.input], self._up))

    def _ask(self, says: Says) -> None:
        self._tokens += 1
        name = self._name(says.person)
        said = says.aside or f"asks: {type(says.command).__name__}"
        self._say(name, said)
        self._give(Commanded(f"t{self._tokens}", says.command, says.person, "chronicle"))

    def _channel(self, fails: ChannelFails) -> None:
        (self._down.add if fails.fails else self._down.discard)(fails.channel)
        self._say(fails.channel, "takes no messages" if fails.fails else "takes messages again")

    def _cut(self, lasts: int) -> None:
        self._say("unit", f"the unit is without power for {when.lasted(lasts)}")
        wall = self.wall + lasts
        self.state = replace(self.state, live={}, closed=())
        self._boots += 1
        self._up, self._offset = BOOTED, wall - BOOTED
        self._begin(False)

    @property
    def now(self) -> Now:
        """The simulated clocks."""
        return Now(f"boot-{self._boots}", self._up, self.wall, self._trusted)

    def _give(self, event: Event) -> None:
        outcome = step(self.plan, self.state, event, self.now)
        self.state, self._due = outcome.state, outcome.due
        for effect in outcome.effects:
            self._tell_of(effect)
        for effect in outcome.effects:
            if isinstance(effect, Tell):
                self._send(effect)

    def _send(self, tell: Tell) -> None:
        down = tell.channel in self._down
        outcome = Outcome.FAILED if down else Outcome.TAKEN
        self._give(Sent(tell.send, outcome, "the service does not answer" if down else ""))

    def _tell_of(self, effect: Effect) -> None:
        if isinstance(effect, Tell) and effect.channel not in self._down:
            person = self._name(self.plan.channels.get(effect.channel, ""))
            self._say(f"-> {person}", f"{effect.title}\n{effect.body}")
        elif isinstance(effect, Record) and (text := told(effect)):
            self._say(effect.subject.removeprefix("panel:"), text)
        elif isinstance(effect, Answer):
            self._say("relayd", effect.say)

    def _name(self, person: str) -> str:
        known = self.plan.people.get(person)
        return known.name if known else person

    def _say(self, about: str, text: str) -> None:
        self.lines.append(Line(self.wall, about, text))


def chronicle(plan: Plan, script: Script, begin: int, length: int) -> list[Line]:
    """What comes of that script in `length` ns from `begin` (UTC ns) on.

    Raises ValueError where the script names an input that the plan lacks.
    """
    simulation = Simulation(plan, begin)
    for after, happening in sorted(script, key=lambda each: each[0]):
        simulation.run_to(begin + after)
        simulation.happen(happening)
    simulation.run_to(begin + length)
    return simulation.lines


def printed(plan: Plan, lines: Iterable[Line], bodies: bool = False) -> Iterator[str]:
    """The chronicle in the site's local time, a day's name before each day; bodies where asked for."""
    today = -1
    for line in lines:
        local = line.wall + when.offset_at(plan, line.wall).seconds * SECOND
        if local // DAY != today:
            today = local // DAY
            year, month, date = when.civil(today)
            yield f"-- {_WEEKDAYS[hours.weekday(today)]} {year}-{month:02d}-{date:02d}"
        title, _, rest = line.text.partition("\n")
        yield f"{_time(local)}  {line.about}: {title}"
        if bodies and rest:
            yield from (f"            | {each}" for each in rest.splitlines())


def told(record: Record) -> str:
    """What a record is in a chronicle; '' where it is no news to a reader."""
    pattern = RECORDS.get(record.kind, "")
    if not pattern:
        return ""
    names = {key: _word(value) for key, value in record.body.items()}
    return string.Template(pattern).safe_substitute(names)


def _word(value: object) -> str:
    if isinstance(value, (list, tuple)):
        return ", ".join(str(each) for each in value) or "nothing"
    return str(value)


def _time(local: int) -> str:
    seconds = local // SECOND % 86_400
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def _inputs(plan: Plan) -> Iterator[Input]:
    yield from plan.inputs
    for panel in plan.panels.values():
        yield from panel.inputs


_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
RECORDS: Mapping[str, str] = {
    "raised": "raised: $condition ($row)",
    "returned": "returned to normal: $condition",
    "row changed": "$condition: what is known of it is now $row (was $before)",
    "priority changed": "$condition: priority is now $priority",
    "re-alarmed": "$condition is still there: it calls again",
    "call list stopped": "$condition: the call list stops, $why",
    "held": "$condition: kept for $person $until ($why)",
    "not told": "$condition: nobody is told, $why",
    "nobody answered": "$condition: nobody answered, $why",
    "chattering": "$condition came $raisings times within a minute: it is said once",
    "fleeting": "$condition was fleeting",
    "stale": "$condition has stood for $hours h",
    "alarm burst began": "an alarm burst: $raisings alarms within ten minutes",
    "alarm burst ended": "the alarm burst is over",
    "horn wire": "the horn's wire: $wire",
    "asked": "asked of $persons: $what",
    "not answered": "nobody answered the question about $what",
    "loose end": "left undone: $key",
    "loose end done": "done: $key",
    "visit ended": "the visit is over; left: $left",
    "started": "begins to watch; it was down $down",
}
"""Kinds of records that a chronicle shows, each with its words; names are keys of the record."""
