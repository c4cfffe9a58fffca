"""Cases of every text: each condition, kind of notice, reader, panel; and how they are made."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

from relayd import languages
from relayd.core import conditions as c
from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, SECOND, Kind, Means, Panel, Person, Plan, Reach
from relayd.core.saying import sentences, texts
from relayd.core.state import (
    Alarm,
    Belief,
    Call,
    NoticeKind,
    Process,
    Stamp,
    Subject,
    Take,
)
from tests.core.build import contact, panel as panel_of, plan_of

UP = 500_000 * SECOND
WALL = 1_800_000_000 * SECOND
KINDS = (NoticeKind.RAISED, NoticeKind.UPDATE, NoticeKind.TAKEN, NoticeKind.STAND_DOWN)
"""The kinds of notice that are about an occurrence."""
ASKED = (NoticeKind.RAISED, NoticeKind.UPDATE)
LEVELS = (c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM)
ROWS: dict[str, list[str]] = {
    **{each: [*sentences.LEVEL_ROWS, sentences.GONE, ""] for each in LEVELS},
    c.ALARM_POWER: ["P1", "P4", "P5", "P6", "P7", "P9", "P10", sentences.GONE],
    c.PUMP_POWER: ["P1", "P2", "P4", "P5", "P7", "P8", "P10", sentences.GONE],
}
UNIT = {*c.UNIT_CONDITIONS, c.SITE_OUTAGE, c.UNIT_POWER}
LANGUAGES = ("en", "es")
READERS = {
    "owner": Person("anna", "Anna", ("anna.mail",)),
    "helper": Person("anna", "Anna", ("anna.mail",), responds=True),
    "electrician": Person("anna", "Anna", ("anna.mail",), responds=True, qualified=True),
}
CATALOGUES = {"es": languages.catalogue("es")}


@dataclass(frozen=True)
class Case:
    """One text: about what, by which row, why, to whom, in which language, at what kind of panel."""

    condition: str = c.HIGH_LEVEL
    row: str = "L1"
    kind: NoticeKind = NoticeKind.RAISED
    reader: str = "owner"
    system: Kind = Kind.SEWAGE_EJECTOR
    reach: Reach = Reach.OUTSIDE
    language: str = "en"
    trusted: bool = True
    again: bool = False

    def __str__(self) -> str:
        where = f"{self.system.value}, switch {self.reach.value}, {self.language}"
        return f"{self.condition} {self.row} {self.kind.value} to {self.reader}, {where}"


def subject_of(condition: str) -> str:
    if condition == c.CHANNEL_FAILING:
        return "channel:ben.mail"
    return "unit" if condition in UNIT else "panel:cabin"


def stamp(ago: int, trusted: bool = True) -> Stamp:
    return Stamp(UP - ago, WALL + UP - ago, trusted)


def now(trusted: bool = True) -> Now:
    return Now("boot-1", UP, WALL + UP, trusted)


def alarm_of(case: Case) -> Alarm:
    """An alarm an hour old; Ben has been told, has seen it, and has it where the notice says so."""
    over = case.kind is NoticeKind.STAND_DOWN
    until = (UP + HOUR, WALL + UP + HOUR)
    return Alarm(
        case.condition,
        c.character(case.condition).priority,
        Process.RTNUN if over else Process.UNACK,
        row=case.row,
        occurrence=7,
        raised=stamp(HOUR, case.trusted),
        call=Call(UP - HOUR, round=2 if case.again else 1),
        told=("ben", "anna"),
        seen={"ben": UP + MINUTE},
        taken=Take("ben", stamp(HOUR, case.trusted), *until)
        if case.kind is NoticeKind.TAKEN
        else None,
    )


def cabin(**changes: object) -> Panel:
    """A panel with the usual contacts; `changes` are fields of Panel."""
    means = (Means.HIGH_LEVEL, Means.ALARM_POWER, Means.PUMP_POWER)
    return replace(panel_of("cabin", *(contact(each) for each in means)), **changes)  # type: ignore[arg-type]


def plan_for(case: Case, panel: Panel | None = None) -> Plan:
    reach = {"hoa": case.reach, "silence": case.reach, "alarm_breaker": case.reach}
    base = plan_of(panel or cabin(kind=case.system, **reach))
    reader = replace(READERS[case.reader], language=case.language)
    return replace(base, people={**base.people, "anna": reader}, languages=CATALOGUES)


@cache
def plain(case: Case) -> texts.Text:
    """The message of that case alone: made once, since many tests read the same one."""
    return made(case)


def made(
    case: Case,
    panel: Panel | None = None,
    owner: Subject | None = None,
    alarm: Alarm | None = None,
    plan: Plan | None = None,
) -> texts.Text:
    """The message that is made of it, to Anna."""
    name = subject_of(case.condition)
    alarm = alarm or alarm_of(case)
    row = case.row if case.condition in LEVELS else "L4"
    owner = owner or Subject(name, belief=Belief(row=row))
    owner = replace(owner, alarms={**owner.alarms, alarm.condition: alarm})
    return texts.compose(
        plan or plan_for(case, panel),
        {name: owner},
        name,
        alarm,
        "anna",
        case.kind,
        now(case.trusted),
        lambda number: f"creek-1.k3f9ab.{number}",
    )


def cases() -> Iterator[Case]:
    """Every condition, row, kind of notice and reader, in both languages; and every kind of panel."""
    for condition in c.CHARACTERS:
        for row, kind, reader, language in product(
            ROWS.get(condition, [""]), KINDS, READERS, LANGUAGES
        ):
            yield Case(condition, row, kind, reader, language=language)
    for condition, system, reach, reader in product(c.CHARACTERS, Kind, Reach, READERS):
        row = ROWS.get(condition, [""])[0]
        yield Case(condition, row, NoticeKind.RAISED, reader, system, reach)


def steps_of(text: str) -> list[str]:
    """The numbered steps of a long form, without their numbers."""
    heads = tuple(f"{number}. " for number in range(1, 20))
    return [each.partition(". ")[2] for each in text.splitlines() if each.startswith(heads)]
