"""What was held for somebody's hours, told when they begin: one item by itself, several as a digest.

In: alarms with persons held, or that nobody answered; time. Out: notices. Knows nothing of
contacts or services. Nothing that was held is lost: what is over by then is told all the same,
with from when to when it was there.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from relayd.core.calling import duty, telling
from relayd.core.calling.acknowledging import UNANSWERED, morning_person, next_morning
from relayd.core.calling.hours import HALF_DAY
from relayd.core.calling.lists import RANK
from relayd.core.draft import UNIT, Draft
from relayd.core.life import marks
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import MINUTE, Priority
from relayd.core.saying import texts
from relayd.core.state import Alarm, NoticeKind

TOGETHER = MINUTE
"""What is due within a minute goes into the same message."""
MOST_MORNINGS = 3


@dataclass(frozen=True, slots=True)
class Item:
    """One alarm that is now told to one person; `held_for` is who waited, '' for an unanswered one."""

    subject: str
    condition: str
    person: str
    held_for: str = ""


def release(draft: Draft) -> tuple[str, ...]:
    """Tell what was held and is due now; the subjects whose alarms changed."""
    found = due_now(draft)
    for person, items in found.items():
        tell(draft, person, items)
    return tuple(dict.fromkeys(each.subject for items in found.values() for each in items))


def due_now(draft: Draft) -> dict[str, list[Item]]:
    """What is to be told now, by person; what is due within a minute goes with it."""
    now, found = draft.now.up, dict[str, list[Item]]()
    if any(each.due is not None and each.due <= now for each in draft.live.values()):
        for item in _until(draft, now + TOGETHER):
            found.setdefault(item.person, []).append(item)
    return found


def tell(draft: Draft, person: str, items: list[Item]) -> None:
    """Take these items off their alarms and tell the person, each alarm once."""
    kept = [each for each in items if _kept(draft, each)]
    if kept:
        _told(draft, person, list({(each.subject, each.condition): each for each in kept}.values()))


def _until(draft: Draft, until: int) -> Iterator[Item]:
    """Every item that is due by then."""
    away = draft.subject(UNIT).away
    for owner in list(draft.subjects.values()):
        for alarm in owner.alarms.values():
            if alarm.morning is not None and alarm.morning <= until:
                yield Item(owner.id, alarm.condition, morning_person(draft, owner.id))
            for person, at in alarm.held.items():
                if at <= until:
                    there = duty.persons(draft.plan, away, (person,), draft.now) or (person,)
                    yield Item(owner.id, alarm.condition, there[0], person)


def _kept(draft: Draft, item: Item) -> bool:
    """Take the item off its alarm; whether it is told (put aside meanwhile, it is recorded only)."""
    owner = draft.subject(item.subject)
    alarm = owner.alarms[item.condition]
    if item.held_for:
        held = {person: at for person, at in alarm.held.items() if person != item.held_for}
        alarm = replace(alarm, held=held)
    if not item.held_for or _is_this_morning(draft, item, alarm):
        alarm = _next_morning(draft, item.subject, alarm)
    why = marks.quiet(alarm, owner)
    if why:
        telling.not_told(draft, item.subject, alarm, why, item.person)
    draft.put_alarm(item.subject, alarm)
    return not why


def _is_this_morning(draft: Draft, item: Item, alarm: Alarm) -> bool:
    """Whether who waited is who would hear of the unanswered alarm later this morning: once is enough."""
    soon = alarm.morning is not None and alarm.morning < draft.now.up + HALF_DAY
    return soon and item.person == morning_person(draft, item.subject)


def _next_morning(draft: Draft, subject: str, alarm: Alarm) -> Alarm:
    """One more morning on which it is told; after the last one that nobody answered is a record."""
    mornings = alarm.mornings + 1
    if mornings < MOST_MORNINGS:
        early = max(0, (alarm.morning or 0) - draft.now.up)
        again = next_morning(draft, subject, early + TOGETHER)
        return replace(alarm, mornings=mornings, morning=again)
    draft.record(
        "nobody answered", subject, condition=alarm.condition, why=f"told on {mornings} mornings"
    )
    return replace(alarm, mornings=mornings, morning=None)


def _told(draft: Draft, person: str, items: list[Item]) -> None:
    """One message for that person; who was told of what still stands hears of its end."""
    for each in items:
        alarm = draft.alarm(each.subject, each.condition)
        draft.put_alarm(each.subject, telling.told(alarm, person))
    if len(items) == 1:
        _single(draft, person, items[0])
        return
    alarms = [draft.alarm(each.subject, each.condition) for each in items]
    gravest = max((_weight(each) for each in alarms), key=RANK.__getitem__)
    telling.owe(draft, UNIT, person, NoticeKind.DIGEST, gravest, _text(draft, person, items))


def _single(draft: Draft, person: str, item: Item) -> None:
    alarm = draft.alarm(item.subject, item.condition)
    if alarm.process in ACTIVE:
        mine = alarm.taken is None or alarm.taken.person == person
        kind = NoticeKind.RAISED if mine else NoticeKind.TAKEN
        telling.tell(draft, item.subject, alarm, person, kind)
        return
    kind = NoticeKind.DIGEST if item.held_for else NoticeKind.REMINDER
    text = _text(draft, person, [item])
    weighed = replace(alarm, priority=_weight(alarm))
    telling.say(draft, item.subject, weighed, person, kind, text)


def _weight(alarm: Alarm) -> Priority:
    """What is over and was never answered is a low item, whatever it was."""
    return Priority.LOW if alarm.process in UNANSWERED else alarm.priority


def _text(draft: Draft, person: str, items: list[Item]) -> texts.Text:
    about = tuple((each.subject, each.condition) for each in items)
    return texts.digest(draft.plan, draft.subjects, about, person, draft.now, draft.ref)
