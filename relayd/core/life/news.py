"""Whether a changed text is news to those who were told of an alarm.

In: an alarm as it was told, its new row and notes. Out: yes or no. Rows are those of the tables of
power (P), of the level (L) and of the pump (R). Knows nothing of people or time.
"""

from collections.abc import Iterable

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
WORTH_NOTING = frozenset({"R1", "R1-hand", "R1-off"})
"""Rows whose coming among the notes is news: the switch is not in Auto, be it which pump's it may."""


def is_news(alarm: Alarm, row: str, notes: Iterable[str]) -> bool:
    """Whether those who were told of this alarm must hear of the new row and notes."""
    if row in GOOD:
        return False
    if STORIES.get(row, "") != STORIES.get(alarm.told_row, ""):
        return True
    now = {each for each in notes if split(each)[0] in WORTH_NOTING}
    return bool(now.difference(alarm.told_notes))
