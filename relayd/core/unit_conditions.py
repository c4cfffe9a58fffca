"""The conditions of the unit itself and of its peers; conditions.py has the whole catalogue.

Knows nothing of how they are sensed. Defaults are common practice, no source.
"""

from dataclasses import dataclass

from relayd.core.plan import DAY, HOUR, MINUTE, SECOND, Priority

UNIT_SILENT = "unit-silent"
DEAD_MAN = "dead-man-url"
COPIED = "copied-card"
UNIT_BATTERY = "unit-battery"
UNDER_VOLTAGE = "under-voltage"
UNIT_HOT = "unit-hot"
UNIT_DISK = "unit-disk"
MEMORY_LOW = "memory-low"
CLOCK_UNSET = "clock-unset"
LOOP_SLOW = "loop-slow"
SENSE_LOST = "sense-lost"
JOURNAL_DAMAGED = "journal-damaged"


@dataclass(frozen=True, slots=True)
class Character:
    """How urgent a condition is, how long it must last, and when it calls again, in nanoseconds.

    `rises` gives later priorities by the time for which it has stood. `able` is the priority where
    another pump of the panel can do the work. `night` is the priority outside waking hours.
    """

    priority: Priority
    on_delay: int = 0
    off_delay: int = 0
    realarm: int = 4 * HOUR
    rises: tuple[tuple[int, Priority], ...] = ()
    able: Priority | None = None
    night: Priority | None = None


HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW

OF_UNIT: dict[str, Character] = {
    UNIT_SILENT: Character(MEDIUM, 0, 0, 12 * HOUR, rises=((45 * MINUTE, HIGH),)),
    DEAD_MAN: Character(MEDIUM, 0, 0, 24 * HOUR),
    COPIED: Character(HIGH, 0, 0, 12 * HOUR),
    UNIT_BATTERY: Character(MEDIUM, 60 * SECOND, 60 * SECOND, 12 * HOUR),
    UNDER_VOLTAGE: Character(MEDIUM, 60 * SECOND, HOUR, 24 * HOUR),
    UNIT_HOT: Character(MEDIUM, 60 * SECOND, 10 * MINUTE, 24 * HOUR),
    UNIT_DISK: Character(MEDIUM, 60 * SECOND, 60 * SECOND, 24 * HOUR),
    MEMORY_LOW: Character(MEDIUM, 5 * MINUTE, 5 * MINUTE, 24 * HOUR),
    CLOCK_UNSET: Character(LOW, HOUR, 60 * SECOND, 24 * HOUR),
    LOOP_SLOW: Character(LOW, 60 * SECOND, 10 * MINUTE, 24 * HOUR),
    SENSE_LOST: Character(LOW, 5 * MINUTE, 5 * MINUTE, 7 * DAY),
    JOURNAL_DAMAGED: Character(MEDIUM, 0, 0, 24 * HOUR),
}

SENSED = (
    *(UNIT_BATTERY, UNDER_VOLTAGE, UNIT_HOT, UNIT_DISK, MEMORY_LOW, CLOCK_UNSET),
    *(LOOP_SLOW, SENSE_LOST),
)
"""What the unit senses of its own board and program."""
LASTING = frozenset({UNIT_SILENT, DEAD_MAN, COPIED, JOURNAL_DAMAGED, *SENSED})
"""What is not over merely because relayd began anew: it stands until it has been judged again."""
