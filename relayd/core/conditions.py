"""The conditions: what can be wrong, how urgent it is, and how long it must last.

Knows nothing of how a condition is found. Delays that hang on an input's own settings are read
from the plan; the others are here. Defaults are common practice, no source; a plan changes them.
"""

from dataclasses import dataclass

from relayd.core.plan import MINUTE, SECOND, Means, Panel, Priority

HIGH_LEVEL = "high-level"
ALARM_POWER = "alarm-power"
PUMP_POWER = "pump-power"
INPUT_LOST = "input-lost"
JOURNAL_LATE = "journal-late"
SENDER_DOWN = "sender-down"
MQTT_DOWN = "mqtt-down"
PLAN_REFUSED = "plan-refused"
FAULT = "fault-in-relayd"
CHANNEL_FAILING = "channel-failing"

ALARM_POWER_DURING_ALARM = 15 * SECOND
"""On-delay of the alarm circuit's loss while high level stands: somebody may be in the panel."""


@dataclass(frozen=True, slots=True)
class Character:
    """How urgent a condition is and how long it must last, in nanoseconds."""

    priority: Priority
    on_delay: int = 0
    off_delay: int = 0


CHARACTERS: dict[str, Character] = {
    HIGH_LEVEL: Character(Priority.HIGH, 10 * SECOND, 60 * SECOND),
    ALARM_POWER: Character(Priority.HIGH, 60 * SECOND, 30 * SECOND),
    PUMP_POWER: Character(Priority.HIGH, 60 * SECOND, 30 * SECOND),
    INPUT_LOST: Character(Priority.HIGH, 30 * SECOND, 30 * SECOND),
    JOURNAL_LATE: Character(Priority.MEDIUM, 0, 60 * SECOND),
    SENDER_DOWN: Character(Priority.HIGH, 20 * SECOND, 5 * SECOND),
    MQTT_DOWN: Character(Priority.MEDIUM, 5 * MINUTE, 5 * SECOND),
    PLAN_REFUSED: Character(Priority.MEDIUM),
    FAULT: Character(Priority.HIGH, 0, 60 * MINUTE),
    CHANNEL_FAILING: Character(Priority.MEDIUM, 60 * SECOND, 0),
}

PANEL_CONDITIONS = (HIGH_LEVEL, ALARM_POWER, PUMP_POWER, INPUT_LOST)
_BY_MEANS = {
    HIGH_LEVEL: Means.HIGH_LEVEL,
    ALARM_POWER: Means.ALARM_POWER,
    PUMP_POWER: Means.PUMP_POWER,
}


def delays(panel: Panel | None, condition: str, high_level: bool) -> tuple[int, int]:
    """On- and off-delay of a condition of this panel (None: of the unit or a channel), in nanoseconds."""
    character = CHARACTERS[condition]
    spec = panel.input(_BY_MEANS[condition]) if panel and condition in _BY_MEANS else None
    on, off = (spec.on_delay, spec.off_delay) if spec else (character.on_delay, character.off_delay)
    if condition == ALARM_POWER and high_level:
        on = min(on, ALARM_POWER_DURING_ALARM)
    return on, off


def release_hold(panel: Panel | None, condition: str) -> int:
    """How long a gap of this condition may be without starting its on-delay anew, in nanoseconds.

    An alarm circuit that does not live long enough for its level contact to be believed again is
    as good as lost: else a circuit that flickers would keep both conditions quiet for ever.
    """
    contact = panel.input(Means.HIGH_LEVEL) if panel else None
    if panel is None or contact is None:
        return 0
    holds = {
        HIGH_LEVEL: contact.release_hold,
        ALARM_POWER: panel.settle_alarm + panel.window + SECOND,
    }
    return holds.get(condition, 0)
