"""What one message about an alarm is made from, and what its advice is to know.

In: plan, subjects, an alarm, a reader. Out: values that the other texts read. Says nothing itself
and knows nothing of services.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from relayd.core import conditions as c
from relayd.core.diagnosis import pump_rows
from relayd.core.plan import Means, Panel
from relayd.core.saying import letter
from relayd.core.saying.hand import Matter
from relayd.core.saying.language import Speech
from relayd.core.saying.letter import Desk
from relayd.core.saying.sentences import name as named
from relayd.core.state import Alarm, HornStanding, NoticeKind, Subject

ACTIVE = ("UNACK", "ACKED")
ASKED = (NoticeKind.RAISED, NoticeKind.UPDATE)
_SHOWN_BY = {
    **dict.fromkeys(("R1", "R1-hand", "R1-off"), c.NOT_IN_AUTO),
    "R2": c.PUMP_POWER,
    "R3": c.NO_CURRENT,
    "R4": c.NOT_FALLING,
}
"""Rows of the pump table beside a high level -> what they show before its own delay is over."""
_RUN = frozenset({"R4", "R6", "R7"})
"""Rows that say themselves that a pump runs."""
CHATTERS = "U1"
"""The note of a high level whose very contact chatters: it proves no water."""


@dataclass(frozen=True, slots=True)
class Case:
    """One message about an alarm; `ref` is the occurrence's outside id."""

    desk: Desk
    alarm: Alarm
    kind: NoticeKind
    ref: str

    @property
    def say(self) -> Speech:
        """The reader's language."""
        return self.desk.say

    @property
    def name(self) -> str:
        """What people call the condition."""
        return named(self.alarm.condition, self.desk.panel, self.say)

    @property
    def asked(self) -> bool:
        """Whether the reader is asked to answer."""
        return self.kind in ASKED


def matter(case: Case, panel: Panel) -> Matter:
    """What the advice of this message is to know."""
    desk, alarm = case.desk, case.alarm
    unit = desk.subjects.get(letter.UNIT) or Subject(letter.UNIT)
    standing = {
        each.condition
        for each in (*desk.owner.alarms.values(), *unit.alarms.values())
        if each.process in ACTIVE
    }
    standing |= set(_shown_by(alarm))
    standing |= {each for each in desk.owner.loose if c.base_of(each) in c.CHARACTERS}
    horn = desk.owner.horn
    return Matter(
        panel,
        desk.reader,
        alarm.condition,
        CHATTERS if CHATTERS in alarm.notes else alarm.row,
        frozenset(standing),
        letter.from_now(desk, alarm),
        horn.standing is HornStanding.DISCONNECTED,
        horn.asked is not None,
        _runs(panel, desk.owner, alarm),
        case.say,
    )


def _shown_by(alarm: Alarm) -> Iterator[str]:
    """Conditions of pumps that the notes of an alarm show before their own delays are over."""
    for note in alarm.notes:
        row, pump = pump_rows.split(note)
        if row in _SHOWN_BY:
            yield f"{_SHOWN_BY[row]}-{pump}" if pump else _SHOWN_BY[row]


def _runs(panel: Panel, owner: Subject, alarm: Alarm) -> bool:
    """Whether a pump is known to run: by its run contact, or by a row that says so."""
    if any(pump_rows.split(each)[0] in _RUN for each in alarm.notes):
        return True
    running = (pump for pump, log in owner.pumps.items() if log.running is not None)
    return any(panel.input(Means.PUMP_RUNNING, pump) for pump in running)
