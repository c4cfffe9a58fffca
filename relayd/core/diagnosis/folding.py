"""One running event instead of several alarms: what a high level or the site's supply tells already.

In: findings, the subject as it is remembered, what holds for the site. Out: the findings, with the
folded ones suppressed by design and said as notes of the alarm that tells them (its carrier).
Knows nothing of delays or people's hours.

A condition that stands is folded only while people are told of its carrier, at a priority at least
as high, and only if whoever was told of the condition was told of the carrier too. It is raised and
folded in one step, so nobody is told in between; its delays and states run on beneath the mark. When
the carrier is over, put aside, or less urgent, the mark goes, and what is still there is raised as
an alarm of its own at once. What is just going away stays folded until it is gone: a pump that did
not get the level down is no news once the level is down.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from relayd.core import conditions as c
from relayd.core.calling.lists import RANK
from relayd.core.findings import FOLDED, TOLD_WITH_LEVEL, TOLD_WITH_SITE, Finding, Site
from relayd.core.life.alarm import ACTIVE
from relayd.core.life.shown import quiet
from relayd.core.plan import Panel, Priority
from relayd.core.state import Alarm, Signal, Subject

_BY_LEVEL = (c.NOT_FALLING, c.NO_CURRENT)
_LEVELS = (c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL)
Findings = dict[str, Finding]


def folded(panel: Panel, found: Mapping[str, Finding], before: Subject, site: Site) -> Findings:
    """The findings of a panel with what another alarm tells folded into that alarm."""
    after = dict(found)
    for name in found:
        if name in (c.UNSETTLED, c.UNSTABLE_SUPPLY) or c.base_of(name) in _BY_LEVEL:
            why = _told_by(panel, name, found[name], before, site)
            if why != found[name].suppressed:
                after[name] = replace(found[name], suppressed=why)
    return _noted(panel, after, before)


def _told_by(panel: Panel, name: str, finding: Finding, before: Subject, site: Site) -> str:
    """Why this condition is no alarm of its own now; '' where it is, or where it is not there."""
    known = before.alarms.get(name)
    if known is None or known.process not in ACTIVE:
        return ""
    if finding.signal is Signal.ABSENT and known.suppressed in FOLDED:
        return known.suppressed
    if name == c.UNSTABLE_SUPPLY:
        told = site.unstable
        return TOLD_WITH_SITE if told is not None and _knew(known, told) else ""
    carriers = _carriers(panel, name, finding, before)
    fit = bool(carriers) and all(_tells(each, before, finding, known) for each in carriers)
    return TOLD_WITH_LEVEL if fit else ""


def _carriers(panel: Panel, name: str, finding: Finding, before: Subject) -> list[Alarm | None]:
    """The alarms that would tell it: of the high level, or of the very contacts that chatter."""
    if name == c.UNSETTLED:
        return [before.alarms.get(each) for each in chattering(panel, finding, before)]
    first = next((each for each in _LEVELS if _is_told(before.alarms.get(each), before)), "")
    return [before.alarms[first]] if first else []


def chattering(panel: Panel, finding: Finding, before: Subject) -> list[str]:
    """The conditions of the contacts that chatter ('' where one is none of a level's)."""
    known = before.alarms.get(c.UNSETTLED)
    names = finding.detail or (known.detail if known else "")
    by_id = {each.id: c.BY_MEANS[each.means] for each in panel.inputs if each.means in c.LEVELS}
    return [by_id.get(each, "") for each in names.split(", ")]


def _tells(carrier: Alarm | None, before: Subject, finding: Finding, known: Alarm) -> bool:
    """Whether people are told of this carrier, as urgently, and whoever was told of `known` too."""
    if carrier is None or not _is_told(carrier, before):
        return False
    urgent = finding.priority or known.priority
    return RANK[carrier.priority] >= RANK[urgent] and _knew(known, carrier.told)


def _is_told(alarm: Alarm | None, before: Subject) -> bool:
    """Whether it stands, and people are told of it."""
    if alarm is None or alarm.process not in ACTIVE or quiet(alarm, before):
        return False
    return alarm.priority is not Priority.RECORD_ONLY


def _knew(known: Alarm, told: tuple[str, ...]) -> bool:
    """Whether everybody who was told of it was told of its carrier, or it is folded already."""
    return known.suppressed in FOLDED or set(known.told) <= set(told)


# The notes that tell it


def _noted(panel: Panel, found: Findings, before: Subject) -> Findings:
    """The carriers' notes: a folded condition is said by its carrier as long as it stands."""
    for carrier, notes in _notes(panel, found, before):
        if carrier in found:
            earlier = found[carrier].notes
            new = tuple(each for each in notes if each not in earlier)
            found[carrier] = replace(found[carrier], notes=(*earlier, *new))
    return found


def _notes(panel: Panel, found: Findings, before: Subject) -> Iterator[tuple[str, tuple[str, ...]]]:
    told = found.get(c.UNSETTLED)
    if told is not None and told.suppressed:
        yield from ((each, ("U1",)) for each in chattering(panel, told, before))
    if not _is_told(before.alarms.get(c.HIGH_LEVEL), before) and c.HIGH_LEVEL in found:
        rows = found[c.HIGH_LEVEL].notes
        yield c.HIGH_HIGH_LEVEL, tuple(each for each in rows if each != "L16")
