"""Which loose ends there are at a panel: what its contacts, alarms, marks and horn leave undone.

In: a subject with its live inputs. Out: by key, what stands now, and what has become a loose end.
Knows nothing of reminders or people's words.

A key names the thing that somebody must undo: 'in-off-2', 'panel-door', 'pump-breaker-1',
'alarm-breaker', 'silence-switch', 'horn-wire', 'paused:high-level', 'out-of-service'.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from relayd.core.conditions import (
    ALARM_LEFT_OFF,
    ALARM_POWER,
    CONTROL_POWER,
    IN_HAND,
    IN_OFF,
    NOT_IN_AUTO,
    PANEL_DOOR,
    PUMP_POWER,
    SITE_OUTAGE,
    TANK_LID,
    base_of,
    condition_of,
)
from relayd.core.diagnosis import facts, site
from relayd.core.diagnosis.belief import Seen
from relayd.core.draft import UNIT, Draft
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import MINUTE, Means, Panel
from relayd.core.state import Alarm, Fact, HornStanding, Live, Subject
from relayd.core.upkeep.horn_standing import HORN_WIRE

ALARM_BREAKER, CONTROL_BREAKER, PUMP_BREAKER = "alarm-breaker", "control-breaker", "pump-breaker"
SILENCE, OUT, PAUSED = "silence-switch", "out-of-service", "paused"
DOOR_OPEN = 15 * MINUTE
"""A door that is open for longer was left open."""

KEYS: dict[str, str] = {
    IN_HAND: IN_HAND,
    IN_OFF: IN_OFF,
    NOT_IN_AUTO: NOT_IN_AUTO,
    PANEL_DOOR: PANEL_DOOR,
    TANK_LID: TANK_LID,
    PUMP_POWER: PUMP_BREAKER,
    ALARM_POWER: ALARM_BREAKER,
    CONTROL_POWER: CONTROL_BREAKER,
}
"""Conditions whose contact shows something left undone -> the key of the loose end."""
SAYS: dict[str, str] = {
    IN_HAND: "the pump's switch is in Hand",
    IN_OFF: "the pump's switch is in Off",
    NOT_IN_AUTO: "the pump's switch is not in Auto",
    PANEL_DOOR: "the panel's door is open",
    TANK_LID: "the tank's lid is open",
    PUMP_BREAKER: "the pump has no power",
    ALARM_BREAKER: "the alarm circuit is off",
    CONTROL_BREAKER: "the control circuit is off",
    SILENCE: "the panel's switch was left in Silence",
    HORN_WIRE: "the horn's wire is off",
}
HOW: dict[str, str] = {
    IN_HAND: "set it back to Auto",
    IN_OFF: "set it back to Auto",
    NOT_IN_AUTO: "set it back to Auto",
    PANEL_DOOR: "close it",
    TANK_LID: "close and lock it",
    PUMP_BREAKER: "switch the pump's breaker on",
    ALARM_BREAKER: "switch the alarm circuit's breaker on and look that the lamp can be lit",
    CONTROL_BREAKER: "switch the control circuit's breaker on",
    SILENCE: "set the switch back and say that it is settled",
    HORN_WIRE: "put it back and say so with horn-wire back",
    "horn-unknown": "say it with horn-wire off or horn-wire back",
    "horn-unproved": "press Test at the panel, listen, and say that it is settled",
    PAUSED: "end it with unshelve",
    OUT: "return it with in-service",
}
"""What undoes it."""
_POWER = frozenset({PUMP_BREAKER, ALARM_BREAKER, CONTROL_BREAKER})


@dataclass(frozen=True, slots=True)
class Shown:
    """One thing that stands now: what it is, and who did it ('' where nobody said)."""

    why: str
    by: str = ""


def how(key: str) -> str:
    """What undoes it."""
    return HOW.get(key) or HOW.get(kind_of(key), "say that it is settled")


def kind_of(key: str) -> str:
    """The key without the pump's number, or the condition that a mark is on."""
    return base_of(key.partition(":")[0])


def by_itself(panel: Panel | None, key: str) -> bool:
    """Whether relayd sees by itself when this is done: by a contact, a mark, or the horn's standing."""
    kind = kind_of(key)
    if kind in (OUT, PAUSED, HORN_WIRE, SILENCE):
        return True
    return panel is not None and any(key == each for each in _wired(panel))


def standing(draft: Draft, subject: str, panel: Panel | None) -> Mapping[str, Shown]:
    """What is not as it should be now, whether or not it is a loose end yet."""
    owner = draft.subject(subject)
    shown = dict(_marks(owner))
    if panel is None:
        return shown
    shown |= dict(_contacts(draft, owner, panel))
    horn = owner.horn
    if horn.standing is HornStanding.DISCONNECTED:
        shown[HORN_WIRE] = Shown(horn.why or SAYS[HORN_WIRE], horn.by)
    if horn.silence_left:
        shown[SILENCE] = Shown(SAYS[SILENCE])
    return shown


def _contacts(draft: Draft, owner: Subject, panel: Panel) -> Iterator[tuple[str, Shown]]:
    """What the panel's contacts show: by their fact, or by the alarm that it raised."""
    wired = _wired(panel)
    if not wired:
        return
    where = site.seen(draft.plan, draft.live)
    known = facts.facts(panel, draft.live.get(owner.id, Live()).inputs, where)
    outage = _active(draft.subject(UNIT).alarms.get(SITE_OUTAGE))
    for key, condition in wired.items():
        spared = outage and kind_of(key) in _POWER
        stands = _active(owner.alarms.get(condition)) or _in_alarm(panel, condition, known)
        if stands and not spared:
            yield key, Shown(SAYS[kind_of(key)])


def ripe(
    draft: Draft, subject: str, panel: Panel | None, shown: Mapping[str, Shown]
) -> Mapping[str, Shown]:
    """What of it has become a loose end."""
    owner, now = draft.subject(subject), draft.now.up
    return {key: each for key, each in shown.items() if _is_ripe(owner, panel, key, now)}


def door_ripe(owner: Subject) -> int | None:
    """When an open door has been left open (boot ns)."""
    alarm = owner.alarms.get(PANEL_DOOR)
    return alarm.raised.up + DOOR_OPEN if alarm and alarm.raised and _active(alarm) else None


def _is_ripe(owner: Subject, panel: Panel | None, key: str, now: int) -> bool:
    kind = kind_of(key)
    if kind in (OUT, PAUSED, HORN_WIRE, SILENCE):
        return True
    if key == PANEL_DOOR:
        left = door_ripe(owner)
        return left is not None and left <= now
    if key == ALARM_BREAKER:
        return _active(owner.alarms.get(ALARM_LEFT_OFF))
    if kind == PUMP_BREAKER and owner.visit is None:
        # Only what was lost while somebody was at work there is a breaker that was opened.
        return False
    alarm = owner.alarms.get(_wired(panel)[key]) if panel else None
    return kind != CONTROL_BREAKER and _active(alarm)


def _marks(owner: Subject) -> Iterator[tuple[str, Shown]]:
    if owner.out is not None:
        yield OUT, Shown(owner.out.why or "out of service", owner.out.by)
    for name, alarm in owner.alarms.items():
        if alarm.out is not None:
            yield f"{OUT}:{name}", Shown(alarm.out.why or "out of service", alarm.out.by)
        if alarm.shelved is not None:
            yield f"{PAUSED}:{name}", Shown(alarm.shelved.why or "paused", alarm.shelved.by)


def _wired(panel: Panel) -> dict[str, str]:
    """Key -> condition of what this panel's contacts can show."""
    found = {}
    for spec in panel.inputs:
        condition = "" if spec.throw_of or spec.means is Means.OTHER else condition_of(panel, spec)
        base = base_of(condition)
        if base in KEYS:
            found[KEYS[base] + condition.removeprefix(base)] = condition
    return found


def _active(alarm: Alarm | None) -> bool:
    return alarm is not None and alarm.process in ACTIVE


def _in_alarm(panel: Panel, condition: str, known: Mapping[str, Seen]) -> bool:
    return any(
        condition_of(panel, spec) == condition and known[spec.id].fact is Fact.ALARM
        for spec in panel.inputs
        if not spec.throw_of
    )
