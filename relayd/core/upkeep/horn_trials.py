"""Where a horn stands in its alarm: trials, their end, and which combination is to be looked up.

In: the horn as remembered, its subject, its senses, time. Out: the horn with its trial begun or
ended; a key of the horn table. Knows nothing of standings or people.

The horn starts with the contact, not with the alarm, which comes an on-delay later: so a trial
begins at the contact's edge and is judged ten seconds after the alarm was raised. A contact that
was found in alarm at a start is no fresh alarm.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import ALARM_CONTACTS, MINUTE, SECOND, Means, Panel
from relayd.core.state import Alarm, Fact, Horn, InputState, Subject
from relayd.core.upkeep.horn_senses import (
    SLACK,
    Senses,
    found,
    is_driven,
    late_of,
    sense,
    was_driven,
    was_heard,
)
from relayd.core.upkeep.horn_table import Circuit, Moment, Sense

TRIAL = 10 * SECOND
"""A sound within that time of the alarm is the horn's."""
FARTHEST = 2 * MINUTE
"""An edge that lies farther back than that is not the begin of a fresh alarm."""
Key = tuple[Circuit, Moment, Sense, Sense, Sense]
_UNPOWERED = ("H8", "H24")


def alarms_of(owner: Subject) -> list[Alarm]:
    """The alarms about water that stand at this panel."""
    named = (owner.alarms.get(each.value) for each in ALARM_CONTACTS)
    return [each for each in named if each and each.process in ACTIVE]


def alarm_followed(
    horn: Horn,
    owner: Subject,
    panel: Panel,
    inputs: Mapping[str, InputState],
    senses: Senses,
) -> Horn:
    """Begin the watch at a fresh alarm, end it with the last one."""
    alarms = alarms_of(owner)
    if not alarms:
        return replace(horn, watch=None) if horn.watch is not None else horn
    first = alarms[0]
    spec = panel.input(Means(first.condition))
    as_found = spec is None or found(inputs.get(spec.id, InputState()))
    if horn.watch is not None:
        # After a restart nobody knows what was heard meanwhile: the trial is over.
        lost = as_found and horn.trial is not None and horn.is_fresh
        return replace(horn, trial=None, judge=None) if lost else horn
    raised = first.raised.up if first.raised else 0
    edge = _edge(owner, first.condition)
    if edge is None or edge < raised - FARTHEST:
        edge = raised - (spec.on_delay if spec else 0)
    horn = replace(horn, watch=edge)
    if as_found:
        return replace(horn, trial=None, judge=None)
    return replace(horn, trial=edge, is_fresh=True, judge=raised + TRIAL + senses.late)


def _edge(owner: Subject, condition: str) -> int | None:
    if condition == Means.HIGH_LEVEL.value:
        return owner.belief.alarm_edge
    held = owner.beliefs.get(condition)
    return held.alarm_edge if held else None


def tried(horn: Horn, before: Horn, senses: Senses, at: int) -> Horn:
    """A press of Test, or an output that is driven anew, begins a trial; a dead circuit ends it."""
    if senses.alarm_circuit is Circuit.LOST:
        if horn.row in _UNPOWERED:
            return horn
        watch = None if horn.watch is None else at
        return replace(horn, trial=None, judge=None, watch=watch)
    pressed = senses.pressed
    if pressed is not None and pressed.fact is Fact.ALARM and pressed.began != horn.pressed:
        horn = replace(horn, pressed=pressed.began)
        if horn.watch is None:
            end = pressed.changed + TRIAL + senses.late
            return replace(horn, trial=pressed.began, is_fresh=True, judge=end)
    anew = is_driven(horn) and horn.driven != before.driven
    if anew and horn.trial is None:
        end = at + TRIAL + senses.late
        return replace(horn, trial=horn.driven, is_fresh=False, judge=end)
    return horn


def key_of(horn: Horn, owner: Subject, panel: Panel, senses: Senses, at: int) -> Key | None:
    """Which combination is to be looked up now; None: what was said stands, or it is too early."""
    circuit, parked = senses.alarm_circuit, senses.is_parked
    moment = _moment(horn, panel, at)
    now = (sense(senses.driven), sense(senses.heard))
    if circuit is Circuit.LOST or (horn.trial is None and parked is Sense.YES):
        return circuit, moment, *now, parked
    if horn.trial is not None:
        return _outcome(horn, owner, senses, moment, at)
    if moment is Moment.NONE:
        return None if is_driven(horn) else (circuit, moment, *now, parked)
    stopped = _stopped(horn, senses)
    if stopped is None:
        return _nothing(horn, senses)
    early = at < stopped + TRIAL + senses.late
    return None if early or not in_alarm(owner) else (circuit, moment, *now, parked)


def stops(horn: Horn, panel: Panel) -> tuple[int, ...]:
    """When it is decided why the horn stopped: by then a level that fell has shown itself."""
    if horn.watch is None:
        return ()
    ends = [each for each in (horn.undriven, horn.hushed) if each is not None]
    return tuple(each + TRIAL + late_of(panel) for each in ends)


def in_alarm(owner: Subject) -> bool:
    """Whether a level contact is in alarm, not only the alarm that it raised."""
    return any(each.contact is Fact.ALARM for each in (owner.belief, *owner.beliefs.values()))


def _stopped(horn: Horn, senses: Senses) -> int | None:
    """When the horn fell silent in this alarm, as far as its best input tells; None: it did not."""
    if horn.watch is None:
        return None
    if senses.driven is not None:
        return horn.undriven if was_driven(horn, horn.watch) else None
    if senses.heard is None or horn.sound is None or horn.sound < horn.watch - SLACK:
        return None
    return horn.hushed


def _nothing(horn: Horn, senses: Senses) -> Key | None:
    """The circuit is back, or the wire no longer parked, and nothing has been seen of the horn."""
    if horn.row not in (*_UNPOWERED, "H2", "H9", "H17", ""):
        return None
    return senses.alarm_circuit, Moment.NONE, Sense.NOT_WIRED, Sense.NOT_WIRED, Sense.NO


def _outcome(horn: Horn, owner: Subject, senses: Senses, moment: Moment, at: int) -> Key | None:
    """The trial's combination; None while it goes on."""
    since, end = horn.trial or 0, horn.judge or 0
    driven, heard = sense(senses.driven), sense(senses.heard)
    if driven is not Sense.NOT_WIRED:
        driven = Sense.YES if was_driven(horn, since) else Sense.NO
    if heard is not Sense.NOT_WIRED:
        heard = Sense.YES if was_heard(horn, since, end - senses.late) else Sense.NO
    sure = heard is Sense.YES and driven is not Sense.NO
    if not horn.is_fresh and moment is Moment.NONE and owner.belief.contact is Fact.ALARM:
        # The contact is ahead of its alarm: it will be a fresh one.
        return None
    if at < end and not sure:
        return None
    if horn.is_fresh:
        moment = Moment.FRESH
    return senses.alarm_circuit, moment, driven, heard, senses.is_parked


def _moment(horn: Horn, panel: Panel, at: int) -> Moment:
    if horn.watch is None:
        return Moment.NONE
    over = silence_over(horn, panel)
    return Moment.SILENCE_OVER if over is not None and at >= over else Moment.GOING_ON


def silence_over(horn: Horn, panel: Panel) -> int | None:
    """When a panel that was silenced would have driven its horn again, with a quarter to spare."""
    if panel.silence_time is None or horn.watch is None or horn.undriven is None:
        return None
    if horn.undriven < horn.watch:
        return None
    return horn.undriven + panel.silence_time * 5 // 4
