"""Every text that can be sent: it fits, it is safe for its reader, it says how to answer."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import pytest

from relayd.core import advice, sentences
from relayd.core.callout import tell
from relayd.core.conditions import CHARACTERS, PANEL_CONDITIONS
from relayd.core.draft import Draft
from relayd.core.gsm7 import ONE_MESSAGE, septets
from relayd.core.plan import HOUR, MINUTE, SECOND, Circuits, Kind, Person, Plan, Reach
from relayd.core.state import (
    Alarm,
    Belief,
    Call,
    Notice,
    NoticeKind,
    Process,
    Stamp,
    State,
    Subject,
    Take,
)
from tests.core.world import WALL, World, plan

UP = 5000 * SECOND
WATER = ("high-level", "alarm-power", "pump-power")
ROWS = {
    "high-level": [*sentences.LEVEL_ROWS, sentences.GONE, ""],
    "alarm-power": ["P1", "P4", "P5", "P6", "P7", "P9", "P10", sentences.GONE],
    "pump-power": ["P1", "P2", "P4", "P5", "P7", "P8", "P10", sentences.GONE],
    "input-lost": ["P19"],
}
PEOPLE = {
    "owner": Person("anna", "Anna", ("anna.mail",)),
    "helper": Person("anna", "Anna", ("anna.mail",), responds=True),
    "electrician": Person("anna", "Anna", ("anna.mail",), responds=True, qualified=True),
}
LONG = "Łódźstraße 12, behind the third building on the left hand side of the old mill 77"


@dataclass(frozen=True)
class Case:
    """One text: about what, by which row, why, to whom, at what kind of panel."""

    condition: str
    row: str
    kind: NoticeKind
    reader: str
    system: Kind = Kind.SEWAGE_EJECTOR
    hoa: Reach = Reach.OUTSIDE
    trusted: bool = True
    again: bool = False

    def __str__(self) -> str:
        where = f"{self.system.value}, switch {self.hoa.value}"
        return f"{self.condition} {self.row} {self.kind.value} to {self.reader}, {where}"


def subject_of(condition: str) -> str:
    if condition in PANEL_CONDITIONS:
        return "panel:cabin"
    return "channel:ben.mail" if condition == "channel-failing" else "unit"


def alarm_of(case: Case) -> Alarm:
    """An alarm an hour old; Ben has been told, has seen it, and has it where the notice says so."""
    stamp = Stamp(UP - HOUR, WALL + UP - HOUR, case.trusted)
    over = case.kind is NoticeKind.STAND_DOWN
    until = (UP + HOUR, WALL + UP + HOUR)
    return Alarm(
        case.condition,
        CHARACTERS[case.condition].priority,
        Process.RTNUN if over else Process.UNACK,
        row=case.row,
        detail="cabin.high-level: no such chip" if case.condition not in WATER else "",
        occurrence=7,
        raised=stamp,
        call=Call(UP - HOUR, round=2 if case.again else 1),
        told=("ben", "anna"),
        seen={"ben": UP + MINUTE},
        taken=Take("ben", stamp, *until) if case.kind is NoticeKind.TAKEN else None,
    )


def made(case: Case, plan_: Plan | None = None) -> Notice:
    """The notice that the call-out makes of it."""
    base = plan_ or plan(kind=case.system, hoa=case.hoa)
    people = {**base.people, "anna": replace(PEOPLE[case.reader], name=base.people["anna"].name)}
    base = replace(base, people=people)
    name = subject_of(case.condition)
    alarm = alarm_of(case)
    level_row = case.row if case.condition == "high-level" else "L4"
    owner = Subject(name, {case.condition: alarm}, Belief(row=level_row))
    world = World(base, State("k3f9ab", subjects={name: owner}), up=UP, trusted=case.trusted)
    draft = Draft(world.plan, world.state, world.now())
    tell(draft, name, alarm, "anna", case.kind)
    return next(iter(draft.notices.values()))


def cases() -> Iterator[Case]:
    for condition in CHARACTERS:
        for row, kind, reader in product(ROWS.get(condition, [""]), NoticeKind, PEOPLE):
            yield Case(condition, row, kind, reader)
    for system, hoa, reader, condition in product(
        Kind, Reach, PEOPLE, ("high-level", "pump-power")
    ):
        row = "L1" if condition == "high-level" else "P2"
        yield Case(condition, row, NoticeKind.RAISED, reader, system, hoa)
    for kind, trusted in product(NoticeKind, (True, False)):
        yield Case("high-level", "L1", kind, "owner", trusted=trusted, again=True)


ALL = list(cases())
every_text = pytest.mark.parametrize("case", ALL, ids=str)
THE_REST = {
    "asked": (NoticeKind.RAISED, NoticeKind.UPDATE),
    "told": (NoticeKind.TAKEN, NoticeKind.STAND_DOWN),
}


# Every text


@every_text
def test_the_short_form_is_one_text_message(case: Case) -> None:
    assert septets(made(case).short) <= ONE_MESSAGE


@every_text
def test_both_forms_say_not_to_reply(case: Case) -> None:
    notice = made(case)
    assert "No replies." in notice.short
    assert notice.long.splitlines()[-1] == "Do not reply to this message: nobody reads it."


@every_text
def test_who_is_asked_is_told_how_to_answer(case: Case) -> None:
    notice = made(case)
    asked = case.kind in THE_REST["asked"]
    assert ("relayd ack creek-1.k3f9ab.7 --by anna" in notice.long) == asked
    assert ("relayd ack --by anna" in notice.short) == asked


@every_text
def test_no_text_speaks_of_a_breaker_off_without_saying_which(case: Case) -> None:
    text = made(case).long.lower()
    assert "breaker off" not in text
    # What may have happened, not what to do.
    told = text.replace("died or was switched off", "").replace("somebody switched it off", "")
    for found in re.finditer(r"switch(?:ed)? off\b(.*)", told):
        assert found[1].startswith(" all breakers that feed this panel"), found[0]


@every_text
def test_only_a_qualified_reader_is_told_how_anything_is_opened(case: Case) -> None:
    qualified = PEOPLE[case.reader].qualified
    lines = made(case).long.splitlines()
    opening = [
        each
        for each in lines
        if re.search(r"\bopen(ed|ing|s)?\b", each, re.I)
        and not re.search(r"do not open|open nothing|still open here", each, re.I)
    ]
    assert qualified or opening == []
    for each in opening:
        assert "Only if you are qualified" in each
        assert "ALL breakers that feed this panel" in each
        assert "measure that it is dead" in each


@every_text
def test_the_cautions_stand_before_the_first_step(case: Case) -> None:
    lines = made(case).long.splitlines()
    steps = [place for place, each in enumerate(lines) if re.match(r"\d+\. ", each)]
    if case.kind not in THE_REST["asked"] or case.condition not in PANEL_CONDITIONS:
        assert steps == []
        return
    assert steps
    cautions = [place for place, each in enumerate(lines) if each.startswith("! ")]
    assert (cautions != []) == (case.condition in WATER)
    assert max(cautions, default=-1) < min(steps)


@pytest.mark.parametrize("condition", WATER)
def test_a_water_alarm_warns_of_all_that_can_hurt(condition: str) -> None:
    text = made(Case(condition, "L1", NoticeKind.RAISED, "owner")).long
    for word in (
        "do not step in",
        "the tank's lid; keep children away: the gas kills, also those who go in to help",
        "nobody barefoot",
        "reset once; if it trips again, leave it off",
    ):
        assert word in text


# Hand


HAND = {Kind.SEWAGE_EJECTOR, Kind.LIFT_STATION, Kind.EFFLUENT_DEMAND, Kind.SUMP}
"""The kinds of system whose switch may be turned to Hand at all; common practice, no source."""


@pytest.mark.parametrize("reader", PEOPLE)
@pytest.mark.parametrize(("system", "hoa"), list(product(Kind, Reach)), ids=lambda each: each.value)
def test_hand_is_advised_by_kind_of_system_and_by_where_the_switch_is(
    system: Kind, hoa: Reach, reader: str
) -> None:
    text = made(Case("high-level", "L1", NoticeKind.RAISED, reader, system, hoa)).long
    reach = {Reach.OUTSIDE, Reach.DEAD_FRONT}
    reach |= {Reach.LIVE_PARTS} if PEOPLE[reader].qualified else set()
    advised = re.search(r"turned to Hand, 5 min|turned to Hand for 1 min|Hand only if", text)
    assert bool(advised) == (system in HAND and hoa in reach)


@pytest.mark.parametrize("system", sorted(HAND), ids=lambda each: each.value)
def test_advice_of_hand_says_how_long_and_that_somebody_stays_or_stops(system: Kind) -> None:
    text = advice.HAND[system]
    assert re.search(r"\d min", text)
    assert re.search(r"back to Auto|Off, and call", text)
    assert "unattended" not in text


def test_an_effluent_field_gets_five_minutes_and_then_a_pause() -> None:
    # Read: county health departments' advice after an outage, 5 min at most, then wait 6 h.
    assert "5 min at most, then none for 6 h" in advice.HAND[Kind.EFFLUENT_DEMAND]


def test_whoever_ends_in_off_is_told_that_the_pump_stays_off_and_to_use_no_water() -> None:
    for system in HAND - {Kind.SUMP}:
        assert "Off, use no water, call; in Off the pump never starts" in advice.HAND[system]


# What is said


def test_news_of_an_alarm_that_somebody_has_begins_with_who_has_it() -> None:
    case = Case("high-level", "L3", NoticeKind.UPDATE, "owner")
    world = World(plan(), State("k3f9ab"), up=UP)
    taken = Take("ben", Stamp(UP, WALL + UP, True), UP + HOUR, WALL + UP + HOUR)
    draft = Draft(world.plan, world.state, world.now())
    tell(draft, "panel:cabin", replace(alarm_of(case), taken=taken), "anna", NoticeKind.UPDATE)
    assert next(iter(draft.notices.values())).long.startswith("Ben has it.\n")


def test_who_is_first_is_told_that_nobody_else_has_been() -> None:
    case = Case("high-level", "L1", NoticeKind.RAISED, "owner")
    world = World(plan(), State("k3f9ab"), up=UP)
    draft = Draft(world.plan, world.state, world.now())
    tell(draft, "panel:cabin", replace(alarm_of(case), told=("anna",), seen={}), "anna", case.kind)
    text = next(iter(draft.notices.values())).long
    assert text.startswith("You are first: nobody else has been told.\n")
    assert "Told as well" not in text


@pytest.mark.parametrize("row", sentences.LEVEL_ROWS)
def test_a_high_level_is_told_in_the_words_of_its_row(row: str) -> None:
    text = made(Case("high-level", row, NoticeKind.RAISED, "owner")).long
    assert sentences.LEVEL_ROWS[row] in text
    looks = f"relayd looked cabin --level normal --by {'anna'}"
    assert (looks in text) == (row in ("L3", "L5", "L15"))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("P2", "The pump will not start by itself"),
        ("P5", "The panel's feed is off"),
        ("P8", "Whether the panel's own alarm still works is not known"),
        ("P1", "It is on again; the alarm ends when that has held"),
        ("P10", "It cannot be read now"),
    ],
)
def test_a_lost_supply_is_told_in_the_words_of_its_row(row: str, says: str) -> None:
    assert says in made(Case("pump-power", row, NoticeKind.RAISED, "owner")).long


@pytest.mark.parametrize("circuits", Circuits, ids=lambda each: each.value)
def test_a_shared_circuit_is_said_to_take_the_alarm_with_it(circuits: Circuits) -> None:
    case = Case("pump-power", "P8", NoticeKind.RAISED, "owner")
    text = made(case, plan(circuits=circuits)).long
    assert ("take the panel's alarm as dead" in text) == (circuits is Circuits.SHARED)


def test_the_loss_of_the_circuit_says_what_is_known_of_the_level() -> None:
    text = made(Case("alarm-power", "P6", NoticeKind.RAISED, "owner")).long
    assert sentences.LEVEL_ROWS["L4"] in text


@pytest.mark.parametrize("kind", NoticeKind, ids=lambda each: each.value)
def test_the_first_line_says_who_is_to_act(kind: NoticeKind) -> None:
    first = made(Case("high-level", "L1", kind, "owner")).long.splitlines()[0]
    assert first.startswith(
        {
            NoticeKind.RAISED: "Ben told before you; nobody has taken it.",
            NoticeKind.UPDATE: "Ben told before you; nobody has taken it.",
            NoticeKind.TAKEN: "Ben has it until",
            NoticeKind.STAND_DOWN: "Over: High level, after 1 h 00 min",
        }[kind]
    )


def test_a_text_names_the_channel_that_fails() -> None:
    notice = made(Case("channel-failing", "", NoticeKind.RAISED, "owner"))
    assert "channel ben.mail" in notice.title
    assert "channel ben.mail" in notice.long
    assert "channel ben.mail" in notice.short


def test_a_panel_that_is_gone_is_named_by_its_id() -> None:
    case = Case("high-level", sentences.GONE, NoticeKind.STAND_DOWN, "owner")
    notice = made(case, replace(plan(), panels={}))
    assert notice.title == "No longer watched: High level - Creek, panel cabin"
    assert "does not mean that all is well" in notice.long


def test_a_panel_without_a_place_has_none_in_its_texts() -> None:
    case = Case("high-level", "L1", NoticeKind.RAISED, "owner")
    assert "Cabin tank.\n" in made(case, plan(where="")).long


@pytest.mark.parametrize("reader", ["owner", "electrician"])
@pytest.mark.parametrize("kind", NoticeKind, ids=lambda each: each.value)
@pytest.mark.parametrize("condition", CHARACTERS)
def test_long_and_foreign_names_push_nothing_out_of_the_text_message(
    condition: str, kind: NoticeKind, reader: str
) -> None:
    base = plan(name=LONG, where=LONG)
    people = {name: replace(each, name=LONG[:80]) for name, each in base.people.items()}
    for trusted, again in product((True, False), (True, False)):
        case = Case(
            condition, ROWS.get(condition, [""])[0], kind, reader, trusted=trusted, again=again
        )
        short = made(case, replace(base, unit_name=LONG, people=people)).short
        assert septets(short) <= ONE_MESSAGE
        assert short.endswith("No replies.")
        if kind in THE_REST["asked"]:
            assert "relayd ack --by anna." in short
            assert sentences.NAMES[condition][:12] in short


def test_an_id_of_eighty_letters_pushes_the_last_word_out_of_no_text_message() -> None:
    base = plan()
    long_id = "a" * 80
    people = {
        long_id: replace(base.people["anna"], id=long_id, channels=("x",)),
        "ben": base.people["ben"],
    }
    world = World(replace(base, people=people), up=UP)
    alarm = replace(alarm_of(Case("high-level", "L1", NoticeKind.RAISED, "owner")), told=("ben",))
    draft = Draft(world.plan, world.state, world.now())
    tell(draft, "panel:cabin", alarm, long_id, NoticeKind.RAISED)
    short = next(iter(draft.notices.values())).short
    assert septets(short) <= ONE_MESSAGE
    assert short.endswith(f"--by {long_id}. No replies.")
