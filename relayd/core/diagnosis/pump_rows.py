"""The rows of the pump table as data: what one pump's contacts say together, and in which words.

In: what is known of one pump, each fact yes, no or not known (None: also where it is not wired).
Out: signals for its three contradictions, the rows that explain a high level, sentences. Knows
nothing of inputs, time or people. What is not known concludes nothing.

'Called' is a contactor's auxiliary, 'current' a current switch: neither is moving water.
"""

from dataclasses import dataclass
from enum import StrEnum

from relayd.core.saying.language import ENGLISH, Speech
from relayd.core.state import Signal


class Switch(StrEnum):
    """Where the pump's Hand-Off-Auto switch stands, as far as it is known."""

    AUTO = "auto"
    HAND = "hand"
    OFF = "off"
    NOT_AUTO = "not in auto"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Reading:
    """What is known of one pump; None: not known, or not wired."""

    called: bool | None = None
    current: bool | None = None
    power: bool | None = None
    switch: Switch = Switch.NOT_KNOWN
    call_needs_power: bool = True
    """Whether a call without pump power is a contradiction: not where its controls are fed otherwise."""

    current_wired: bool = True

    @property
    def runs(self) -> bool | None:
        """Whether it takes current; where no current switch is wired, whether it is called."""
        return self.current if self.current_wired else self.called


_YES, _NO, _KEEP = Signal.PRESENT, Signal.ABSENT, Signal.KEEP

SAYS: dict[str, str] = {
    "R1": "the switch of {pump} is not in Auto",
    "R1-hand": "the switch of {pump} is in Hand",
    "R1-off": "the switch of {pump} is in Off",
    "R2": "{pump} has no power: that is why the level rises",
    "R3": "{pump} is called and takes no current: overload, thermal cut-out, capacitor or leads",
    "R4": "{pump} runs and the level does not fall: blocked, air-bound, a valve shut, the line"
    " broken or frozen, the pump worn, or the inflow too great",
    "R5": "{pump} has power, its switch is in Auto, and nothing calls it: pump float or control",
    "R5-idle": "{pump} is not seen to run though the water stands at the alarm float: its float or"
    " control, its power, or the pump itself",
    "R5-timed": "{pump} is not called: on a timed panel that is normal while its timer is not due",
    "R6": "{pump} did not come; another pump runs",
    "R7": "all pumps run: the inflow is more than they move, or they are weak",
    "R8": "the power came back a short while ago: a high level is expected while the pump catches up",
    "R9": "{pump} takes current and nothing calls it: its contactor is welded, or it runs in Hand",
    "R10": "{pump} runs at low level: it runs dry; stop float stuck, Hand, or a siphon",
    "R11": "the pump is locked out by its low cut-off; high level will follow",
    "R12": "{pump} has run for too long: stop float stuck up, water leaking in, pump worn, or check"
    " valve",
    "R13": "{pump} starts too often: check valve leaks back, float tether too short, a toilet that"
    " runs, or ground water",
    "R14": "{pump} has not started for too long: pump float stuck, or alarm float and pump both out"
    " of touch with the water",
    "R15": "{pump} is called or takes current though its power reads lost: a sensor is wrong",
    "R16": "the second pump had to help; the level is fine",
    "R17": "the same pump started five times running: alternation has stopped, or the other is out",
    "R18-overload": "the overload of {pump} has tripped: it stays out until somebody resets it",
    "R18-hot": "{pump} was too hot and stopped itself; it starts again by itself when it is cool",
    "R18-repeats": "{pump} was too hot three times within a day: it will burn out",
    "R18-wet": "{pump} is too hot and its seal leaks",
    "R18-seal": "the seal of {pump} leaks: it goes on working; plan the repair within weeks",
    "R18-fault": "the panel reports a fault of {pump}",
    "keeps": "the level came up to the alarm and fell again by itself, repeatedly: a pump that grows"
    " weak, or ground water coming in",
}
"""Row -> its sentence, without its full stop; {pump} is 'pump 2', or 'the pump' where there is one.

A note 'R4-2' is row R4 of pump 2, 'R4-0' that of one of several pumps that no contact tells apart.
"""


def split(note: str) -> tuple[str, int]:
    """A note's row (a key of `SAYS`) and its pump's number, 0 where it carries none."""
    head, _, tail = note.rpartition("-")
    return (head, int(tail)) if tail.isdigit() else (note, 0)


def said(note: str, say: Speech = ENGLISH) -> str:
    """The note as a sentence; '' where it is no row of this table."""
    row, pump = split(note)
    if row not in SAYS:
        return ""
    if pump:
        which = say("pump {pump}", pump=pump)
    else:
        which = say("the pump") if note == row else say("one of the pumps")
    words = say(SAYS[row], pump=which)
    return f"{words[:1].upper()}{words[1:]}."


def no_current(now: Reading) -> Signal:
    """R3: called, and no current, which lost pump power would explain."""
    if now.current or now.called is False:
        return _NO
    if now.called is None or now.current is None or now.power is False:
        return _KEEP
    return _YES


def uncalled(now: Reading, high: bool) -> Signal:
    """R9: current without call; during a high level, or on lost power, nothing is concluded of it."""
    in_hand = now.switch in (Switch.HAND, Switch.NOT_AUTO)
    if now.called or now.current is False or in_hand:
        return _NO
    if now.called is None or now.current is None or high or now.power is False:
        return _KEEP
    return _YES


def contradiction(now: Reading) -> Signal:
    """R15: current or call though its power reads lost."""
    if now.power:
        return _NO
    calls = now.called if now.call_needs_power else False
    if now.power is None:
        return _KEEP
    if now.current or calls:
        return _YES
    return _NO if now.current is False or calls is False else _KEEP


def notes(now: Reading, timed: bool, long: bool) -> tuple[str, ...]:
    """Rows R1 to R5 of one pump beside a high level; `long`: the level has not fallen for minutes."""
    rows = {
        _SWITCHED.get(now.switch, ""): True,
        "R2": now.power is False,
        "R3": no_current(now) is _YES,
        "R4": long and now.runs is True,
        "R5-timed" if timed else "R5": _waits(now),
        "R5-idle": not timed and _idle(now),
    }
    return tuple(row for row, true in rows.items() if row and true)


_SWITCHED = {Switch.HAND: "R1-hand", Switch.OFF: "R1-off", Switch.NOT_AUTO: "R1"}


def _waits(now: Reading) -> bool:
    """Power, Auto, and not called."""
    able = now.power is True and now.switch is Switch.AUTO
    return able and now.called is False and not now.current


def _idle(now: Reading) -> bool:
    """Known not to run, and no other row says why."""
    explained = now.switch in _SWITCHED or now.power is False or _waits(now)
    return now.runs is False and not now.called and not explained


ORDER = ("R1", "R2", "R3", "R4", "R5", "R6", "R7", "R8")
"""In which order the rows are said."""


def in_order(found: list[str]) -> tuple[str, ...]:
    """Notes in the order in which they must be said: by row, then by pump."""
    return tuple(sorted(found, key=lambda each: (ORDER.index(each.partition("-")[0]), each)))
