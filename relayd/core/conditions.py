"""The conditions: what can be wrong, how urgent it is, how long it must last, when it calls again.

Knows nothing of how a condition is found. A pump's condition carries its number where a panel has
more than one pump ('overload-2'); a condition of the site's own is 'other-<name of the input>',
that of a broker beside the first is 'mqtt-down-<name of the broker>', and that of a peer is
'unit-silent-<its id>'.
Delays that hang on an input's own settings are read from the plan; the others are here. Defaults
are common practice, no source; a plan changes them.
"""

from collections.abc import Iterator
from functools import lru_cache

from relayd.core.once import once
from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Input,
    Kind,
    Means,
    Panel,
    Plan,
    Priority,
)
from relayd.core.unit_conditions import (
    CLOCK_UNSET as CLOCK_UNSET,
    COPIED as COPIED,
    DEAD_MAN as DEAD_MAN,
    JOURNAL_DAMAGED as JOURNAL_DAMAGED,
    LASTING as LASTING,
    LOOP_SLOW as LOOP_SLOW,
    MEMORY_LOW as MEMORY_LOW,
    OF_UNIT,
    SENSE_LOST as SENSE_LOST,
    SENSED as SENSED,
    UNDER_VOLTAGE as UNDER_VOLTAGE,
    UNIT_BATTERY as UNIT_BATTERY,
    UNIT_DISK as UNIT_DISK,
    UNIT_HOT as UNIT_HOT,
    UNIT_SILENT as UNIT_SILENT,
    Character as Character,
)

HIGH_LEVEL = "high-level"
HIGH_HIGH_LEVEL = "high-high-level"
COMMON_ALARM = "common-alarm"
LOW_LEVEL = "low-level"
REDUNDANT_OFF = "redundant-off"
ALARM_POWER = "alarm-power"
CONTROL_POWER = "control-power"
PUMP_POWER = "pump-power"
UNSTABLE_SUPPLY = "unstable-supply"
ALARM_LEFT_OFF = "alarm-left-off"
NO_CURRENT = "pump-no-current"
NOT_FALLING = "level-not-falling"
KEEPS_REACHING = "level-keeps-reaching"
PUMP_NOT_SEEN = "pump-not-seen"
UNCALLED = "pump-uncalled"
RUN_LONG = "run-too-long"
STARTS = "starts-per-hour"
NO_CYCLE = "no-pump-cycle"
CONTRADICTION = "pump-contradiction"
LAG_CALLED = "lag-called"
ALTERNATION = "alternation-stopped"
OVERLOAD = "overload"
OVER_TEMPERATURE = "over-temperature"
SEAL_LEAK = "seal-leak"
PHASE_FAULT = "phase-fault"
PUMP_FAULT = "pump-fault"
IN_HAND = "in-hand"
IN_OFF = "in-off"
NOT_IN_AUTO = "not-in-auto"
PANEL_DOOR = "panel-door"
TANK_LID = "tank-lid"
AIR_SUPPLY = "air-supply"
HORN_SILENT = "horn-silent"
SILENCE_LEFT_ON = "silence-left-on"
OTHER = "other"
BLIND = "blind"
UNSETTLED = "unsettled"
WIRING_FAULT = "wiring-fault"
INPUT_LOST = "input-lost"
SITE_OUTAGE = "site-outage"
UNIT_POWER = "unit-power"
JOURNAL_LATE = "journal-late"
SENDER_DOWN = "sender-down"
MQTT_DOWN = "mqtt-down"
MAILBOX_DOWN = "mailbox-down"
ANSWERS_LOCKED = "answers-locked"
PLAN_REFUSED = "plan-refused"
FAULT = "fault-in-relayd"
UNWATCHED = "unwatched"
CHANNEL_FAILING = "channel-failing"

ALARM_POWER_DURING_ALARM = 15 * SECOND
"""On-delay of the alarm circuit's loss while high level stands: somebody may be in the panel."""
EMPTY_SITE_OUTAGE = 2 * MINUTE
"""On-delay of a site outage where nobody lives who would notice."""
UNSTABLE_SITE = 2 * SECOND
"""On-delay of the site's own supply that comes and goes: it is told before any panel's."""
REALARM = HOUR
"""An alarm about water that nobody has taken, or that was only seen: the reserve is not known."""


QUIET_AGAIN = 10 * MINUTE
"""A contact that chattered is believed back after so long without a break (common practice, no source)."""


HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW

CHARACTERS: dict[str, Character] = {
    HIGH_LEVEL: Character(HIGH, 10 * SECOND, 60 * SECOND, HOUR),
    HIGH_HIGH_LEVEL: Character(HIGH, 2 * SECOND, 60 * SECOND, 15 * MINUTE),
    COMMON_ALARM: Character(HIGH, 10 * SECOND, 60 * SECOND, HOUR),
    LOW_LEVEL: Character(MEDIUM, 30 * SECOND, 60 * SECOND, 12 * HOUR),
    REDUNDANT_OFF: Character(MEDIUM, 30 * SECOND, 60 * SECOND, 12 * HOUR),
    ALARM_POWER: Character(HIGH, 60 * SECOND, 30 * SECOND, 4 * HOUR),
    CONTROL_POWER: Character(HIGH, 60 * SECOND, 30 * SECOND, 4 * HOUR),
    PUMP_POWER: Character(HIGH, 60 * SECOND, 30 * SECOND, 4 * HOUR, able=MEDIUM),
    UNSTABLE_SUPPLY: Character(MEDIUM, 10 * SECOND, 10 * MINUTE, 12 * HOUR),
    ALARM_LEFT_OFF: Character(HIGH, 0, 30 * SECOND, 4 * HOUR),
    NO_CURRENT: Character(HIGH, 10 * SECOND, 10 * SECOND, 4 * HOUR, able=MEDIUM),
    NOT_FALLING: Character(HIGH, 10 * MINUTE, 60 * SECOND, 4 * HOUR),
    KEEPS_REACHING: Character(MEDIUM, 0, 0, 24 * HOUR),
    PUMP_NOT_SEEN: Character(MEDIUM, 0, 0, 24 * HOUR, able=LOW),
    UNCALLED: Character(MEDIUM, 60 * SECOND, 10 * SECOND, 12 * HOUR),
    RUN_LONG: Character(MEDIUM, 0, 10 * SECOND, 24 * HOUR),
    STARTS: Character(LOW, 0, HOUR, 24 * HOUR),
    NO_CYCLE: Character(LOW, 0, 0, 24 * HOUR),
    CONTRADICTION: Character(LOW, 60 * SECOND, 60 * SECOND, 24 * HOUR),
    LAG_CALLED: Character(LOW, 10 * SECOND, 10 * MINUTE, 24 * HOUR),
    ALTERNATION: Character(LOW, 0, 0, 24 * HOUR),
    OVERLOAD: Character(HIGH, 5 * SECOND, 5 * SECOND, 24 * HOUR, able=MEDIUM),
    OVER_TEMPERATURE: Character(MEDIUM, 5 * SECOND, 5 * MINUTE, 24 * HOUR),
    SEAL_LEAK: Character(LOW, 60 * SECOND, 10 * MINUTE, 7 * DAY),
    PHASE_FAULT: Character(HIGH, 30 * SECOND, 30 * SECOND, 4 * HOUR),
    PUMP_FAULT: Character(HIGH, 5 * SECOND, 5 * SECOND, 24 * HOUR, able=MEDIUM),
    IN_HAND: Character(MEDIUM, 15 * MINUTE, 10 * SECOND, 30 * MINUTE),
    IN_OFF: Character(MEDIUM, 30 * MINUTE, 10 * SECOND, 12 * HOUR, able=LOW),
    NOT_IN_AUTO: Character(MEDIUM, 15 * MINUTE, 10 * SECOND, 30 * MINUTE),
    PANEL_DOOR: Character(Priority.RECORD_ONLY, 10 * SECOND, 10 * SECOND, 24 * HOUR),
    TANK_LID: Character(MEDIUM, 10 * SECOND, 10 * SECOND, 30 * MINUTE),
    AIR_SUPPLY: Character(LOW, 5 * MINUTE, 5 * MINUTE, 24 * HOUR, rises=((12 * HOUR, MEDIUM),)),
    HORN_SILENT: Character(MEDIUM, 0, 0, 24 * HOUR),
    SILENCE_LEFT_ON: Character(LOW, 0, 0, 24 * HOUR),
    OTHER: Character(MEDIUM, 10 * SECOND, 60 * SECOND, 12 * HOUR),
    BLIND: Character(HIGH, 30 * SECOND, 30 * SECOND, 12 * HOUR, night=MEDIUM),
    UNSETTLED: Character(MEDIUM, 0, QUIET_AGAIN, 12 * HOUR),
    WIRING_FAULT: Character(HIGH, 30 * SECOND, 30 * SECOND, 12 * HOUR, night=MEDIUM),
    INPUT_LOST: Character(HIGH, 30 * SECOND, 30 * SECOND, 12 * HOUR, night=MEDIUM),
    SITE_OUTAGE: Character(MEDIUM, 5 * MINUTE, 2 * MINUTE, 12 * HOUR),
    UNIT_POWER: Character(LOW, 5 * MINUTE, 60 * SECOND, 24 * HOUR),
    JOURNAL_LATE: Character(MEDIUM, 0, 60 * SECOND, 24 * HOUR),
    SENDER_DOWN: Character(HIGH, 20 * SECOND, 5 * SECOND, HOUR),
    MQTT_DOWN: Character(MEDIUM, 5 * MINUTE, 5 * SECOND, 24 * HOUR),
    MAILBOX_DOWN: Character(MEDIUM, 5 * MINUTE, 5 * SECOND, 24 * HOUR),
    ANSWERS_LOCKED: Character(MEDIUM, 0, 5 * SECOND, 24 * HOUR),
    PLAN_REFUSED: Character(MEDIUM, realarm=24 * HOUR),
    FAULT: Character(HIGH, 0, 60 * MINUTE, HOUR),
    UNWATCHED: Character(LOW, 0, HOUR, DAY),
    CHANNEL_FAILING: Character(MEDIUM, 60 * SECOND, 0, 24 * HOUR),
    **OF_UNIT,
}

UNIT_CONDITIONS = (
    *(JOURNAL_LATE, JOURNAL_DAMAGED, SENDER_DOWN, MQTT_DOWN, PLAN_REFUSED, FAULT, UNWATCHED),
    *(COPIED, *SENSED),
)
"""What the unit knows of itself, whatever the plan says."""
SITE_CONDITIONS = (SITE_OUTAGE, UNIT_POWER, UNSTABLE_SUPPLY, BLIND, UNSETTLED, INPUT_LOST)
"""What the unit's own inputs can tell."""
LEVEL_ALARMS = frozenset({HIGH_LEVEL, HIGH_HIGH_LEVEL, COMMON_ALARM})
"""Alarms that stand for water: never suppressed while they stand, never put aside unseen."""
BY_MEANS = {
    Means.HIGH_LEVEL: HIGH_LEVEL,
    Means.HIGH_HIGH_LEVEL: HIGH_HIGH_LEVEL,
    Means.COMMON_ALARM: COMMON_ALARM,
    Means.LOW_LEVEL: LOW_LEVEL,
    Means.REDUNDANT_OFF: REDUNDANT_OFF,
    Means.ALARM_POWER: ALARM_POWER,
    Means.CONTROL_POWER: CONTROL_POWER,
    Means.PUMP_POWER: PUMP_POWER,
    Means.OVERLOAD: OVERLOAD,
    Means.OVER_TEMPERATURE: OVER_TEMPERATURE,
    Means.SEAL_LEAK: SEAL_LEAK,
    Means.PHASE_FAULT: PHASE_FAULT,
    Means.PUMP_FAULT: PUMP_FAULT,
    Means.LAG_CALLED: LAG_CALLED,
    Means.IN_HAND: IN_HAND,
    Means.IN_OFF: IN_OFF,
    Means.NOT_IN_AUTO: NOT_IN_AUTO,
    Means.PANEL_DOOR: PANEL_DOOR,
    Means.TANK_LID: TANK_LID,
    Means.AIR_SUPPLY: AIR_SUPPLY,
    Means.UNIT_POWER: UNIT_POWER,
    Means.OTHER: OTHER,
}
"""Inputs whose alarm is a condition by itself; its delays and priority are that input's."""
_BY_BASE = {base: means for means, base in BY_MEANS.items()}
PUMPED = frozenset(
    {PUMP_POWER, NO_CURRENT, UNCALLED, RUN_LONG, STARTS, NO_CYCLE, CONTRADICTION, OVERLOAD}
    | {OVER_TEMPERATURE, SEAL_LEAK, PUMP_FAULT, IN_HAND, IN_OFF, NOT_IN_AUTO}
)
"""Conditions of one pump."""


def of_pump(condition: str, panel: Panel, pump: int) -> str:
    """The condition's name for that pump: with its number where the panel has more than one."""
    return f"{condition}-{pump}" if panel.pumps > 1 and pump else condition


@lru_cache(1024)
def base_of(condition: str) -> str:
    """The condition without its pump's number, its input's or its broker's name."""
    for named in _NAMED:
        if condition.startswith(f"{named}-"):
            return named
    head, _, tail = condition.rpartition("-")
    return head if tail.isdigit() else condition


@lru_cache(1024)
def pump_of(condition: str) -> int:
    """The pump that it is about; 0 where it carries no number."""
    tail = condition.rpartition("-")[2]
    return int(tail) if tail.isdigit() and base_of(condition) not in _NAMED else 0


_NAMED = (OTHER, MQTT_DOWN, UNIT_SILENT)
"""Conditions that carry a name: an input's, a broker's, a peer's."""


_WAYS = {"sender": SENDER_DOWN, "mailbox": MAILBOX_DOWN, "answers": ANSWERS_LOCKED}


def of_way(channel: str) -> str:
    """The condition that this way is down: `sender`, `mailbox`, `answers`, `mqtt`, `mqtt:<name>` (another)."""
    if channel in _WAYS:
        return _WAYS[channel]
    broker = channel.partition(":")[2]
    return f"{MQTT_DOWN}-{broker}" if broker else MQTT_DOWN


def broker_of(condition: str) -> str:
    """The name of the broker that it is about; '' where it is the first one, or about none."""
    return condition.removeprefix(MQTT_DOWN)[1:] if base_of(condition) == MQTT_DOWN else ""


def of_peer(peer: str) -> str:
    """The condition that this peer is silent."""
    return f"{UNIT_SILENT}-{peer}"


def peer_of(condition: str) -> str:
    """The id of the peer that it is about; '' where it is about none."""
    return condition.removeprefix(f"{UNIT_SILENT}-") if base_of(condition) == UNIT_SILENT else ""


def character(condition: str) -> Character:
    """What is usual for that condition."""
    return CHARACTERS[base_of(condition)]


@once
def input_of(panel: Panel, condition: str) -> Input | None:
    """The input whose alarm that condition is, or None where it is concluded from several."""
    if base_of(condition) == OTHER:
        wanted = f"{panel.id}.{condition.removeprefix(f'{OTHER}-')}"
        return next((each for each in panel.inputs if each.id == wanted), None)
    means = _BY_BASE.get(base_of(condition))
    return panel.input(means, pump_of(condition)) if means else None


def condition_of(panel: Panel, spec: Input) -> str:
    """The condition that this input's alarm is; '' where it is no condition by itself."""
    if spec.means is Means.OTHER:
        return f"{OTHER}-{spec.id.partition('.')[2]}"
    base = BY_MEANS.get(spec.means, "")
    return of_pump(base, panel, spec.pump) if base in PUMPED else base


@once
def of_panel(panel: Panel) -> tuple[str, ...]:
    """Every condition that this panel's inputs can tell, in the order of the catalogue."""
    return tuple(dict.fromkeys(_of_panel(panel)))


def _of_panel(panel: Panel) -> Iterator[str]:
    wired = {each.means for each in panel.inputs}
    for spec in panel.inputs:
        if not spec.throw_of and (name := condition_of(panel, spec)):
            yield name
    for needed, names in _CONCLUDED:
        if all(wired & each for each in needed):
            yield from names
    for pump in range(1, panel.pumps + 1):
        yield from (of_pump(each, panel, pump) for each in _of_one_pump(panel, pump))
    if panel.pumps > 1:
        yield from _of_one_pump(panel, 0)
    if panel.alternates and panel.pumps > 1:
        yield ALTERNATION
    if any(each.throw_of for each in panel.inputs):
        yield WIRING_FAULT
    yield from (UNSETTLED, INPUT_LOST)


def _of_one_pump(panel: Panel, pump: int) -> Iterator[str]:
    # One contact for call or current of several pumps tells of no single one: it is pump 0.
    number = pump if panel.pumps > 1 else 0
    called = _is_wired(panel, Means.PUMP_CALLED, number)
    running = _is_wired(panel, Means.PUMP_RUNNING, number)
    if called or running:
        power = panel.input(Means.PUMP_POWER, number)
        yield from (RUN_LONG, STARTS, NO_CYCLE)
        if power and (pump or not power.pump):
            yield CONTRADICTION
    if called and running:
        yield from (NO_CURRENT, UNCALLED)


def _is_wired(panel: Panel, means: Means, pump: int) -> bool:
    spec = panel.input(means, pump)
    return spec is not None and (panel.pumps == 1 or spec.pump == pump)


_LEVEL, _PUMP = {Means.HIGH_LEVEL}, {Means.PUMP_RUNNING, Means.PUMP_CALLED}
_CONCLUDED: tuple[tuple[tuple[set[Means], ...], tuple[str, ...]], ...] = (
    ((_LEVEL,), (KEEPS_REACHING,)),
    (({Means.ALARM_POWER, Means.CONTROL_POWER, Means.PUMP_POWER},), (UNSTABLE_SUPPLY,)),
    (({Means.ALARM_POWER},), (ALARM_LEFT_OFF,)),
    ((_LEVEL, _PUMP), (NOT_FALLING, PUMP_NOT_SEEN)),
    (({Means.HORN_DRIVEN, Means.HORN_HEARD},), (HORN_SILENT,)),
    (({Means.HORN_DRIVEN},), (SILENCE_LEFT_ON,)),
    (({Means.CABLE_LOOP},), (BLIND,)),
)
"""Conditions that are concluded: one of each set of inputs must be wired."""


def of_itself(plan: Plan) -> tuple[str, ...]:
    """Every condition that the unit knows of itself."""
    return (
        *UNIT_CONDITIONS,
        *(f"{MQTT_DOWN}-{each}" for each in plan.brokers),
        *((MAILBOX_DOWN,) if plan.mailbox else ()),
        *((ANSWERS_LOCKED,) if plan.codes else ()),
        *((DEAD_MAN,) if plan.dead_man else ()),
        *(of_peer(each) for each in plan.peers),
    )


def of_unit(plan: Plan) -> tuple[str, ...]:
    """Every condition of the unit and its site."""
    return (*of_itself(plan), *(SITE_CONDITIONS if plan.inputs else ()))


def delays(
    panel: Panel | None, condition: str, high_level: bool, empty: bool = False
) -> tuple[int, int]:
    """On- and off-delay of a condition of this panel (None: of the unit or a channel), in nanoseconds."""
    usual = character(condition)
    spec = input_of(panel, condition) if panel else None
    on, off = (spec.on_delay, spec.off_delay) if spec else (usual.on_delay, usual.off_delay)
    if condition == ALARM_POWER and high_level:
        on = min(on, ALARM_POWER_DURING_ALARM)
    if condition == SITE_OUTAGE and empty:
        on = min(on, EMPTY_SITE_OUTAGE)
    if condition == UNSTABLE_SUPPLY and panel is None:
        on = UNSTABLE_SITE
    return on, off


def usual_delays(means: Means, kind: Kind) -> tuple[int, int]:
    """The delays of an input that says none, by what it tells and what the panel pumps (ns)."""
    if means is Means.HIGH_LEVEL and kind in (Kind.SUMP, Kind.GRINDER):
        return 6 * SECOND, 60 * SECOND
    usual = CHARACTERS[BY_MEANS[means]] if means in BY_MEANS else Character(LOW)
    return usual.on_delay, usual.off_delay


def release_hold(panel: Panel | None, condition: str) -> int:
    """How long a gap of this condition may be without starting its on-delay anew, in nanoseconds.

    An alarm circuit that does not live long enough for its level contact to be believed again is
    as good as lost: else a circuit that flickers would keep both conditions quiet for ever.
    """
    if panel is None:
        return 0
    if condition == ALARM_POWER and any(
        panel.input(each) for each in (Means.HIGH_LEVEL, Means.COMMON_ALARM)
    ):
        return panel.settle_alarm + panel.window + SECOND
    spec = input_of(panel, condition)
    return spec.release_hold if spec and spec.means in LEVELS else 0


LEVELS = frozenset({Means.HIGH_LEVEL, Means.HIGH_HIGH_LEVEL, Means.COMMON_ALARM})
"""Contacts that are believed back only after their release hold."""
