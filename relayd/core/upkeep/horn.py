"""The horn watch: what is known of a panel's horn, and how it came to be known.

In: a panel's facts, its alarms, time, what people declare. Out: the horn's standing with its
verdict, a question to people, the conditions that come of it. Knows nothing of services.

What is declared off stays off until a person, a contact or a sound says otherwise; what was
silent at an alarm stays so until it is proved, declared, or taken back.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.calling import callout, lists
from relayd.core.conditions import ALARM_LEFT_OFF, HORN_SILENT, SILENCE_LEFT_ON, of_panel
from relayd.core.diagnosis.belief import Seen
from relayd.core.draft import Draft
from relayd.core.events import Wire
from relayd.core.findings import Finding
from relayd.core.plan import MINUTE, SECOND, Means, Panel, Priority
from relayd.core.refusal import Refused
from relayd.core.saying import texts
from relayd.core.state import Horn, HornStanding, Live, NoticeKind, Signal
from relayd.core.upkeep import horn_circuit as circuits, loose
from relayd.core.upkeep.horn_senses import Senses, followed, is_driven, sensed
from relayd.core.upkeep.horn_standing import HORN_UNKNOWN, HORN_UNPROVED, HORN_WIRE, stands, unsure
from relayd.core.upkeep.horn_table import HELD, SAYS, TABLE, Moment, Row, Sense
from relayd.core.upkeep.horn_trials import alarm_followed, key_of, silence_over, stops, tried

ASK_BREAKER = 10 * MINUTE
"""After a wire was taken off, whoever did it is asked whether the alarm circuit is on again."""


def findings(
    draft: Draft, subject: str, panel: Panel, facts: Mapping[str, Seen]
) -> Mapping[str, Finding]:
    """Run the horn watch on to now; the conditions that come of it (horn-silent, silence-left-on)."""
    inputs = draft.live.get(subject, Live()).inputs
    senses = sensed(panel, facts, inputs)
    owner = draft.subject(subject)
    before = owner.horn
    horn = followed(before, senses)
    horn = alarm_followed(horn, owner, panel, inputs, senses)
    horn = tried(horn, before, senses, draft.now.up)
    if horn is not before:
        _keep(draft, subject, horn)
    _judge(draft, subject, panel, senses)
    circuits.watch(draft, subject, panel, senses)
    _ask_breaker(draft, subject)
    return _found(draft.subject(subject).horn, panel, draft.now.up)


def due(draft: Draft, subject: str, panel: Panel) -> int | None:
    """When the horn watch changes by time alone (boot ns)."""
    horn, now = draft.subject(subject).horn, draft.now.up
    times = [horn.judge, horn.breaker_due, silence_over(horn, panel)]
    times += [*stops(horn, panel), *circuits.dues(horn, panel)]
    times += [now + SECOND] if circuits.newly_told(draft.subject(subject)) else []
    return min((each for each in times if each is not None and each > now), default=None)


def declare(draft: Draft, subject: str, person: str, wire: Wire, why: str) -> Refused | None:
    """A person disconnected the horn's wire, or says that it is back (or was never off)."""
    horn = draft.subject(subject).horn
    if wire is Wire.BACK and horn.parked:
        return Refused(
            "still-parked",
            "the contact of the parked wire says that it is still parked: put it back on the horn",
        )
    draft.record("horn wire", subject, wire=wire.value, person=person, why=why)
    _spread(draft, subject, horn, person, wire)
    answered = replace(horn, asked=None, asked_due=None, asking={}, told=(), breaker_due=None)
    loose.done(draft, subject, HORN_UNKNOWN, person, f"horn wire {wire.value}")
    if wire is Wire.OFF:
        _taken_off(draft, subject, answered, person, why)
    else:
        _keep(draft, subject, answered)
        _back(draft, subject, person)
    return None


def _spread(draft: Draft, subject: str, horn: Horn, person: str, wire: Wire) -> None:
    """The others who were asked hear the answer, so that nobody goes on looking for it."""
    others = [each for each in horn.told if each not in (person, *horn.asking)]
    if horn.asked is None or not others:
        return
    draft.record("answer told", subject, what=HORN_WIRE, by=person, persons=others)
    for each in others:
        text = texts.answered(draft.plan, draft.subjects, subject, (person, wire), each, draft.now)
        callout.owe(draft, subject, each, NoticeKind.QUESTION, Priority.LOW, text)


def _keep(draft: Draft, subject: str, horn: Horn) -> None:
    draft.put(replace(draft.subject(subject), horn=horn))


def _taken_off(draft: Draft, subject: str, horn: Horn, person: str, why: str) -> None:
    panel = lists.panel_of(draft.plan, subject)
    sees = panel is not None and panel.input(Means.ALARM_POWER) is not None
    ask = None if sees else draft.now.up + ASK_BREAKER
    known = draft.plan.people.get(person)
    told = why or f"declared by {known.name if known else person}"
    off = stands(horn, HornStanding.DISCONNECTED, draft.stamp, told, person)
    _keep(draft, subject, replace(off, breaker_due=ask))
    loose.done(draft, subject, HORN_UNPROVED, person, "its wire is off")
    loose.begin(draft, subject, HORN_WIRE, person, why)


def _back(draft: Draft, subject: str, person: str) -> None:
    """The wire is said to be back: done, but proved only by a sound."""
    loose.done(draft, subject, HORN_WIRE, person, "back")
    unsure(draft, subject, "its wire is said to be back")


# What follows from it


def _judge(draft: Draft, subject: str, panel: Panel, senses: Senses) -> None:
    owner = draft.subject(subject)
    horn = owner.horn
    was_parked, parked = horn.parked, _parked(horn, senses)
    if parked != was_parked:
        horn = replace(horn, parked=parked)
        _keep(draft, subject, horn)
        if not parked:
            draft.record("horn wire", subject, wire=Wire.BACK.value, person="", why="not parked")
            _back(draft, subject, "")
            horn = draft.subject(subject).horn
    key = key_of(horn, owner, panel, senses, draft.now.up)
    if key is not None:
        _reach(draft, subject, horn, TABLE[key], key[1])


def _parked(horn: Horn, senses: Senses) -> bool:
    told = senses.is_parked
    return horn.parked if told is Sense.NOT_WIRED else told is Sense.YES


def _reach(draft: Draft, subject: str, horn: Horn, row: Row, moment: Moment) -> None:
    tried = horn.trial is not None
    after = replace(horn, row=row.name, trial=None, judge=None)
    if row.name == "H6":
        after = replace(after, silence_left=True)
    if is_driven(after):
        after = replace(after, silence_left=False)
    if row.standing is not None and row.standing in HELD[horn.standing]:
        after = _standing(draft, after, row.standing, SAYS[row.name], tried)
    if after != horn:
        _keep(draft, subject, after)
    if row.name != horn.row or tried:
        draft.record(
            "horn",
            subject,
            row=row.name,
            moment=moment.value,
            says=SAYS[row.name],
            standing=after.standing.value,
        )
    if row.standing is HornStanding.PROVED:
        for key in (HORN_WIRE, HORN_UNKNOWN, HORN_UNPROVED):
            loose.done(draft, subject, key, "", SAYS[row.name])


def _standing(draft: Draft, horn: Horn, standing: HornStanding, says: str, tried: bool) -> Horn:
    if standing is horn.standing and not tried:
        return horn
    after = replace(stands(horn, standing, draft.stamp, says), reached=horn.row)
    if standing is HornStanding.PROVED:
        return replace(after, proved=draft.stamp, asked=None, asked_due=None, asking={}, told=())
    return after


def _ask_breaker(draft: Draft, subject: str) -> None:
    horn = draft.subject(subject).horn
    if horn.breaker_due is None or horn.breaker_due > draft.now.up:
        return
    _keep(draft, subject, replace(horn, breaker_due=None))
    circuits.ask_breaker(draft, subject, horn.by)


def _found(horn: Horn, panel: Panel, at: int) -> dict[str, Finding]:
    told = {
        HORN_SILENT: (horn.standing is HornStanding.SILENT, horn.reached, horn.why),
        SILENCE_LEFT_ON: (horn.silence_left, "H6", SAYS["H6"]),
        ALARM_LEFT_OFF: (circuits.left_off(horn, at), "", ""),
    }
    planned = of_panel(panel)
    return {
        name: Finding(
            Signal.PRESENT if yes else Signal.ABSENT, row if yes else "", why if yes else ""
        )
        for name, (yes, row, why) in told.items()
        if name in planned
    }
