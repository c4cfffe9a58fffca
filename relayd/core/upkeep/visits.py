"""Visits: somebody is at the panel and works on it, so its alarms go to that person.

In: what a visitor says, the panel's alarms and loose ends, time. Out: whether only the visitor is
told, and what is asked at the end. Knows nothing of services.

A visit is no test and no mark: alarms are raised and recorded as ever. Water that stands for too
long is everybody's again. A visit closes on an answer about everything that is not as it was; one
that is not closed ends by itself and says so.
"""

from collections.abc import Mapping
from dataclasses import replace

from relayd.core.calling import callout, lists
from relayd.core.conditions import LEVELS as LEVEL_MEANS
from relayd.core.draft import Draft
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import HOUR, MINUTE, Panel, Priority
from relayd.core.refusal import Refused
from relayd.core.saying import texts
from relayd.core.state import Alarm, HornStanding, NoticeKind, Subject, Visit
from relayd.core.upkeep import loose
from relayd.core.upkeep.horn_standing import HORN_UNPROVED, PROOF, unsure
from relayd.core.upkeep.loose_ends import Shown, how, standing

WARNING = 15 * MINUTE
LONGEST = 12 * HOUR
WATER = 30 * MINUTE
"""Water that has stood for longer is no longer the visitor's alone, or for half of a short reserve."""
LEVELS = frozenset(each.value for each in LEVEL_MEANS)
DOORS = ("panel-door", "tank-lid")


def visitor(draft: Draft, subject: str) -> str:
    """Who is at this panel; '' where nobody is, or wants to leave."""
    visit = draft.subject(subject).visit
    there = visit is not None and visit.until > draft.now.up and not visit.leaving
    return visit.person if visit and there else ""


def only_visitor(draft: Draft, subject: str, alarm: Alarm) -> bool:
    """Whether this alarm goes to the visitor alone now."""
    if not visitor(draft, subject):
        return False
    over = _water_over(lists.panel_of(draft.plan, subject), alarm)
    return over is None or draft.now.up < over


def open_ends(draft: Draft, subject: str) -> Mapping[str, str]:
    """What is not as it was at this panel: key -> what it is."""
    owner = draft.subject(subject)
    shown = standing(draft, subject, lists.panel_of(draft.plan, subject))
    ends = {key: end.why for key, end in owner.loose.items()}
    ends |= {key: each.why for key, each in shown.items() if not ends.get(key)}
    if owner.visit and _opened(owner, owner.visit, shown) and _unproved(owner):
        ends.setdefault(HORN_UNPROVED, f"the horn is {owner.horn.standing.value}: {PROOF}")
    return ends


def watch(draft: Draft, subject: str) -> None:
    """Warn before the end, end what is over, and call the others where an alarm outlasts the visit."""
    visit = draft.subject(subject).visit
    if visit is None:
        return
    if visit.until <= draft.now.up:
        _over(draft, subject, visit)
        return
    _note_opened(draft, subject, visit)
    _water(draft, subject)
    visit = draft.subject(subject).visit
    if visit and not visit.warned and visit.until - WARNING <= draft.now.up:
        _put(draft, subject, replace(visit, warned=True))
        _tell(draft, subject, visit.person, "ending")


def due(draft: Draft, subject: str) -> int | None:
    """When a visit of this panel next needs something (boot ns)."""
    owner, now = draft.subject(subject), draft.now.up
    visit = owner.visit
    if visit is None:
        return None
    panel = lists.panel_of(draft.plan, subject)
    times = [visit.until, visit.until - WARNING]
    water = (_water_over(panel, each) for each in owner.alarms.values() if each.process in ACTIVE)
    times += [each for each in water if each is not None]
    return min((each for each in times if each > now), default=None)


def begin(draft: Draft, subject: str, person: str, until: int) -> Refused | None:
    """A person is at the panel until boot time `until`."""
    there = visitor(draft, subject)
    if there:
        return Refused("somebody-is-there", _there(draft, there, person))
    left = draft.subject(subject).visit
    if left is not None:
        _over(draft, subject, left)
    refused = _bad_time(draft, until)
    if refused is not None:
        return refused
    short = until - draft.now.up <= WARNING
    wall = draft.now.wall + until - draft.now.up
    _put(draft, subject, Visit(person, draft.stamp, until, wall, warned=short))
    draft.record("visit begun", subject, person=person, until_wall=wall)
    loose.answered(draft, subject)
    waiting = {
        each
        for alarm in draft.subject(subject).alarms.values()
        if alarm.process in ACTIVE and alarm.priority is Priority.HIGH
        for each in alarm.told
    }
    for each in sorted(waiting - {person}):
        _tell(draft, subject, each, "begun")
    if open_ends(draft, subject):
        _tell(draft, subject, person, "begun")
    return None


def extend(draft: Draft, subject: str, person: str, until: int) -> Refused | None:
    """The visitor stays longer."""
    visit = draft.subject(subject).visit
    refused = _not_yours(draft, visit, person) or _bad_time(draft, until)
    if refused is not None or visit is None:
        return refused
    wall = draft.now.wall + until - draft.now.up
    short = until - draft.now.up <= WARNING
    _put(draft, subject, replace(visit, until=until, until_wall=wall, warned=short, leaving=False))
    draft.record("visit extended", subject, person=person, until_wall=wall)
    return None


def end(draft: Draft, subject: str, person: str, left: tuple[str, ...], why: str) -> Refused | None:
    """The visitor leaves; refused while something is not as it was and not named in `left`."""
    visit = draft.subject(subject).visit
    refused = _not_yours(draft, visit, person)
    if refused is not None or visit is None:
        return refused
    ends = open_ends(draft, subject)
    if any(key not in left for key in ends):
        _wants_to_leave(draft, subject, visit)
        return Refused("not-as-it-was", _asks(ends, left))
    if left and not why.strip():
        return Refused("no-reason", "say why it stays: --why 'part on order until Friday'")
    for key in left:
        _left(draft, subject, key, person, why)
    draft.record("visit ended", subject, person=person, left=list(left), why=why)
    first = loose.keepers(draft, subject)[:1] if left else ()
    for keeper in set(first) - {person}:
        _tell(draft, subject, keeper, "left")
    _close(draft, subject)
    return None


def _wants_to_leave(draft: Draft, subject: str, visit: Visit) -> None:
    """Its alarms are everybody's again, though the visit waits for a word on what stays undone."""
    if not visit.leaving:
        draft.record("visitor leaves", subject, person=visit.person)
        _call_others(draft, subject, visit)
        _put(draft, subject, replace(visit, leaving=True, warned=True))


# The visit goes on


def _put(draft: Draft, subject: str, visit: Visit | None) -> None:
    draft.put(replace(draft.subject(subject), visit=visit))


def _water_over(panel: Panel | None, alarm: Alarm) -> int | None:
    """When this alarm is everybody's again; None where it is not about water."""
    if alarm.condition not in LEVELS or alarm.raised is None:
        return None
    reserve = panel.reserve if panel else None
    return alarm.raised.up + (WATER if reserve is None else min(reserve // 2, WATER))


def _water(draft: Draft, subject: str) -> None:
    """Begin the call list of water that has stood for too long under the visitor's hands."""
    panel = lists.panel_of(draft.plan, subject)
    for alarm in list(draft.subject(subject).alarms.values()):
        visit = draft.subject(subject).visit
        over = _water_over(panel, alarm)
        if visit is None or over is None or over > draft.now.up or alarm.process not in ACTIVE:
            continue
        if alarm.occurrence not in visit.passed:
            _put(draft, subject, replace(visit, passed=(*visit.passed, alarm.occurrence)))
            why = "high for too long to stay with the visitor"
            _call(draft, subject, alarm, why)


def _note_opened(draft: Draft, subject: str, visit: Visit) -> None:
    owner = draft.subject(subject)
    if visit.opened or not _opened(
        owner, visit, standing(draft, subject, lists.panel_of(draft.plan, subject))
    ):
        return
    _put(draft, subject, replace(visit, opened=True))
    if owner.horn.standing is HornStanding.PROVED:
        unsure(draft, subject, "the panel was opened during a visit")


def _opened(owner: Subject, visit: Visit, shown: Mapping[str, Shown]) -> bool:
    """Seen open, or something in the panel was touched since the visit began."""
    began = visit.began.up
    touched = any(each.since.up >= began for each in owner.loose.values())
    wire = owner.horn.since is not None and owner.horn.since.up >= began
    declared = wire and owner.horn.standing is not HornStanding.PROVED
    return visit.opened or touched or declared or DOORS[0] in shown


def _unproved(owner: Subject) -> bool:
    return owner.horn.standing in (HornStanding.NOT_KNOWN, HornStanding.SILENT)


# It ends


def _over(draft: Draft, subject: str, visit: Visit) -> None:
    """Nobody closed it: it ends by itself and says so, and what is open is a loose end."""
    ends = open_ends(draft, subject)
    for key, what in ends.items():
        _left(draft, subject, key, visit.person, what)
    draft.record("visit ended", subject, person="", left=list(ends), why="its time was over")
    first = loose.keepers(draft, subject)[:1]
    for person in dict.fromkeys((visit.person, *first)):
        _tell(draft, subject, person, "ended")
    _close(draft, subject)


def _left(draft: Draft, subject: str, key: str, person: str, why: str) -> None:
    loose.begin(draft, subject, key, person, why)
    owner = draft.subject(subject)
    named = replace(owner.loose[key], by=owner.loose[key].by or person)
    draft.put(replace(owner, loose={**owner.loose, key: named}))


def _close(draft: Draft, subject: str) -> None:
    """Nobody is there any more: what is still active calls the ordinary list."""
    visit = draft.subject(subject).visit
    _put(draft, subject, None)
    if visit and not visit.leaving:
        _call_others(draft, subject, visit)


def _call_others(draft: Draft, subject: str, visit: Visit) -> None:
    for alarm in list(draft.subject(subject).alarms.values()):
        if alarm.process in ACTIVE and alarm.occurrence not in visit.passed:
            _call(draft, subject, alarm, "the visit is over")


def _call(draft: Draft, subject: str, alarm: Alarm, why: str) -> None:
    """Call the ordinary list, unless somebody has it."""
    if alarm.taken is not None or alarm.priority is Priority.RECORD_ONLY:
        return
    draft.record("call list begun", subject, condition=alarm.condition, why=why)
    draft.put_alarm(subject, callout.begin(draft, subject, replace(alarm, realarm=None)))


# What is said


def _tell(draft: Draft, subject: str, person: str, what: str) -> None:
    if person not in draft.plan.people:
        return
    text = texts.of_visit(draft.plan, draft.subjects, subject, what, person, draft.now)
    callout.owe(draft, subject, person, NoticeKind.VISIT, Priority.HIGH, text)


def _bad_time(draft: Draft, until: int) -> Refused | None:
    if until <= draft.now.up:
        return Refused("bad-time", "that time is over: give one that is still to come")
    if until > draft.now.up + LONGEST:
        return Refused("too-long", "that is too far away: a visit lasts at most 12 h")
    return None


def _not_yours(draft: Draft, visit: Visit | None, person: str) -> Refused | None:
    if visit is None:
        return Refused("no-visit", "nobody is at this panel: begin a visit first")
    if visit.person != person:
        name = _name(draft, visit.person)
        return Refused("not-yours", f"{name} is at this panel: only {name} prolongs or ends it")
    return None


def _there(draft: Draft, there: str, person: str) -> str:
    if there == person:
        return "you are at this panel already: extend the visit instead"
    return f"{_name(draft, there)} is at this panel: that visit must end first"


def _name(draft: Draft, person: str) -> str:
    return draft.plan.people[person].name if person in draft.plan.people else person


def _asks(ends: Mapping[str, str], left: tuple[str, ...]) -> str:
    asked = [f"{key} ({what}): {how(key)}" for key, what in ends.items() if key not in left]
    keys = " ".join(f"--left {key}" for key in ends)
    return f"not as it was: {'; '.join(asked)}. Or say that it stays: {keys} --why ..."
