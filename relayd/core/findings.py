"""What a diagnosis says of one condition, and of a subject as a whole: values only.

In: made by the diagnosis (panel.py, pump.py, site.py). Out: read by the life cycle, which runs
the delays and raises. Knows nothing of delays, alarms or people.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from relayd.core.plan import Offset, Priority
from relayd.core.state import Belief, PumpLog, Signal, Stamp

TOLD_WITH_LEVEL = "it is told with the high level"
TOLD_WITH_SITE = "it is told with the site's supply"
FOLDED = frozenset({TOLD_WITH_LEVEL, TOLD_WITH_SITE})
"""Why an alarm is suppressed by design that another one tells."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One condition as the facts now have it.

    `row` and `notes` name rows of the tables (their words are in sentences.py), `detail` is text
    with names and counts, `priority` None means the condition's own, `suppressed` says why it is
    suppressed by design ('' where it is not).
    """

    signal: Signal
    row: str = ""
    detail: str = ""
    notes: tuple[str, ...] = ()
    priority: Priority | None = None
    suppressed: str = ""


@dataclass(frozen=True, slots=True)
class Site:
    """What holds for every panel of the site. None: not wired, bad or settling."""

    unit_power: bool | None = None
    on_generator: bool | None = None
    blind: bool = False
    """The wetting supply is lost: no input of the unit tells anything."""
    power_seen: bool = False
    """Some panel shows power while the unit's own supply is lost."""
    seen_since: int | None = None
    """Since when the wetting supply is believed (boot ns); None where there is none, or it is lost."""
    empty: bool = False
    """Nobody lives there."""
    offsets: tuple[Offset, ...] = ()
    """The site's local time."""
    power_back: int | None = None
    """When the unit's own supply was last seen to return (boot ns); None: never, or it is lost."""
    unstable: tuple[str, ...] | None = None
    """Who was told that the unit's supply comes and goes; None: nobody is told of it."""
    flapping: tuple[str, ...] = ()
    """Supplies of panels that come and go while the unit's does, by full input id."""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the facts of one subject say together, and what is remembered for the next time."""

    findings: Mapping[str, Finding]
    belief: Belief = field(default_factory=Belief)
    beliefs: Mapping[str, Belief] = field(default_factory=dict)
    pumps: Mapping[int, PumpLog] = field(default_factory=dict)
    highs: tuple[Stamp, ...] = ()
    hot: Mapping[int, tuple[Stamp, ...]] = field(default_factory=dict)
    due: int | None = None
    """When it changes by time alone (boot ns)."""
