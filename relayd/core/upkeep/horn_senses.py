"""What a panel's horn inputs tell now, and what of it is remembered from trial to trial.

In: the panel's facts. Out: the senses as they are, and the horn with the begins and ends of what
was driven and heard. Knows nothing of alarms, people or standings.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from relayd.core.diagnosis.belief import Seen
from relayd.core.plan import SECOND, Input, Means, Panel
from relayd.core.state import Fact, Horn, InputState
from relayd.core.upkeep.horn_table import Circuit, Sense

QUIET = 10 * SECOND
"""A sound counts only where it was quiet for that long before."""
LONG_ENOUGH = 2 * SECOND
"""An output that was driven for less was not driven."""
SLACK = SECOND
"""The horn's relay may be ahead of the contact by that much."""


@dataclass(frozen=True, slots=True)
class Senses:
    """The inputs about one horn. None: not wired, or it tells nothing now."""

    circuit: Seen | None
    driven: Seen | None
    heard: Seen | None
    parked: Seen | None
    pressed: Seen | None
    late: int
    """How much later than the sound itself these inputs tell of it (ns)."""
    noisy: bool
    """What is heard was there when relayd began: nobody knows since when."""

    @property
    def alarm_circuit(self) -> Circuit:
        """The alarm circuit as the table has it."""
        if self.circuit is None:
            return Circuit.NOT_WIRED
        return Circuit.LOST if self.circuit.fact is Fact.ALARM else Circuit.ON

    @property
    def is_parked(self) -> Sense:
        """The parked wire's contact as the table has it."""
        return sense(self.parked)


def sense(seen: Seen | None) -> Sense:
    """An input's fact as the table has it."""
    if seen is None:
        return Sense.NOT_WIRED
    return Sense.YES if seen.fact is Fact.ALARM else Sense.NO


def sensed(panel: Panel, facts: Mapping[str, Seen], inputs: Mapping[str, InputState]) -> Senses:
    """What the inputs of this panel's horn tell; one that is lost or settling counts as not wired."""
    told = {means: _told(panel.input(means), facts) for means in _ABOUT}
    heard = panel.input(Means.HORN_HEARD)
    return Senses(
        told[Means.ALARM_POWER],
        told[Means.HORN_DRIVEN],
        told[Means.HORN_HEARD],
        told[Means.HORN_WIRE_PARKED],
        told[Means.TEST_PRESSED],
        late_of(panel),
        heard is not None and found(inputs.get(heard.id, InputState())),
    )


def late_of(panel: Panel) -> int:
    """How much later than the horn itself its inputs tell of it (ns)."""
    inputs = (panel.input(Means.HORN_HEARD), panel.input(Means.HORN_DRIVEN))
    return max((max(each.close_time, each.open_time) for each in inputs if each), default=0)


def found(state: InputState) -> bool:
    """Whether the contact still stands as it was found at the start: nobody saw it move."""
    return state.filter is None or state.filter.began <= state.filter.settles


def followed(horn: Horn, senses: Senses) -> Horn:
    """The horn with what began and ended since it was last looked at."""
    if senses.driven is not None:
        horn = _drive(horn, senses.driven)
    if senses.heard is not None:
        horn = _sound(horn, senses.heard, senses.noisy)
    return horn


def is_driven(horn: Horn) -> bool:
    """Whether the output is driven now, as far as was seen."""
    return horn.driven is not None and horn.undriven is None


def was_driven(horn: Horn, since: int) -> bool:
    """Whether the output was driven, for long enough, in what began at `since`."""
    if horn.driven is None or horn.driven < since - SLACK:
        return False
    return horn.undriven is None or horn.undriven - horn.driven >= LONG_ENOUGH


def was_heard(horn: Horn, since: int, until: int) -> bool:
    """Whether a sound began in that time, after quiet before it."""
    if horn.sound is None or not since - SLACK <= horn.sound <= until:
        return False
    return horn.noise is None or horn.noise <= since - QUIET


_ABOUT = (
    Means.ALARM_POWER,
    Means.HORN_DRIVEN,
    Means.HORN_HEARD,
    Means.HORN_WIRE_PARKED,
    Means.TEST_PRESSED,
)


def _told(spec: Input | None, facts: Mapping[str, Seen]) -> Seen | None:
    seen = facts.get(spec.id) if spec else None
    return None if seen is None or seen.fact is Fact.UNKNOWN else seen


def _drive(horn: Horn, seen: Seen) -> Horn:
    if seen.fact is Fact.ALARM and not is_driven(horn):
        return replace(horn, driven=seen.began, undriven=None)
    if seen.fact is Fact.NORMAL and is_driven(horn):
        return replace(horn, undriven=seen.began)
    return horn


def _sound(horn: Horn, seen: Seen, noisy: bool) -> Horn:
    sounds = horn.sound is not None and horn.hushed is None
    if seen.fact is Fact.ALARM and not sounds:
        noise = seen.began if noisy else horn.hushed
        return replace(horn, sound=seen.began, hushed=None, noise=noise)
    if seen.fact is Fact.NORMAL and sounds:
        return replace(horn, hushed=seen.began)
    return horn
