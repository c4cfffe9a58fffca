"""Whether a changed text is news to those who were told of an alarm.

In: an alarm as it was told, its new row and notes. Out: yes or no. Rows are those of the tables of
power (P), of the level (L) and of the pump (R). Knows nothing of people or time.
"""

from collections.abc import Iterable
from dataclasses import replace

from relayd.core.diagnosis.pump_rows import split
from relayd.core.state import Alarm

STORIES = {
    "L3": "it went back without proof",
    "L15": "it went back, or its circuit died",
    "L5": "held: the contact is deaf",
    "P4": "alarm circuit",
    "P6": "alarm circuit",
    "P5": "panel's feed",
    "P21": "panel's feed",
    "P12": "one leg",
    "P14": "one leg",
    "P11": "outage",
    "P15": "outage",
    "P17": "outage",
    "P18": "generator",
}
"""Row -> what it tells; rows that are not here tell the usual, and rows of one story no news."""
GOOD = frozenset({"P1", "P7", "P9"})
"""Rows of supplies that are on again: the alarm's end tells it, once that has held."""
WORTH_NOTING = frozenset({"R1", "R1-hand", "R1-off", "R3", "R4", "U1", "P25"})
"""Rows whose coming among the notes is news: what is an alarm of its own where no other tells it."""
DIFFER = "differ"
"""The row that was told where those who were told know different things: whatever comes is news."""


def is_news(alarm: Alarm, row: str, notes: Iterable[str]) -> bool:
    """Whether those who were told of this alarm must hear of the new row and notes."""
    if row in GOOD:
        return False
    if alarm.told_row == DIFFER or STORIES.get(row, "") != STORIES.get(alarm.told_row, ""):
        return True
    now = {each for each in notes if split(each)[0] in WORTH_NOTING}
    return bool(now.difference(alarm.told_notes))


def as_told(alarm: Alarm) -> Alarm:
    """The alarm with its row and notes as what people know of it, one more having been told now.

    While an update is owed the others know less: it stays owed until they have heard it.
    """
    owed = alarm.update is not None and bool(alarm.told)
    notes = tuple(each for each in alarm.notes if each in alarm.told_notes or not owed)
    differ = alarm.told_row == DIFFER or is_news(replace(alarm, notes=()), alarm.row, ())
    row = DIFFER if owed and differ else alarm.row
    return replace(alarm, told_row=row, told_notes=notes)
