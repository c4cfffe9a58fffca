"""The push button at the unit: somebody is there. It silences sound alone and acknowledges nothing.

In: the unit's own input of that means. Out: a record of each press, and word to those who were
told of what is open. Who pressed it nobody knows (a guest, a child): so no call list stops for it.
"""

from dataclasses import replace

from relayd.core.calling import telling
from relayd.core.calling.lists import RANK
from relayd.core.draft import UNIT, Draft
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import MINUTE, Input, Means, Position, Priority
from relayd.core.saying import texts_afar
from relayd.core.state import InputState, Live, NoticeKind

QUIET = 15 * MINUTE
"""Whoever presses again within that time is recorded, and told of no more (common practice, no source)."""


def watch(draft: Draft, subject: str) -> None:
    """Take a press, where there is a new one."""
    spec = next((each for each in draft.plan.inputs if each.means is Means.UNIT_BUTTON), None)
    live = draft.live.get(subject, Live())
    at = _pressed(live.inputs.get(spec.id, InputState()), spec) if spec else None
    if subject != UNIT or at is None or at == live.pressed:
        return
    due = live.told_press is None or draft.now.up - live.told_press >= QUIET
    draft.record("button pressed", UNIT, told=due)
    draft.put_live(UNIT, replace(live, pressed=at, told_press=at if due else live.told_press))
    for person, priority in _concerned(draft).items() if due else ():
        text = texts_afar.pressed(draft.plan, draft.plan.people[person], draft.now)
        telling.owe(draft, UNIT, person, NoticeKind.UPDATE, priority, text)


def _pressed(state: InputState, spec: Input) -> int | None:
    """When it was pressed, while it is; a button that was down when the unit began is no press."""
    bounce = state.filter
    if bounce is None or state.lost or bounce.closed is not (spec.in_alarm is Position.CLOSED):
        return None
    return bounce.began if bounce.began > bounce.settles else None


def _concerned(draft: Draft) -> dict[str, Priority]:
    """Who was told of what still stands, with the gravest priority of that."""
    found: dict[str, Priority] = {}
    for subject in draft.subjects.values():
        for alarm in subject.alarms.values():
            if alarm.process in ACTIVE:
                for person in alarm.told:
                    known = found.get(person, alarm.priority)
                    found[person] = max(known, alarm.priority, key=RANK.__getitem__)
    return {person: each for person, each in found.items() if person in draft.plan.people}
