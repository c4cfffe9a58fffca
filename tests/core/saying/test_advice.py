"""What people are told to do first: by kind of system, by where a switch is, by who reads."""

import re
from dataclasses import replace

import pytest

from relayd.core import conditions as c
from relayd.core.plan import HOUR, Kind, Means, Reach
from relayd.core.saying import advice, cautions, first_steps, hand
from relayd.core.state import Alarm, Horn, HornStanding, LooseEnd, NoticeKind, Process, Subject
from tests.core.build import contact
from tests.core.spoken import (
    READERS,
    Case,
    alarm_of,
    cabin,
    cases,
    made,
    plain,
    plan_for,
    stamp,
    steps_of,
)

ENGLISH = [each for each in cases() if each.language == "en"]
BY_CONDITION = {name: [each for each in ENGLISH if each.condition == name] for name in c.CHARACTERS}
every_condition = pytest.mark.parametrize("condition", c.CHARACTERS)
TURNS = re.compile(r"turn the switch of .* to Hand", re.I)
BY_HAND = {Kind.SEWAGE_EJECTOR, Kind.LIFT_STATION, Kind.EFFLUENT_DEMAND, Kind.SUMP}
"""The kinds whose pump may be run by hand at all; common practice, no source."""
CAUTIONS = (
    "Water on the floor near outlets or the panel: do not step in; have the power cut from outside.",
    "Do not open or stand on the tank's lid; keep children away: the gas kills, also those who go"
    " in to help.",
    "Sewage on the floor: nobody barefoot.",
    "A breaker that tripped is reset once; if it trips again, leave it off and say so.",
)
"""Trade 1.29, word for word."""
WATER = (
    *(c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM, c.NOT_FALLING, c.KEEPS_REACHING),
    *(c.ALARM_POWER, c.CONTROL_POWER, c.PUMP_POWER, c.ALARM_LEFT_OFF, c.SITE_OUTAGE),
    *(c.NO_CURRENT, c.REDUNDANT_OFF, c.OVERLOAD, c.PHASE_FAULT, c.PUMP_FAULT),
)


# The tables


def test_every_condition_has_steps_and_a_line_of_cautions() -> None:
    assert set(cautions.CAUTIONS) == set(c.CHARACTERS)
    assert set(first_steps.SAID) | set(advice._MADE) == set(c.CHARACTERS)


def test_every_kind_of_system_is_either_run_by_hand_or_not() -> None:
    assert set(hand.HAND) == BY_HAND == hand.MAY_HAND
    assert set(hand.NOT_BY_HAND) == set(Kind) - BY_HAND


# 1.17, 1.29 to 1.33 and 1.44, over every text


@every_condition
def test_trade_1_17_no_text_speaks_of_a_breaker_off_without_saying_which(condition: str) -> None:
    named = re.compile(
        r"ALL breakers that feed this panel|the breaker labelled|what you switched off"
    )
    for case in BY_CONDITION[condition]:
        for line in plain(case).long.splitlines():
            assert not re.search(r"breakers? off", line, re.I), case
            for found in re.finditer(r"\bswitch off\b.*", line):
                assert named.search(found[0]), line


@every_condition
def test_nothing_that_opens_an_enclosure_goes_to_whoever_is_not_qualified(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        if READERS[case.reader].qualified:
            continue
        for line in steps_of(plain(case).long):
            line = line.replace("an open tap", "a tap")
            assert not re.search(r"\b(open|unscrew|remove|take off|take one wire)\b", line, re.I)
            assert "If you are qualified" not in line, line


@every_condition
def test_only_a_qualified_reader_is_told_what_must_be_dead_first(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        lines = [each for each in plain(case).long.splitlines() if "is opened" in each]
        assert READERS[case.reader].qualified or lines == []
        for line in lines:
            assert "ALL breakers that feed this panel" in line
            assert "unit's own wires" in line
            assert "measure that it is dead" in line


def test_trade_1_17_the_breakers_are_named_by_their_labels() -> None:
    labels = {"alarm": "3 ALARM", "pump-1": "5 PUMP"}
    text = made(Case(reader="electrician"), cabin(labels=labels)).long
    assert "ALL breakers that feed this panel (labelled '3 ALARM', '5 PUMP', and any other)" in text
    lost = made(Case(c.PUMP_POWER, "P2"), cabin(labels=labels)).long
    assert "the breaker labelled '5 PUMP' may have tripped" in lost
    assert "the pump's breaker may have tripped" in made(Case(c.PUMP_POWER, "P2")).long


@pytest.mark.parametrize("condition", WATER)
@pytest.mark.parametrize("caution", CAUTIONS)
def test_trade_1_29_a_water_alarm_warns_of_all_that_can_hurt(condition: str, caution: str) -> None:
    for case in BY_CONDITION[condition]:
        if case.kind in (NoticeKind.RAISED, NoticeKind.UPDATE):
            text = plain(case).long
            assert any(caution in each for each in text.splitlines() if each.startswith("! "))
            assert text.index(caution) < text.index("1. ")


@pytest.mark.parametrize("condition", sorted(c.PUMPED - {c.PUMP_POWER}))
def test_trade_1_29_a_pump_can_start_by_itself(condition: str) -> None:
    assert "! The pump can start at any time, by itself or by" in made(Case(condition, "")).long


def test_trade_1_29_an_open_lid_drowns_and_its_gas_kills() -> None:
    text = made(Case(c.TANK_LID, "")).long
    assert "An open lid is a drowning hazard, and the gas kills, also those who go in" in text
    assert "nobody goes in" in text


@pytest.mark.parametrize("condition", [c.HIGH_LEVEL, c.HIGH_HIGH_LEVEL, c.COMMON_ALARM])
@pytest.mark.parametrize("reader", READERS)
def test_trade_1_30_the_horn_s_wire_is_for_the_qualified_and_complete(
    condition: str, reader: str
) -> None:
    panel = cabin(labels={"alarm": "3 ALARM"}, silence=Reach.OUTSIDE)
    steps = steps_of(made(Case(condition, "L1", reader=reader), panel).long)
    wire = [each for each in steps if "one wire off the horn" in each]
    assert any("press Silence, and call" in each for each in steps)
    # While water stands nobody is sent to its wire: with all breakers off no pump would run.
    assert len(wire) == (READERS[reader].qualified and condition == c.COMMON_ALARM)
    for step in wire:
        order = (
            "Only if you are qualified",
            # Work inside a box with two supplies: one breaker off does not make it dead.
            "switch off ALL breakers that feed this panel",
            "the lamp is dark",
            "take one wire off the horn",
            "cap its end: it is live in the next alarm",
            "switch on again what you switched off",
            "lamp lit again (look)",
            "relayd horn-wire cabin off --by anna",
        )
        places = [step.index(each) for each in order]
        assert places == sorted(places)


def test_trade_1_30_without_a_label_all_breakers_are_named() -> None:
    steps = steps_of(made(Case(c.COMMON_ALARM, "L1", reader="electrician")).long)
    assert "switch off ALL breakers that feed this panel" in steps[-1]


def test_trade_1_30_a_wire_that_is_off_is_not_taken_off_again() -> None:
    horn = Horn(HornStanding.DISCONNECTED, stamp(HOUR), "ben")
    case = Case(c.COMMON_ALARM, "L1", reader="electrician")
    text = made(case, owner=Subject("panel:cabin", horn=horn)).long
    assert "one wire off the horn" not in text


@pytest.mark.parametrize(
    ("reach", "says"),
    [
        (Reach.OUTSIDE, "press Silence, and call"),
        (Reach.DEAD_FRONT, "press Silence, and call"),
        (Reach.UNKNOWN, "press Silence if its button is on the outside of the panel, and call"),
        (Reach.LIVE_PARTS, "leave the panel shut, and call"),
        (Reach.NOT_FITTED, "leave the panel shut, and call"),
    ],
)
def test_trade_1_31_silence_is_offered_by_where_it_is(reach: Reach, says: str) -> None:
    assert says in made(Case(), cabin(silence=reach)).long


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("reach", Reach, ids=lambda each: each.value)
@pytest.mark.parametrize("system", Kind, ids=lambda each: each.value)
def test_trade_1_28_and_1_31_hand_goes_by_kind_of_system_and_by_where_the_switch_is(
    system: Kind, reach: Reach, reader: str
) -> None:
    text = made(Case(reader=reader, system=system, reach=reach)).long
    near = {Reach.OUTSIDE, Reach.DEAD_FRONT}
    near |= {Reach.LIVE_PARTS} if READERS[reader].qualified else set()
    assert bool(TURNS.search(text)) == (system in BY_HAND and reach in near)
    if reach is Reach.DEAD_FRONT and system in BY_HAND:
        assert "leave the inner door (dead front) shut" in text


# 1.28, by kind, to the letter


@pytest.mark.parametrize(
    ("system", "says"),
    [
        (Kind.SEWAGE_EJECTOR, "until the lamp is out and 1 min more, 5 min at most; then back to"),
        (Kind.LIFT_STATION, "until the lamp is out and 1 min more, 5 min at most; then back to"),
        (Kind.SEWAGE_EJECTOR, "From outside, lid shut: if within 2 min you do not hear it run"),
        (Kind.SEWAGE_EJECTOR, "if it hums or trips, or if sewage comes up along the line: turn"),
        (Kind.EFFLUENT_DEMAND, "Only if it is about to overflow"),
        (Kind.EFFLUENT_DEMAND, "5 min at most, then back to Auto, and none for 6 h: the soil"),
        (Kind.EFFLUENT_DEMAND, "If the lamp goes out: call in working hours."),
        (
            Kind.EFFLUENT_TIMED,
            "leave it in Auto. The timer catches up in a day or two. Call if the",
        ),
        (Kind.EFFLUENT_TIMED, "at once if drains are slow"),
        (Kind.EFFLUENT_TIMED, "Use as little water as you can."),
        (Kind.TREATMENT, "Read which lamp is lit and call the service provider."),
        (Kind.GRINDER, "Touch nothing: no Hand. Wait 15 min, then call whoever owns the pump"),
        (Kind.GRINDER, "Use no water."),
        (Kind.SUMP, "to Hand for 1 min and stay there; then back to Auto"),
        (
            Kind.SUMP,
            "no water comes out of the discharge, it may be frozen or blocked: turn the switch",
        ),
        (Kind.SUMP, "From outside, lid shut: if within that 1 min you do not hear it run"),
    ],
)
def test_trade_1_28_each_kind_has_its_own_limit(system: Kind, says: str) -> None:
    assert says in made(Case(system=system)).long


@pytest.mark.parametrize("system", sorted(BY_HAND), ids=lambda each: each.value)
def test_trade_1_28_who_may_turn_to_hand_is_told_when_never(system: Kind) -> None:
    text = made(Case(system=system)).long
    for each in ("low level", "over-temperature", "overload was just reset", "frozen", "flooded"):
        assert re.search(rf"Never in Hand: .*{each}", text)


NEVER_BY_HAND = (c.LOW_LEVEL, c.OVER_TEMPERATURE, c.OVERLOAD, c.REDUNDANT_OFF)


@pytest.mark.parametrize("condition", sorted(NEVER_BY_HAND))
def test_trade_1_28_some_conditions_never_get_hand(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        text = plain(case).long
        assert not TURNS.search(text)
        if case.kind is NoticeKind.RAISED:
            assert re.search(r"never in Hand|not turn (the|this pump's) switch to Hand", text)


def active(condition: str) -> Alarm:
    return replace(alarm_of(Case(condition, "")), process=Process.ACKED)


@pytest.mark.parametrize(
    "other",
    [c.LOW_LEVEL, c.REDUNDANT_OFF, c.OVER_TEMPERATURE, c.OVERLOAD, c.PHASE_FAULT, c.PUMP_POWER],
)
def test_trade_1_28_what_stands_beside_a_high_level_forbids_hand(other: str) -> None:
    owner = Subject("panel:cabin", {other: active(other)})
    text = made(Case(), owner=owner).long
    assert not TURNS.search(text)
    assert "Do not turn the switch to Hand." in text


@pytest.mark.parametrize("row", ["L3", "L4", "L5", "L6", "L7", "L8", "L9", "L12", "L15"])
def test_trade_1_28_hand_is_for_water_that_is_known_to_be_high(row: str) -> None:
    assert not TURNS.search(made(Case(row=row)).long)


@pytest.mark.parametrize("note", ["R1", "R1-off", "R1-hand-1", "R2", "R3", "R4"])
def test_a_note_beside_the_high_level_forbids_hand_before_its_own_alarm_comes(note: str) -> None:
    alarm = replace(alarm_of(Case()), notes=(note,))
    assert not TURNS.search(made(Case(), alarm=alarm).long)


def test_a_switch_that_was_left_in_off_is_not_turned_to_hand() -> None:
    owner = Subject("panel:cabin", loose={c.IN_OFF: LooseEnd(c.IN_OFF, stamp(HOUR))})
    assert not TURNS.search(made(Case(), owner=owner).long)


@pytest.mark.parametrize(
    ("bad", "name"),
    [
        ((), "pump 1"),
        (("overload-1",), "pump 2"),
        (("overload-2",), "pump 1"),
        (("seal-leak-1", "overload-2"), ""),
        (("overload",), ""),
    ],
)
def test_trade_1_28_and_1_22_on_a_duplex_one_able_pump_is_named(
    bad: tuple[str, ...], name: str
) -> None:
    owner = Subject("panel:cabin", {each: active(each) for each in bad})
    text = made(Case(), cabin(pumps=2), owner=owner).long
    assert bool(TURNS.search(text)) == bool(name)
    if name:
        assert f"Turn the switch of {name} to Hand" in text
        assert "Leave the other pump's switch as it is." in text
        assert f"turn the switch of {name} to Off" in text


@pytest.mark.parametrize("note", ["R4", "R6-2", "R7"])
def test_where_a_pump_runs_already_nobody_is_sent_to_hand_and_a_wet_line_is_looked_for(
    note: str,
) -> None:
    text = made(Case(), alarm=replace(alarm_of(Case()), notes=(note,))).long
    assert not TURNS.search(text)
    assert "The pump runs already, as its contact tells: leave the switch as it is" in text
    assert "Look from outside whether sewage comes up along the line" in text


INTO_THE_TANK = re.compile(
    r"\b(look|see|peer)\b[^.]*\b(into|in) the (tank|basin|well)|(level|water) (does not )?falls?\b"
)


@pytest.mark.untraced
def test_no_step_needs_a_look_into_the_tank() -> None:
    assert INTO_THE_TANK.search("Turn it to Off if the level does not fall within 2 min.")
    for case in ENGLISH:
        for step in steps_of(plain(case).long):
            found = INTO_THE_TANK.search(step)
            assert not found or "whether the water falls or not" in step, step


def test_trade_1_22_with_one_pump_able_no_high_level_is_foretold() -> None:
    text = made(Case("overload-2", ""), cabin(pumps=2)).long
    assert "The other pump can do the work: leave its switch in Auto." in text
    both = Subject("panel:cabin", {"overload-1": active("overload-1")})
    text = made(Case("overload-2", ""), cabin(pumps=2), owner=both).long
    assert "Use no water." in text


# 1.6, 1.32, 1.33, 1.44, 1.15


def test_trade_1_6_a_common_alarm_gets_only_what_is_safe_for_all_it_carries() -> None:
    carries = (Means.HIGH_LEVEL, Means.LOW_LEVEL, Means.OVERLOAD, Means.AIR_SUPPLY)
    panel = cabin(inputs=(contact(Means.COMMON_ALARM, carries=carries),))
    for row in ("L1", "L10", "L11", "L13"):
        text = made(Case(c.COMMON_ALARM, row), panel).long
        assert "one of high level, low level, overload tripped, air supply lost" in text
        assert steps_of(text)[:3] == [
            "Use no water.",
            "Look at the panel's lamps from outside and say what is lit.",
            "Call and say which lamp is lit: nothing else is safe for all that it may mean.",
        ]
        assert not TURNS.search(text)


@every_condition
@pytest.mark.parametrize("declared", [None, 5 * HOUR])
def test_trade_1_32_what_ends_in_off_says_no_water_and_gives_the_reserve(
    condition: str, declared: int | None
) -> None:
    for reader in READERS:
        case = Case(condition, "L1", reader=reader)
        for step in steps_of(made(case, cabin(reserve=declared)).long):
            if re.search(r"\bto Off\b|turn it to Off", step):
                assert "In Off the pump never starts by itself again." in step
                reserve = r"\(declared\)|overflow" if declared else "not known"
                assert re.search(reserve, step), step
                said = plain(case).long
                assert re.search(r"use no water", said, re.I)


@pytest.mark.untraced
def test_trade_1_33_only_the_qualified_inspect_and_nobody_cleans() -> None:
    for condition in (c.CONTRADICTION, c.HORN_SILENT, c.WIRING_FAULT, c.SEAL_LEAK):
        for reader, person in READERS.items():
            text = made(Case(condition, "", reader=reader)).long
            looks = "look, photograph, touch nothing; no compressed air"
            assert (looks in text) == person.qualified
    for case in ENGLISH:
        assert not re.search(r"\b(clean|vacuum)\b", plain(case).long), case


@every_condition
def test_trade_1_44_nobody_is_asked_to_lift_a_float(condition: str) -> None:
    for case in BY_CONDITION[condition]:
        text = plain(case).long
        assert not re.search(r"\b(lift|raise|pull)\b", text, re.I), case


@pytest.mark.parametrize("condition", [c.ALARM_POWER, c.CONTROL_POWER, c.PUMP_POWER, c.SITE_OUTAGE])
def test_trade_1_15_no_panel_is_fed_by_a_cord(condition: str) -> None:
    assert "Never feed a panel by a cord." in made(Case(condition, "P2")).long


# By reach, beside Hand


@pytest.mark.parametrize(
    ("condition", "near", "far"),
    [
        (c.IN_HAND, "turn the switch of the pump back to Auto", "Leave the panel shut and call."),
        (c.IN_OFF, "turn the switch of the pump back to Auto", "Leave the panel shut and call."),
        (c.UNCALLED, "stands in Hand: back to Auto", "Leave the panel shut and call: the pump"),
        (c.NOT_FALLING, "If so: turn the switch of the pump to Off", "Do not turn"),
        (c.SILENCE_LEFT_ON, "put it back to where the horn sounds", "have its silence switch"),
        (c.ALARM_LEFT_OFF, "Only when nobody works there: switch it on", "call somebody who may"),
    ],
)
def test_trade_1_31_a_switch_is_offered_by_where_it_is(condition: str, near: str, far: str) -> None:
    assert near in made(Case(condition, "", reach=Reach.OUTSIDE)).long
    for reach in (Reach.LIVE_PARTS, Reach.UNKNOWN, Reach.NOT_FITTED):
        text = made(Case(condition, "", reach=reach)).long
        assert near not in text
        assert far in text


def test_a_pump_that_is_called_by_number_names_that_breaker() -> None:
    labels = {"pump-2": "7 PUMP B", "control-1": "x"}
    panel = cabin(pumps=2, labels=labels)
    assert "the breaker labelled '7 PUMP B'" in made(Case("pump-power-2", "P3"), panel).long
    assert "the breaker of the control circuit" in made(Case(c.CONTROL_POWER, ""), panel).long


def test_a_blind_unit_of_no_panel_has_its_steps() -> None:
    case = Case(c.BLIND, "", kind=NoticeKind.RAISED)
    plan = replace(plan_for(case), panels={})
    assert "1. Look in on the panel's lamps" in made(case, plan=plan).long
