"""What is known, in one or two sentences a row: the names of conditions and the rows' words.

In: a panel, its subject, an alarm, a language. Out: text. A row of the tables says here, or in the
table's own words beside it (`SAYS`), what may be said on its evidence, and no more.
"""

import re
from collections.abc import Mapping

from relayd.core import conditions as c
from relayd.core.conditions import ALARM_POWER, HIGH_LEVEL, INPUT_LOST, PUMP_POWER
from relayd.core.diagnosis import level as levels, power, pump_rows
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import Circuits, Means, Panel
from relayd.core.saying.language import ENGLISH, Speech, marked
from relayd.core.saying.said import (
    BACK,
    COMMON_ROWS,
    DETAILS,
    LEVEL_NOW,
    LEVEL_ROWS,
    LOOSE,
    NAMES,
    OVER,
    SAME_ROW,
    SHARED,
    UNKNOWN_TIME,
    UNREAD,
    WHAT,
)
from relayd.core.state import Alarm, NoticeKind, Subject
from relayd.core.upkeep import horn_table

__all__ = (
    "GONE",
    "LEVEL_NOW",
    "LEVEL_ROWS",
    "NAMES",
    "TABLES",
    "carried",
    "level",
    "loose_end",
    "name",
    "retold",
    "sentence",
    "standing",
)


def name(condition: str, panel: Panel | None = None, say: Speech = ENGLISH) -> str:
    """What people call a condition: with its pump's number, or in the site's own words."""
    base, pump = c.base_of(condition), c.pump_of(condition)
    if base == c.OTHER and panel is not None:
        spec = c.input_of(panel, condition)
        return spec.text if spec and spec.text else say(NAMES[base])
    named = say(NAMES[base])
    if about := c.broker_of(condition) or c.peer_of(condition):
        return f"{named} ({about})"
    return say("{name} (pump {pump})", name=named, pump=pump) if pump else named


GONE = "gone"
"""The row of an alarm whose panel, input or channel is no longer in the plan."""

_LEVELS = frozenset({HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM})
_LOST_IN = {
    ALARM_POWER: frozenset({"P4", "P5", "P6", "P11", "P12", "P21", "P22"}),
    PUMP_POWER: frozenset(
        {"P2", "P3", "P5", "P8", "P11", "P14", "P15", "P21", "P22", "P23"},
    ),
}
_ON_IN = {
    ALARM_POWER: frozenset({"P1", "P2", "P3", "P9", "P13", "P14"}),
    PUMP_POWER: frozenset({"P1", "P4", "P7", "P12", "P16"}),
}
"""Rows of the power table on which each supply is lost, and on which it is on; else not known."""

TABLES: dict[str, Mapping[str, str]] = {
    "power": power.SAYS,
    "horn": horn_table.SAYS,
    "pump": pump_rows.SAYS,
    "level": levels.SAYS,
}
"""The words of the other tables' rows, by table."""
_ROWS: dict[str, str] = {row: text for table in TABLES.values() for row, text in table.items()}


def level(subject: Subject, say: Speech = ENGLISH) -> str:
    """One sentence on a panel's level, for a screen."""
    alarm = subject.alarms.get(HIGH_LEVEL)
    stands = alarm is not None and alarm.process in ACTIVE
    return say((LEVEL_ROWS if stands else LEVEL_NOW).get(subject.belief.row, LEVEL_NOW[""]))


def standing(panel: Panel | None, owner: Subject, alarm: Alarm, say: Speech = ENGLISH) -> str:
    """What is known about `alarm` as it now stands: there, or gone and not acknowledged."""
    kind = NoticeKind.RAISED if alarm.process in ACTIVE else NoticeKind.STAND_DOWN
    return sentence(panel, owner, alarm, kind, say)


def sentence(
    panel: Panel | None, owner: Subject, alarm: Alarm, kind: NoticeKind, say: Speech = ENGLISH
) -> str:
    """What is known about `alarm`, in the words of its row and of the rows that explain it."""
    if kind is NoticeKind.STAND_DOWN:
        return _over(owner, alarm, panel, say)
    return " ".join(parts(panel, owner, alarm, say).values())


def parts(
    panel: Panel | None, owner: Subject, alarm: Alarm, say: Speech = ENGLISH
) -> dict[str, str]:
    """The same while it stands, in its order: note -> sentence; the alarm's own row is under ''."""
    first = [each for each in alarm.notes if pump_rows.split(each)[0] in SWITCH_FIRST]
    # A contact that has been quiet for a while no longer chatters, as its row says.
    quiet = {"U1"} if alarm.row in ("L17", "L18") else set()
    rest = [each for each in alarm.notes if each not in first and each not in quiet]
    told = {each: _row(each, panel, alarm, say) for each in first}
    told[""] = _what(panel, owner, alarm, say)
    told |= {each: _row(each, panel, alarm, say) for each in rest}
    once = {text: note for note, text in reversed(told.items()) if text}
    return {note: text for note, text in told.items() if once.get(text) == note}


SWITCH_FIRST = frozenset({"R1", "R1-hand", "R1-off"})
"""The rows that are said before everything else: the switch is not in Auto."""


def _what(panel: Panel | None, owner: Subject, alarm: Alarm, say: Speech) -> str:
    base = c.base_of(alarm.condition)
    if base in _LEVELS:
        said = _level(base, panel, alarm, say)
        return f"{said} {retold(alarm.detail, say)}" if alarm.detail else said
    if base in (ALARM_POWER, PUMP_POWER):
        return _power(panel, owner, alarm, say)
    if base == INPUT_LOST and alarm.detail:
        return say("An alarm there would not be noticed ({detail}).", detail=alarm.detail)
    said = _row(alarm.row, panel, alarm, say) or say(WHAT[base])
    known = alarm.detail in ("", _ROWS.get(alarm.row))
    return said if known else f"{said} ({retold(alarm.detail, say)})"


def retold(detail: str, say: Speech = ENGLISH) -> str:
    """A detail in that language: its words are said, names and what people wrote stay."""
    whole = say(detail)
    return whole if whole != detail else "; ".join(_part(each, say) for each in detail.split("; "))


def _part(detail: str, say: Speech) -> str:
    for template, known in _DETAILS.items():
        if found := known.fullmatch(detail):
            return say(
                template, **{key: _listed(each, say) for key, each in found.groupdict().items()}
            )
    return _listed(detail, say)


def _listed(text: str, say: Speech) -> str:
    """Names of contacts as people call them, months in that language; all else as it is."""
    parts = [_named_contact(each, say) for each in text.split(", ")]
    return ", ".join(_DATE.sub(lambda found: say(found.group()), each) for each in parts)


def _named_contact(text: str, say: Speech) -> str:
    """What people call a contact that is named by what it means, or by its id; else the text."""
    place, _, name = text.rpartition(".")
    if text == UNKNOWN_TIME:
        return say(UNKNOWN_TIME)
    if name not in _CONTACTS:
        return text
    called = say(NAMES[_CONTACTS[name]]).lower()
    return f"{called} ({place})" if place not in ("", "unit") else called


_CONTACTS = {each.value: base for each, base in c.BY_MEANS.items()}
_DATE = re.compile(r"(?<=^\d )[A-Z][a-z]{2}(?= \d\d:\d\d$)|(?<=^\d\d )[A-Z][a-z]{2}(?= \d\d:\d\d$)")
"""The month of '24 Nov 02:10'."""


_DETAILS = {
    each: re.compile(re.sub(r"\\{(\w+)\\}", r"(?P<\1>.+)", re.escape(each))) for each in DETAILS
}


def _level(base: str, panel: Panel | None, alarm: Alarm, say: Speech) -> str:
    """What an alarm contact tells, by its row."""
    if base == HIGH_LEVEL:
        return say(LEVEL_ROWS.get(alarm.row, LEVEL_ROWS["L1"]))
    if base == c.HIGH_HIGH_LEVEL:
        sure = alarm.row in ("", "L1", "L10", "L11")
        return say(WHAT[base] if sure else LEVEL_ROWS.get(alarm.row, WHAT[base]))
    row = SAME_ROW.get(alarm.row, alarm.row)
    return say(COMMON_ROWS.get(row, COMMON_ROWS["L1"]), carried=carried(panel, say))


def _row(row: str, panel: Panel | None, alarm: Alarm, say: Speech) -> str:
    """That row's words; '' where no table has any."""
    pump = c.pump_of(alarm.condition)
    about, numbered = pump_rows.split(row)
    if about in pump_rows.SAYS:
        return pump_rows.said(f"{row}-{pump}" if pump and not numbered else row, say)
    if row not in _ROWS:
        return ""
    said = say(_ROWS[row], pump=pump or "")
    return f"{said[:1].upper()}{said[1:]}" + ("" if said.endswith((".", "?")) else ".")


def carried(panel: Panel | None, say: Speech = ENGLISH) -> str:
    """What a panel's common alarm may mean, in words."""
    spec = panel.input(Means.COMMON_ALARM) if panel else None
    conditions = [c.BY_MEANS.get(each, "") for each in spec.carries] if spec else []
    names = [say(NAMES[each]).lower() for each in conditions if each]
    return ", ".join(names) or say(
        "high level, low level, a fault of the pump or of the air supply"
    )


def _power(panel: Panel | None, owner: Subject, alarm: Alarm, say: Speech) -> str:
    base = c.base_of(alarm.condition)
    if alarm.row and alarm.row not in _LOST_IN[base]:
        return say(BACK if alarm.row in _ON_IN[base] else UNREAD)
    text = _row(alarm.row, panel, alarm, say) or say(WHAT[base])
    if alarm.row == "P8" and panel and panel.circuits is Circuits.SHARED:
        text += " " + say(SHARED)
    if base == ALARM_POWER and owner.belief.row in ("L4", "L5", "L7", "L8"):
        text += " " + say(LEVEL_ROWS[owner.belief.row])
    return text


def _over(owner: Subject, alarm: Alarm, panel: Panel | None, say: Speech) -> str:
    base = c.base_of(alarm.condition)
    if alarm.row == GONE:
        return say(
            "It is no longer in the plan and no longer watched: this does not mean that all is well."
        )
    if base == HIGH_LEVEL:
        looked = owner.belief.looked is not None
        told = LOOKED if looked else LEVEL_ROWS.get(owner.belief.row, LEVEL_ROWS["L2"])
        idle = (_row(each, panel, alarm, say) for each in alarm.notes if each == "L16")
        chattered = "U1" in (*alarm.notes, *alarm.told_notes)
        return " ".join((say(told), *idle, *([say(CHATTERED)] if chattered else [])))
    if base in OVER:
        after = level(owner, say) if base == ALARM_POWER else ""
        # That row says itself that the circuit is on again.
        told = "" if after and owner.belief.row == "L11" else say(OVER[base])
        return f"{told} {after}".strip()
    return say("{name}: over.", name=name(alarm.condition, panel, say))


LOOKED = marked("Somebody looked and says that the level is below the alarm float.")
CHATTERED = marked("Its contact chattered: have float and wires looked at by day.")


def says_more(alarm: Alarm) -> bool:
    """Whether its end has more to say than that it is over."""
    return alarm.row == GONE or c.base_of(alarm.condition) in {HIGH_LEVEL, *OVER}


def loose_end(key: str, panel: Panel | None, say: Speech = ENGLISH) -> str:
    """A loose end in words: what is still to be undone."""
    kind, _, condition = key.partition(":")
    if condition:
        about = name(condition, panel, say) if c.base_of(condition) in NAMES else condition
        if kind == "paused":
            return say("'{name}' is paused", name=about)
        return say("'{name}' is out of service: it is not told", name=about)
    base, pump = c.base_of(key), c.pump_of(key)
    which = say("pump {pump}", pump=pump) if pump else say("the pump")
    return say(LOOSE.get(base, LOOSE[""]), which=which, what=key)
