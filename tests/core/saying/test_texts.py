"""Every text that can be sent: it fits, it is safe for its reader, it says how to answer."""

import re
from dataclasses import replace
from itertools import product

import pytest

from relayd.core import conditions as c
from relayd.core.plan import HOUR, MINUTE, Circuits, Kind, Priority, Reach
from relayd.core.saying import letter, sentences
from relayd.core.saying.gsm7 import ONE_MESSAGE, segments, septets
from relayd.core.saying.letter import Desk
from relayd.core.state import (
    Belief,
    Horn,
    HornStanding,
    LooseEnd,
    Mark,
    NoticeKind,
    Process,
    Subject,
    Take,
)
from tests.core.spoken import (
    ASKED,
    KINDS,
    LANGUAGES,
    LEVELS,
    READERS,
    ROWS,
    UNIT,
    UP,
    WALL,
    Case,
    alarm_of,
    cabin,
    cases,
    made,
    now,
    plain,
    plan_for,
    stamp,
    steps_of,
)

ALL = list(cases())
BY_CONDITION = {name: [each for each in ALL if each.condition == name] for name in c.CHARACTERS}
every_condition = pytest.mark.parametrize("condition", c.CHARACTERS)
LONG = "Łódźstraße 12, behind the third building on the left hand side of the old mill 77"
END = {
    "en": "Do not reply to this message: nobody reads it.",
    "es": "No responda a este mensaje: nadie lo lee.",
}
SHORT_END = {"en": "Do not reply here.", "es": "No responda aqui."}


# Every text


@every_condition
def test_the_short_form_is_one_text_message(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        short = plain(case).short
        assert septets(short) <= ONE_MESSAGE, case
        assert segments(short) == 1, case


@every_condition
def test_trade_1_35_both_forms_say_not_to_reply(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        text = plain(case)
        assert text.short.endswith(SHORT_END[case.language]), case
        assert text.long.endswith(END[case.language]), case


@every_condition
def test_trade_1_35_who_is_asked_is_told_how_to_answer(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        text = plain(case)
        asked = case.kind in ASKED
        assert ("relayd ack creek-1.k3f9ab.7 --by anna" in text.long) == asked, case
        assert ("relayd ack --by anna." in text.short) == asked, case


@every_condition
def test_every_text_names_what_it_is_about_and_holds_no_unfilled_name(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        text = plain(case)
        assert "{" not in text.long + text.short + text.title, case
        assert "  " not in text.long, case
        if case.language == "en":
            assert sentences.NAMES[condition] in text.long, case


@every_condition
def test_the_cautions_stand_before_the_first_step(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        lines = plain(case).long.splitlines()
        steps = [place for place, each in enumerate(lines) if re.match(r"\d+\. ", each)]
        cautions = [place for place, each in enumerate(lines) if each.startswith("! ")]
        assert bool(steps) == (case.kind in ASKED), case
        assert max(cautions, default=-1) < min(steps, default=0) or not cautions, case


@pytest.mark.parametrize("reader", ["owner", "electrician"])
@pytest.mark.parametrize("language", LANGUAGES)
@every_condition
def test_long_and_foreign_names_push_nothing_out_of_the_text_message(
    condition: str, language: str, reader: str
) -> None:
    for kind, trusted, again in product(KINDS, (True, False), (True, False)):
        row = ROWS.get(condition, [""])[0]
        case = Case(condition, row, kind, reader, language=language, trusted=trusted, again=again)
        base = plan_for(case, cabin(name=LONG, where=LONG))
        people = {name: replace(each, name=LONG[:80]) for name, each in base.people.items()}
        short = made(case, plan=replace(base, unit_name=LONG, people=people)).short
        assert septets(short) <= ONE_MESSAGE
        assert short.endswith(SHORT_END[language])
        if kind in ASKED:
            assert "relayd ack --by anna." in short


@pytest.mark.parametrize("letters", [80, 120, 200])
def test_a_long_id_pushes_the_last_word_out_of_no_text_message(letters: int) -> None:
    case = Case()
    base, name = plan_for(case), "a" * letters
    people = {**base.people, "anna": replace(base.people["anna"], id=name)}
    short = made(case, plan=replace(base, people=people)).short
    assert septets(short) <= ONE_MESSAGE
    assert short.endswith("Do not reply here.")
    assert (f"relayd ack --by {name}." in short) == (letters < 125)


def test_the_place_is_cut_before_what_must_be_done() -> None:
    short = made(Case(), cabin(name=LONG, where=LONG)).short
    assert short.startswith("High level since")
    assert short.index("..") < short.index("Use no water.")
    assert "Use no water. relayd ack --by anna. Do not reply here." in short


# The order: who, what and where and since when, the level, the reserve, steps, others, answer, phones


def test_a_message_answers_in_the_order_of_the_design() -> None:
    alarm = replace(alarm_of(Case()), told=("ben", "anna", "carla"))
    text = made(Case(), cabin(reserve=3 * HOUR, kind=Case().system), alarm=alarm).long
    order = (
        "you are second",
        "High level since",
        "The water stands at or above the alarm float.",
        "About 2 h left at the declared rate",
        "! Water on the floor",
        "1. Use no water.",
        "Told as well: Carla.",
        "To ring: Ben 555-0102.",
        "relayd ack",
        "Do not reply",
    )
    places = [text.index(each) for each in order]
    assert places == sorted(places)


@pytest.mark.parametrize(
    ("told", "says"),
    [
        (("anna",), "You are first: nobody was told before you."),
        (("anna", "ben"), "You are first, and nobody has taken it."),
        (("ben", "anna"), "Told before you: Ben; nobody has taken it: you are second."),
        (
            ("ben", "carla", "anna"),
            "Told before you: Ben, Carla; nobody has taken it: you are third.",
        ),
        (("gone", "ben", "carla", "anna"), "act, or call those named."),
    ],
)
def test_trade_9_the_first_line_says_who_is_to_act(told: tuple[str, ...], says: str) -> None:
    first = made(Case(), alarm=replace(alarm_of(Case()), told=told)).long.splitlines()[0]
    absent = " If you are not there: ring whoever is, and let them do what follows."
    assert first.removesuffix(absent).endswith(says)
    assert first.endswith(absent)


def test_news_of_an_alarm_that_somebody_has_begins_with_who_has_it() -> None:
    taken = Take("ben", stamp(MINUTE), UP + HOUR, WALL + UP + HOUR)
    case = Case(row="L3", kind=NoticeKind.UPDATE)
    text = made(case, alarm=replace(alarm_of(case), taken=taken)).long
    assert text.startswith("Ben has it until 03:53.\n")
    assert "To ring: Ben 555-0102." in text


@pytest.mark.parametrize(
    ("kind", "begins"),
    [
        (NoticeKind.TAKEN, "Ben has it until"),
        (NoticeKind.STAND_DOWN, "Over: High level, after 1 h 00 min"),
    ],
)
def test_who_need_not_act_is_told_what_happened_first(kind: NoticeKind, begins: str) -> None:
    assert made(Case(kind=kind)).long.startswith(begins)


@pytest.mark.parametrize(
    ("condition", "declared", "says"),
    [
        (c.HIGH_LEVEL, None, "How long the basin holds is not known."),
        (c.HIGH_LEVEL, 3 * HOUR + 29 * MINUTE, "About 2 h left at the declared rate"),
        (c.HIGH_LEVEL, 3 * HOUR + 31 * MINUTE, "About 2 h 30 min left at the declared rate"),
        (c.HIGH_LEVEL, 80 * MINUTE, "Less than half an hour is left at the declared rate"),
        (c.HIGH_LEVEL, 30 * MINUTE, "Nothing is left at the declared rate"),
        (c.PUMP_POWER, 90 * MINUTE, "From the alarm float about 1 h 30 min at the declared rate"),
        (c.PUMP_POWER, 20 * MINUTE, "From the alarm float to overflow it is less than half an"),
        (c.HIGH_HIGH_LEVEL, 9 * HOUR, "How long the basin still holds is not known"),
    ],
)
def test_trade_1_43_the_reserve_is_rounded_down_to_half_hours_from_an_hour_ago(
    condition: str, declared: int | None, says: str
) -> None:
    text = made(Case(condition, ""), cabin(reserve=declared)).long
    assert says in text


def test_trade_1_41_full_is_the_lowest_opening() -> None:
    text = made(Case(), cabin(reserve=9 * HOUR)).long
    assert "full is the lid or the lowest drain of the building" in text


def test_who_else_was_told_and_has_seen_it_is_named() -> None:
    case = Case(kind=NoticeKind.TAKEN)
    text = plain(case).long
    assert "Told as well" not in text, "the first line says that Ben has it"
    assert "Seen by: Ben." in text
    three = replace(alarm_of(case), told=("ben", "anna", "carla"))
    assert "Told as well: Carla." in made(case, alarm=three).long
    assert "Told as well" not in made(Case()).long, "the first line has named Ben already"
    alone = replace(alarm_of(Case()), told=("anna",), seen={})
    assert "Told as well" not in made(Case(), alarm=alone).long


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("condition", [*LEVELS, c.ALARM_POWER, c.PUMP_POWER, c.TANK_LID])
@pytest.mark.parametrize("kind", Kind, ids=lambda each: each.value)
def test_what_to_do_stands_within_the_first_lines_also_beside_a_loose_end(
    condition: str, language: str, kind: Kind
) -> None:
    case = Case(condition, ROWS.get(condition, [""])[0], language=language, system=kind)
    loose = {"in-off": LooseEnd("in-off", stamp(HOUR), "ben", "part on order")}
    alone, beside = (
        made(case, cabin(reserve=9 * HOUR, kind=kind), owner=each).long.splitlines()
        for each in (owner_with(), owner_with(loose=loose))
    )
    begins = [
        next(n for n, each in enumerate(a, 1) if each.startswith("1. ")) for a in (alone, beside)
    ]
    assert begins[0] <= 8
    assert begins[1] <= 9
    assert any(each.startswith("3. ") for each in alone[:12])


@pytest.mark.untraced
def test_no_line_of_a_message_is_there_twice() -> None:
    for case in ALL:
        lines = plain(case).long.splitlines()
        assert len(set(lines)) == len(lines), case


def test_where_commands_from_afar_are_off_none_is_offered() -> None:
    base = plan_for(Case())
    assert "MQTT" in made(Case()).long
    assert "MQTT" not in made(Case(), plan=replace(base, remote_commands=False)).long


# What stands open at that panel


def owner_with(**changes: object) -> Subject:
    made_ = Subject("panel:cabin", belief=Belief(row="L1"))
    return replace(made_, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", KINDS, ids=lambda each: each.value)
def test_loose_ends_and_the_horn_are_in_every_notice_of_that_panel(kind: NoticeKind) -> None:
    horn = Horn(HornStanding.DISCONNECTED, stamp(2 * HOUR), "ben")
    loose = {"in-off": LooseEnd("in-off", stamp(2 * HOUR), "carla", "part on order")}
    text = made(Case(kind=kind), owner=owner_with(horn=horn, loose=loose)).long
    assert "(Ben): the next alarm will be silent at the panel." in text
    assert "Still to be undone: the switch of the pump stands in Off" in text
    assert re.search(
        r"in Off: it never starts by itself \(since .*, Carla: part on order\)\.", text
    )


@pytest.mark.parametrize(
    ("horn", "says"),
    [
        (Horn(HornStanding.SILENT, stamp(HOUR)), "The horn was silent at an alarm (since"),
        (Horn(HornStanding.DISCONNECTED), "The horn's wire is disconnected time not known:"),
    ],
)
def test_the_horn_s_standing_is_said_as_it_is_known(horn: Horn, says: str) -> None:
    assert says in made(Case(), owner=owner_with(horn=horn)).long


@pytest.mark.parametrize(
    ("horn", "says"),
    [
        (Horn(), "Whether the panel's horn sounds is not known."),
        (Horn(HornStanding.PROVED, proved=stamp(HOUR)), "was last heard to sound: since"),
    ],
)
def test_what_is_known_of_the_horn_and_presses_nobody_waits_for_the_end(
    horn: Horn, says: str
) -> None:
    owner = owner_with(horn=horn)
    assert says in made(Case(kind=NoticeKind.STAND_DOWN), owner=owner).long
    assert says not in made(Case(), owner=owner).long


def test_a_disconnected_horn_is_said_once() -> None:
    horn = Horn(HornStanding.DISCONNECTED, stamp(HOUR), "ben")
    loose = {"horn-wire": LooseEnd("horn-wire", stamp(HOUR), "ben")}
    text = made(Case(), owner=owner_with(horn=horn, loose=loose)).long
    assert text.count("the next alarm will be silent at the panel") == 1


def test_a_loose_end_that_was_put_off_says_until_when_and_why() -> None:
    mark = Mark("ben", stamp(HOUR), UP + HOUR, WALL + UP + HOUR, "part on order")
    loose = {"tank-lid": LooseEnd("tank-lid", stamp(HOUR), put_off=mark)}
    text = made(Case(), owner=owner_with(loose=loose)).long
    assert re.search(r"the tank's lid is open \(.*\); put off until .* \(part on order\)\.", text)


def test_a_time_to_which_a_loose_end_was_put_off_is_not_said_when_it_is_over() -> None:
    mark = Mark("ben", stamp(2 * HOUR), UP - MINUTE, WALL + UP - MINUTE, "part on order")
    loose = {"tank-lid": LooseEnd("tank-lid", stamp(HOUR), put_off=mark)}
    assert "put off" not in made(Case(), owner=owner_with(loose=loose)).long


def test_whether_a_breaker_that_somebody_used_is_on_again_is_asked_not_claimed() -> None:
    loose = {"alarm-breaker": LooseEnd("alarm-breaker", stamp(HOUR), "ben", "asked")}
    text = made(Case(), owner=owner_with(loose=loose)).long
    assert "whether the alarm circuit is on again is not known: is its lamp lit? (look)" in text


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"shelved": "x"}, "Ben has paused this alarm until"),
        ({"out": "x"}, "Ben has taken this alarm out of service until"),
        ({"suppressed": "the pump's power is lost"}, "Not shown by itself: the pump's power"),
        ({"chattering": UP}, "It comes and goes: repeats are recorded and not told each time."),
    ],
    ids=["paused", "out of service", "suppressed", "chattering"],
)
def test_what_keeps_an_alarm_quiet_is_said(changes: dict[str, object], says: str) -> None:
    mark = Mark("ben", stamp(HOUR), UP + HOUR, WALL + UP + HOUR, "tests")
    changes = {key: mark if value == "x" else value for key, value in changes.items()}
    case = Case(kind=NoticeKind.UPDATE)
    alarm = replace(alarm_of(case), **changes)  # type: ignore[arg-type]
    assert says in made(case, alarm=alarm).long


@pytest.mark.parametrize(
    ("key", "why", "says"),
    [
        ("paused:high-level", "paused", "'High level' is paused (since 01:53, Ben)."),
        ("out-of-service", "out of service", "no alarm of it is told (since 01:53, Ben)."),
        ("horn-wire", "the horn's wire is off", "silent at the panel (since 01:53, Ben)."),
        ("horn-wire", "it was loud", "silent at the panel (since 01:53, Ben: it was loud)."),
    ],
)
def test_a_loose_end_says_a_person_s_reason_and_nothing_twice(
    key: str, why: str, says: str
) -> None:
    loose = {key: LooseEnd(key, stamp(HOUR), "ben", why)}
    assert says in made(Case(), owner=owner_with(loose=loose)).long


def test_the_diagnosis_s_reasons_are_said_in_the_reader_s_language() -> None:
    case = Case(kind=NoticeKind.UPDATE, language="es")
    alarm = replace(alarm_of(case), suppressed="the alarm circuit is dead")
    assert "No se muestra por sí sola: el circuito de alarma está sin corriente." in (
        made(case, alarm=alarm).long
    )


def test_a_panel_out_of_service_is_said_with_its_reason() -> None:
    mark = Mark("ben", stamp(HOUR), UP + HOUR, WALL + UP + HOUR, "new pump")
    text = made(Case(), owner=owner_with(out=mark)).long
    assert re.search(r"Ben has taken the whole panel out of service until .*\. \(new pump\)", text)


# What is said


@pytest.mark.parametrize("row", sentences.LEVEL_ROWS)
def test_a_high_level_is_told_in_the_words_of_its_row(row: str) -> None:
    text = made(Case(row=row)).long
    assert sentences.LEVEL_ROWS[row] in text
    looks = "relayd looked cabin --level normal --by anna"
    assert (looks in text) == (row in ("L3", "L5", "L15", "L18"))


def test_trade_1_2_the_words_of_a_released_contact_are_no_return() -> None:
    text = made(Case(row="L3", kind=NoticeKind.UPDATE)).long
    assert "the level fell OR somebody pressed Silence" in text
    assert "no return to normal until somebody has looked" in text


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
    assert says in made(Case(c.PUMP_POWER, row)).long


@pytest.mark.parametrize("circuits", Circuits, ids=lambda each: each.value)
def test_a_shared_circuit_is_said_to_take_the_alarm_with_it(circuits: Circuits) -> None:
    text = made(Case(c.PUMP_POWER, "P8"), cabin(circuits=circuits)).long
    assert ("take the panel's alarm as dead" in text) == (circuits is Circuits.SHARED)


def test_the_loss_of_the_circuit_says_what_is_known_of_the_level() -> None:
    assert sentences.LEVEL_ROWS["L4"] in made(Case(c.ALARM_POWER, "P6")).long


def test_a_stand_down_names_what_still_stands() -> None:
    other = replace(alarm_of(Case(c.SEAL_LEAK, "")), process=Process.ACKED)
    owner = owner_with(alarms={c.SEAL_LEAK: other})
    text = made(Case(kind=NoticeKind.STAND_DOWN), owner=owner).long
    assert "Still open here: Seal leak." in text


def test_a_text_names_the_channel_that_fails() -> None:
    text = made(Case(c.CHANNEL_FAILING, ""))
    for each in (text.title, text.short, text.long):
        assert "channel ben.mail" in each


def test_a_panel_that_is_gone_is_named_by_its_id() -> None:
    case = Case(row=sentences.GONE, kind=NoticeKind.STAND_DOWN)
    text = made(case, plan=replace(plan_for(case), panels={}))
    assert text.title == "No longer watched: High level - Creek, panel cabin"
    assert "does not mean that all is well" in text.long


def test_a_panel_without_a_place_has_none_in_its_texts() -> None:
    assert "Panel cabin.\n" in made(Case(), cabin(where="")).long


def test_an_alarm_that_is_still_there_says_so() -> None:
    assert "Still there: High level since" in made(Case(again=True)).long


def test_an_alarm_without_a_beginning_has_none_in_its_text() -> None:
    alarm = replace(alarm_of(Case()), raised=None)
    assert "High level, Panel cabin" in made(Case(), alarm=alarm).long
    over = Case(kind=NoticeKind.STAND_DOWN)
    assert made(over, alarm=replace(alarm_of(over), raised=None)).long.startswith("High level,")


# The site's own texts


def with_own(case: Case, **own: str) -> str:
    plan = replace(
        plan_for(case),
        texts={f"{case.condition}:{case.language}:{form}": text for form, text in own.items()},
    )
    text = made(case, plan=plan)
    return text.short if "short" in own else text.long


def test_a_site_s_own_text_stands_in_place_of_the_built_in_sentence() -> None:
    text = with_own(Case(), long="Tank full at $panel $since, tell $person ($number).")
    assert "Tank full at Panel cabin since" in text
    assert "tell Anna (creek-1.k3f9ab.7)." in text
    assert "The water stands at or above" not in text
    assert "! Water on the floor" in text
    assert steps_of(text)[0] == "Use no water."
    assert "relayd ack creek-1.k3f9ab.7 --by anna" in text


@pytest.mark.parametrize("row", ["L3", "L4", "L5", "L9", "L15"])
def test_a_row_s_doubt_is_said_beside_the_site_s_own_text(row: str) -> None:
    text = with_own(Case(row=row), long="Tank full.")
    assert "Tank full." in text
    assert sentences.LEVEL_ROWS[row] in text


@pytest.mark.parametrize("kind", [NoticeKind.TAKEN, NoticeKind.STAND_DOWN])
def test_a_site_s_own_text_is_not_said_when_it_is_over(kind: NoticeKind) -> None:
    assert "Tank full." not in with_own(Case(kind=kind), long="Tank full.")
    assert "Tank full." not in with_own(Case(kind=kind), short="Tank full.")


def test_a_site_s_own_short_text_is_cut_and_keeps_the_answer() -> None:
    short = with_own(Case(), short="Tank full $since. " + "So call somebody now. " * 9)
    assert short.startswith("Tank full since")
    assert short.endswith(".. relayd ack --by anna. Do not reply here.")
    assert septets(short) <= ONE_MESSAGE


def test_a_site_s_own_text_serves_every_pump() -> None:
    case = Case(f"{c.OVERLOAD}-2", "")
    plan = replace(plan_for(case, cabin(pumps=2)), texts={"overload:en:long": "Pump out."})
    assert "Pump out." in made(case, plan=plan).long


@pytest.mark.parametrize("reader", READERS)
def test_what_is_only_recorded_carries_no_caution(reader: str) -> None:
    case = Case(c.PANEL_DOOR, "", reader=reader)
    assert c.CHARACTERS[c.PANEL_DOOR].priority is Priority.RECORD_ONLY
    assert "! " not in plain(case).long
    told = replace(alarm_of(case), priority=Priority.MEDIUM)
    assert "! Inside the panel are live parts" in made(case, alarm=told).long


def test_every_condition_of_the_unit_has_a_step() -> None:
    for condition in (*UNIT, c.CHANNEL_FAILING):
        assert steps_of(made(Case(condition, "")).long), condition


def test_who_does_not_go_there_is_told_to_ring_whoever_is() -> None:
    line = "If you are not there: ring whoever is, and let them do what follows."
    for reader, absent in (("owner", True), ("helper", False)):
        assert (line in made(Case(reader=reader)).long) is absent
    taken = Take("ben", stamp(MINUTE), UP + HOUR, WALL + UP + HOUR)
    case = Case(kind=NoticeKind.UPDATE)
    assert line not in made(case, alarm=replace(alarm_of(case), taken=taken)).long


def test_the_end_takes_back_what_was_said_of_a_pump_that_ran_in_vain() -> None:
    case = Case(kind=NoticeKind.STAND_DOWN)
    blocked = replace(alarm_of(case), told_notes=("R4", "R8"))
    assert "No longer so: pump runs, not falling." in made(case, alarm=blocked).long
    assert "No longer so" not in plain(case).long


def test_a_switch_in_off_is_turned_back_in_the_short_form_by_whoever_may_reach_it() -> None:
    for condition, notes in ((c.IN_OFF, ()), (c.HIGH_LEVEL, ("R1-off",))):
        for reach, may in ((Reach.OUTSIDE, True), (Reach.UNKNOWN, False)):
            case = Case(condition, "" if condition == c.IN_OFF else "L1", reach=reach)
            text = made(case, alarm=replace(alarm_of(case), notes=notes)).short
            assert ("If nobody is at work there: switch to Auto." in text) is may
            assert "Use no water." in text


def test_since_when_is_since_its_cause_was_there_and_not_since_it_was_raised() -> None:
    case = Case(c.IN_OFF, "")
    early = replace(alarm_of(case), began=stamp(HOUR + 30 * MINUTE))
    assert "since 01:53" in plain(case).long
    assert "since 01:23" in made(case, alarm=early).long


def test_an_outage_tells_what_was_left_undone_at_its_panels() -> None:
    case = Case(c.SITE_OUTAGE, "P11")
    loose = {"horn-wire": LooseEnd("horn-wire", stamp(HOUR), "ben", "a guest")}
    there = Subject("panel:cabin", loose=loose)
    plan = plan_for(case)
    desk = Desk(plan, {"panel:cabin": there}, "unit", plan.people["anna"], now())
    assert letter.elsewhere(desk) == [
        "Panel cabin: still to be undone: the horn's wire is disconnected: the next alarm will be"
        " silent at the panel (since 01:53, Ben: a guest)."
    ]


def test_whoever_may_work_on_it_is_not_told_to_call_somebody_who_may() -> None:
    for reader, told in (("helper", True), ("electrician", False)):
        text = made(Case(c.NO_CURRENT, "", reader=reader)).long
        assert ("Call the service firm." in text) is told
