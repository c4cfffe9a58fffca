"""The horn watch: Trade 4's table and states, the trials, what people declare, and R19."""

from dataclasses import replace
from itertools import product

import pytest

from relayd.core.diagnosis.belief import Seen
from relayd.core.draft import Draft
from relayd.core.events import InputLost, Wire
from relayd.core.plan import HOUR, MINUTE, SECOND, Means, Priority
from relayd.core.state import (
    Alarm,
    Belief,
    Fact,
    Horn,
    HornStanding,
    NoticeKind,
    Process,
)
from relayd.core.upkeep import horn
from relayd.core.upkeep.horn_table import ROWS, SAYS, TABLE, Circuit, Moment, Sense
from tests.core.at_panel import (
    CABIN,
    CIRCUIT,
    DRIVEN,
    HEARD,
    LEVEL,
    PARKED,
    A,
    K,
    S,
    V,
    World,
    arrive,
    ends,
    horn_of,
    leave,
    move,
    owner,
    plan,
    settle,
    sounds,
    standing,
    wire,
    wired,
    world,
)
from tests.core.build import contact, panel, plan_of
from tests.core.world import WALL

ON, LOST, NW = Circuit
FRESH, GOING, OVER, NONE = Moment
YES, NO, NOT_WIRED = Sense
PROVED, DISCONNECTED = HornStanding.PROVED, HornStanding.DISCONNECTED
SILENT, NOT_KNOWN = HornStanding.SILENT, HornStanding.NOT_KNOWN


# The table


@pytest.mark.parametrize("key", list(product(Circuit, Moment, Sense, Sense, Sense)), ids=str)
def test_each_combination_has_exactly_one_row(
    key: tuple[Circuit, Moment, Sense, Sense, Sense],
) -> None:
    assert [row.name for row in ROWS if row.takes(key)] == [TABLE[key].name]


def test_each_row_has_its_sentence_and_takes_something() -> None:
    assert [row.name for row in ROWS] == list(SAYS) == [f"H{n}" for n in range(1, len(ROWS) + 1)]
    assert {row.name for row in TABLE.values()} == set(SAYS)


TRADE_4 = [
    ("H1", ON, FRESH, YES, YES, NO, PROVED),
    ("H2", ON, FRESH, YES, NO, YES, DISCONNECTED),
    ("H3", ON, FRESH, YES, NO, NO, SILENT),
    ("H4", ON, FRESH, NO, NO, NO, SILENT),
    ("H5", ON, GOING, NO, NO, NO, None),
    ("H6", ON, OVER, NO, NO, NO, None),
    ("H7", ON, GOING, YES, NO, NO, SILENT),
    ("H8", LOST, FRESH, NO, NO, YES, None),
    ("H8", LOST, NONE, NO, NO, NO, None),
    ("H9", ON, NONE, NOT_WIRED, NOT_WIRED, YES, DISCONNECTED),
    ("H10", ON, NONE, NO, NO, NO, None),
    ("H11", NW, FRESH, NO, NO, NO, NOT_KNOWN),
]
"""Trade 4, verdict by verdict (trade judgement, no published source)."""


@pytest.mark.parametrize(
    ("name", "circuit", "moment", "driven", "heard", "parked", "follows"),
    TRADE_4,
    ids=[f"{row[0]}-{row[1]}-{row[2]}" for row in TRADE_4],
)
def test_trade_4_each_verdict_of_the_trades_own_table(
    name: str,
    circuit: Circuit,
    moment: Moment,
    driven: Sense,
    heard: Sense,
    parked: Sense,
    follows: HornStanding | None,
) -> None:
    row = TABLE[circuit, moment, driven, heard, parked]
    assert (row.name, row.standing) == (name, follows)


@pytest.mark.parametrize(
    ("circuit", "moment", "driven", "parked"),
    list(product((ON, NW), Moment, Sense, (NO, NOT_WIRED))),
)
def test_trade_4_without_a_sound_input_nothing_is_said_to_sound_and_nothing_is_proved(
    circuit: Circuit, moment: Moment, driven: Sense, parked: Sense
) -> None:
    row = TABLE[circuit, moment, driven, NOT_WIRED, parked]
    said = SAYS[row.name]
    assert row.standing is not PROVED
    assert "sounded" not in said
    assert "heard" not in said


@pytest.mark.parametrize(("moment", "parked"), list(product((GOING, OVER), (NO, NOT_WIRED))))
def test_trade_4_without_the_output_silence_after_sound_is_one_or_the_other(
    moment: Moment, parked: Sense
) -> None:
    row = TABLE[ON, moment, NOT_WIRED, NO, parked]
    assert "silenced OR its wire pulled" in SAYS[row.name]
    assert row.standing is NOT_KNOWN


@pytest.mark.parametrize("moment", [FRESH, GOING, OVER])
def test_trade_4_without_both_there_is_declaration_only(moment: Moment) -> None:
    row = TABLE[ON, moment, NOT_WIRED, NOT_WIRED, NO]
    assert row.standing is None
    assert "only what people declare" in SAYS[row.name]


# Trials


def test_a_horn_that_is_driven_and_heard_at_a_fresh_alarm_is_proved_with_its_date() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    assert (standing(at), horn_of(at).row) == (PROVED, "H1")
    proved = horn_of(at).proved
    assert proved is not None
    assert at.up - proved.up < 25 * SECOND


def test_proof_stays_between_alarms() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    move(at, (LEVEL, DRIVEN, HEARD), on=False).run(3600)
    assert (standing(at), horn_of(at).row) == (PROVED, "H10")


def test_trade_4_a_driven_horn_that_nobody_hears_is_silent_at_alarm_and_medium_at_once() -> None:
    at = sounds(world(A, V, S), DRIVEN)
    assert (standing(at), horn_of(at).row) == (SILENT, "H3")
    assert at.open_alarm("horn-silent").priority.value == "medium"
    assert at.process("horn-silent") == "UNACK"


@pytest.mark.parametrize(
    ("inputs", "moved", "row", "stands"),
    [
        ((A, V, S), (), "H4", SILENT),
        ((A, V), (), "H4", SILENT),
        ((A, V), (DRIVEN,), "H12", NOT_KNOWN),
        ((A, S), (HEARD,), "H13", PROVED),
        ((A, S), (), "H14", SILENT),
        ((A, V, S), (HEARD,), "H15", NOT_KNOWN),
        ((A,), (), "H16", NOT_KNOWN),
        ((V, S), (), "H11", NOT_KNOWN),
        ((V, S), (DRIVEN, HEARD), "H1", PROVED),
        ((S,), (), "H21", NOT_KNOWN),
        ((A, V, S, K), (DRIVEN, PARKED), "H2", DISCONNECTED),
        ((A, V, S, K), (DRIVEN, HEARD, PARKED), "H17", NOT_KNOWN),
        ((A, V, S, K), (DRIVEN, HEARD), "H1", PROVED),
    ],
    ids=str,
)
def test_what_is_wired_decides_what_can_be_told_at_a_fresh_alarm(
    inputs: tuple[Means, ...], moved: tuple[str, ...], row: str, stands: HornStanding
) -> None:
    at = sounds(world(*inputs), *moved)
    assert (horn_of(at).row, standing(at)) == (row, stands)


def test_a_sound_counts_only_where_it_was_quiet_for_ten_seconds_before() -> None:
    at = world(A, V, S)
    at.alarm(HEARD)
    at.run(5)
    at.alarm(HEARD, False)
    at.run(5)
    sounds(at, DRIVEN, HEARD)
    assert standing(at) is SILENT, (
        "thunder before the alarm and the horn: nobody can tell them apart"
    )


def test_a_sound_that_went_on_before_the_alarm_proves_nothing() -> None:
    at = world(A, S)
    at.alarm(HEARD)
    at.run(120)
    sounds(at)
    assert standing(at) is SILENT


def test_a_sound_that_was_there_when_relayd_began_proves_nothing() -> None:
    at = World(world(A, S).plan).start(horn_heard=True).run(0.1)
    at.alarm(LEVEL)
    at.run(30)
    assert standing(at) is not PROVED


def test_a_horn_silenced_within_the_on_delay_was_heard_all_the_same() -> None:
    at = world(A, V, S)
    move(at, (LEVEL, DRIVEN, HEARD)).run(5)
    move(at, (DRIVEN, HEARD), on=False).run(40)
    assert standing(at) is PROVED
    assert horn_of(at).row == "H5"


def test_a_blip_of_the_output_is_not_driven() -> None:
    at = world(A, V, S)
    move(at, (LEVEL, DRIVEN)).run(1)
    move(at, (DRIVEN,), on=False).run(40)
    assert horn_of(at).row == "H4"


def test_a_contact_that_was_found_in_alarm_is_no_fresh_alarm() -> None:
    at = World(world(A, V, S).plan).start(high_level=True).run(60)
    assert at.process("high-level") == "UNACK"
    assert (standing(at), horn_of(at).row) == (NOT_KNOWN, "H10"), "silenced hours ago, perhaps"


def test_a_restart_ends_a_trial_without_a_verdict() -> None:
    at = world(A, V, S)
    move(at, (LEVEL, DRIVEN, HEARD)).run(12)
    at.restart(5, high_level=True, horn_driven=True, horn_heard=True, alarm_power=True).run(60)
    assert standing(at) in (PROVED, NOT_KNOWN)
    assert at.process("horn-silent") == "NORM"


def test_an_upper_float_alone_begins_a_trial_too() -> None:
    made = panel("cabin", wired(Means.HIGH_HIGH_LEVEL), wired(S))
    at = World(plan_of(made)).start().run(10)
    draft = Draft(at.plan, at.state, at.now())
    alarm = Alarm("high-high-level", Priority.HIGH, Process.UNACK, raised=draft.stamp)
    draft.put(replace(draft.subject(CABIN), alarms={alarm.condition: alarm}))
    seen = {"cabin.high-high-level": Seen(Fact.ALARM, at.up - SECOND, at.up)}
    horn.findings(draft, CABIN, made, seen)
    assert draft.subject(CABIN).horn.watch == at.up - made.inputs[0].on_delay, "no edge is known"
    told = Belief(alarm_edge=at.up - SECOND)
    owner_ = replace(draft.subject(CABIN), horn=Horn(), beliefs={alarm.condition: told})
    draft.put(owner_)
    horn.findings(draft, CABIN, made, seen)
    assert draft.subject(CABIN).horn.watch == at.up - SECOND


def test_a_blind_second_alarm_of_the_same_water_begins_no_trial_of_its_own() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    move(at, (DRIVEN, HEARD), on=False).run(60)
    before = horn_of(at).proved
    draft = Draft(at.plan, at.state, at.now())
    second = Alarm("common-alarm", Priority.HIGH, Process.UNACK, raised=draft.stamp)
    draft.put_alarm(CABIN, second)
    at.state, _ = draft.finished()
    at.run(120)
    assert (standing(at), horn_of(at).proved) == (PROVED, before)


# Silence


def test_trade_4_a_horn_that_was_driven_and_stops_was_silenced() -> None:
    at = sounds(world(A, V, S, silence_time=30 * MINUTE), DRIVEN, HEARD)
    move(at, (DRIVEN, HEARD), on=False).run(60)
    assert (standing(at), horn_of(at).row) == (PROVED, "H5")
    assert at.process("silence-left-on") == "NORM"


def test_trade_4_silence_that_does_not_end_is_a_switch_left_in_silence() -> None:
    at = sounds(world(A, V, S, silence_time=30 * MINUTE), DRIVEN, HEARD)
    at.run(60)
    silenced = at.up
    move(at, (DRIVEN, HEARD), on=False)
    at.run_to(silenced + 37 * MINUTE)
    assert at.process("silence-left-on") == "NORM"
    at.run_to(silenced + 38 * MINUTE)
    assert (horn_of(at).row, at.process("silence-left-on")) == ("H6", "UNACK")
    assert "silence-switch" in ends(at)


def test_a_switch_left_in_silence_is_left_there_when_the_level_falls() -> None:
    at = sounds(world(A, V, silence_time=MINUTE), DRIVEN)
    move(at, (DRIVEN,), on=False).run(300)
    move(at, (LEVEL,), on=False).run(3600)
    assert at.process("silence-left-on") == "UNACK"
    assert settle(at, "silence-switch") is None
    at.run(1)
    assert at.process("silence-left-on") != "UNACK"
    assert "silence-switch" not in ends(at)


def test_a_horn_driven_again_shows_that_the_switch_was_put_back() -> None:
    at = sounds(world(A, V, silence_time=MINUTE), DRIVEN)
    move(at, (DRIVEN,), on=False).run(300)
    move(at, (DRIVEN,)).run(30)
    assert "silence-switch" not in ends(at)


def test_without_a_silence_time_nobody_is_said_to_have_left_it_on() -> None:
    at = sounds(world(A, V), DRIVEN)
    move(at, (DRIVEN,), on=False).run(6 * 3600)
    assert horn_of(at).row == "H5"
    assert at.process("silence-left-on") == "NORM"


def test_trade_4_driven_again_after_silence_and_not_heard_is_silent_at_alarm() -> None:
    at = sounds(world(A, V, S, silence_time=30 * MINUTE), DRIVEN, HEARD)
    move(at, (DRIVEN, HEARD), on=False).run(20 * 60)
    move(at, (DRIVEN,)).run(20)
    assert (standing(at), horn_of(at).row) == (SILENT, "H7")


def test_driven_again_after_silence_and_heard_is_proved_again() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    move(at, (DRIVEN, HEARD), on=False).run(20 * 60)
    move(at, (DRIVEN, HEARD)).run(20)
    assert (standing(at), horn_of(at).row) == (PROVED, "H18")


def test_trade_4_without_the_output_a_horn_that_stops_is_not_known() -> None:
    at = sounds(world(A, S), HEARD)
    move(at, (HEARD,), on=False).run(60)
    assert (standing(at), horn_of(at).row) == (NOT_KNOWN, "H19")


def test_a_horn_that_stops_because_the_level_fell_was_neither_silenced_nor_pulled() -> None:
    at = sounds(world(A, S), HEARD)
    move(at, (LEVEL, HEARD), on=False).run(3600)
    assert (standing(at), horn_of(at).row) == (PROVED, "H10")


# Power


def test_trade_4_an_unpowered_horn_is_no_finding() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    move(at, (CIRCUIT, DRIVEN, HEARD, LEVEL))
    move(at, (DRIVEN, HEARD), on=False).run(600)
    assert (standing(at), horn_of(at).row) == (PROVED, "H8")


def test_a_wire_pulled_with_the_circuit_off_shows_when_it_is_on_again() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    at.alarm(CIRCUIT)
    move(at, (DRIVEN, HEARD), on=False).run(120)
    at.alarm(CIRCUIT, False)
    move(at, (DRIVEN,)).run(30)
    assert (standing(at), horn_of(at).row) == (SILENT, "H7")


def test_a_circuit_that_is_on_again_without_a_driven_horn_tells_nothing() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    at.alarm(CIRCUIT)
    move(at, (DRIVEN, HEARD), on=False).run(120)
    at.alarm(CIRCUIT, False)
    at.run(300)
    assert (standing(at), horn_of(at).row) == (PROVED, "H10")


def test_an_output_that_is_driven_without_its_circuit_is_a_doubtful_sense() -> None:
    at = world(A, V)
    move(at, (CIRCUIT, DRIVEN)).run(60)
    assert horn_of(at).row == "H24"


# Test


def test_pressing_test_with_output_and_sound_wired_proves_the_horn() -> None:
    at = world(A, V, S)
    move(at, (DRIVEN, HEARD)).run(20)
    assert (standing(at), horn_of(at).row) == (PROVED, "H18")


def test_pressing_test_and_hearing_nothing_is_silent() -> None:
    at = world(A, V, S)
    move(at, (DRIVEN,)).run(20)
    assert (standing(at), horn_of(at).row) == (SILENT, "H22")


def test_a_wired_test_button_begins_a_trial_of_its_own() -> None:
    at = world(A, S, Means.TEST_PRESSED)
    move(at, ("cabin.test-pressed", HEARD)).run(20)
    assert (standing(at), horn_of(at).reached) == (PROVED, "H13")
    move(at, ("cabin.test-pressed", HEARD), on=False).run(60)
    assert standing(at) is PROVED


def test_a_test_during_an_alarm_begins_no_second_trial() -> None:
    at = sounds(world(A, S, Means.TEST_PRESSED), HEARD)
    move(at, ("cabin.test-pressed",)).run(60)
    assert standing(at) is PROVED


# Declared


def test_a_wire_declared_off_is_disconnected_with_name_and_loose_end() -> None:
    at = world(A)
    assert wire(at, Wire.OFF, why="too loud") is None
    horn = horn_of(at)
    assert (horn.standing, horn.by, horn.why) == (DISCONNECTED, "ben", "too loud")
    assert (ends(at)["horn-wire"].by, ends(at)["horn-wire"].why) == ("ben", "too loud")
    assert at.records("horn wire")[0].body["wire"] == "off"


def test_trade_4_a_wire_said_to_be_back_is_not_known_until_proved_and_says_by_which_test() -> None:
    at = world(A, V, S)
    wire(at, Wire.OFF)
    assert wire(at, Wire.BACK) is None
    assert standing(at) is NOT_KNOWN
    assert "press Test" in horn_of(at).why
    assert "contact test, step 5" in horn_of(at).why
    assert not ends(at)
    move(at, (DRIVEN, HEARD)).run(20)
    assert standing(at) is PROVED


def test_what_is_declared_off_is_not_called_silent_at_the_next_alarm() -> None:
    at = world(A, V, S)
    wire(at, Wire.OFF)
    sounds(at, DRIVEN)
    assert (standing(at), horn_of(at).row) == (DISCONNECTED, "H3")
    assert at.process("horn-silent") == "NORM"


def test_a_sound_ends_a_declaration_and_its_loose_end() -> None:
    at = world(A, V, S)
    wire(at, Wire.OFF)
    sounds(at, DRIVEN, HEARD)
    assert standing(at) is PROVED
    assert not ends(at)


@pytest.mark.parametrize("what", Wire)
def test_horn_silent_stands_until_declared_or_taken_back(what: Wire) -> None:
    at = sounds(world(A, V, S), DRIVEN)
    move(at, (DRIVEN, LEVEL), on=False).run(24 * 3600)
    assert standing(at) is SILENT
    assert at.open_alarm("horn-silent").row == "H3", "the row that found it, not today's"
    wire(at, what)
    at.run(1)
    assert at.process("horn-silent") != "UNACK"


def test_a_parked_wire_is_off_without_a_name_and_back_when_the_contact_opens() -> None:
    at = world(A, K)
    at.alarm(PARKED)
    at.run(1)
    assert (standing(at), horn_of(at).by, horn_of(at).row) == (DISCONNECTED, "", "H9")
    assert "horn-wire" in ends(at)
    refused = wire(at, Wire.BACK)
    assert refused is not None
    assert refused.code == "still-parked"
    at.alarm(PARKED, False)
    at.run(1)
    assert (standing(at), ends(at)) == (NOT_KNOWN, {})
    assert "press Test" in horn_of(at).why


def test_a_wire_unparked_during_an_alarm_is_not_known() -> None:
    at = world(A, K, V)
    at.alarm(PARKED)
    sounds(at, DRIVEN)
    at.alarm(PARKED, False)
    at.run(60)
    assert standing(at) is NOT_KNOWN


def test_an_input_of_the_parked_wire_that_is_lost_unparks_nothing() -> None:
    at = world(A, K)
    at.alarm(PARKED)
    at.run(1)
    at.give(InputLost(PARKED, "unplugged"))
    at.run(60)
    assert standing(at) is DISCONNECTED


def test_trade_1_30_ten_minutes_after_off_who_did_it_is_asked_for_the_alarm_circuit() -> None:
    at = world()
    wire(at, Wire.OFF)
    at.run(9 * 60)
    assert not at.notices(NoticeKind.QUESTION)
    at.run(61)
    assert [each.person for each in at.notices(NoticeKind.QUESTION)] == ["ben"]
    assert ends(at)["alarm-breaker"].by == "ben"
    at.run(2 * 3600)
    assert len(at.notices(NoticeKind.QUESTION)) == 1
    assert settle(at, "alarm-breaker") is None
    assert set(ends(at)) == {"horn-wire"}


def test_trade_1_30_nobody_is_asked_where_the_circuit_is_seen_or_the_wire_is_back() -> None:
    seen, back = world(A), world()
    wire(seen, Wire.OFF)
    wire(back, Wire.OFF)
    wire(back, Wire.BACK)
    for at in (seen, back):
        at.run(3600)
        assert not at.notices(NoticeKind.QUESTION)


def test_trade_1_30_who_is_no_longer_in_the_plan_is_not_asked() -> None:
    at = world()
    wire(at, Wire.OFF, by="dora")
    at.run(601)
    assert "alarm-breaker" in ends(at)
    assert not at.notices(NoticeKind.QUESTION)


# R19


def breaker(at: World, seconds: float, still_high: bool = True) -> World:
    """The alarm breaker is off for so long: the relay of the level contact drops with it."""
    at.alarm(CIRCUIT)
    at.alarm(LEVEL, False)
    at.run(seconds)
    at.alarm(CIRCUIT, False)
    if still_high:
        at.run(2)
        at.alarm(LEVEL)
    return at


NIGHT = WALL - 6 * HOUR
"""The worlds of these tests begin at eight in the morning; so it is two at night."""


def asked(at: World) -> list[str]:
    return [each.person for each in at.notices(NoticeKind.QUESTION)]


@pytest.mark.parametrize(
    ("seconds", "is_asked"),
    [(14, False), (16, True), (300, True), (899, True), (901, False)],
    ids=str,
)
def test_r19_a_circuit_off_for_15_s_to_15_min_of_an_alarm_is_asked_about(
    seconds: int, is_asked: bool
) -> None:
    at = sounds(world(A)).run(300)
    breaker(at, seconds).run(90)
    assert asked(at) == (["anna"] if seconds < 180 else ["anna", "ben"]) * is_asked


def test_r19_at_night_only_who_responds_or_has_it_is_asked_and_the_others_by_day() -> None:
    at = World(world(A).plan, wall_offset=NIGHT).start().run(10)
    sounds(at).run(480)
    breaker(at, 120).run(90)
    assert asked(at) == ["ben"]
    (record,) = at.records("asked")
    assert record.body["later"] == ["anna"]
    at.run(8 * 3600)
    assert asked(at) == ["ben", "anna"]


def test_r19_who_sleeps_is_not_asked_any_more_once_somebody_has_answered() -> None:
    at = World(world(A).plan, wall_offset=NIGHT).start().run(10)
    sounds(at).run(480)
    breaker(at, 120).run(90)
    wire(at, Wire.BACK)
    at.run(9 * 3600)
    assert asked(at) == ["ben"]


def test_r19_is_asked_once_per_occurrence() -> None:
    at = sounds(world(A))
    breaker(at, 60).run(300)
    breaker(at, 60).run(300)
    assert [each.body["persons"] for each in at.records("asked")] == [["anna"], ["ben"]]
    at.alarm(LEVEL, False)
    at.run(300)
    sounds(at)
    breaker(at, 60).run(300)
    assert len(at.records("asked")) == 3


def test_r19_nothing_is_asked_where_the_water_fell_meanwhile() -> None:
    at = sounds(world(A))
    breaker(at, 60, still_high=False).run(600)
    assert not asked(at)
    assert at.process("high-level") == "RTNUN"


def test_r19_nothing_is_asked_where_the_wire_is_known_to_be_off() -> None:
    at = sounds(world(A))
    wire(at, Wire.OFF)
    breaker(at, 60).run(600)
    assert not asked(at)


@pytest.mark.parametrize(
    ("what", "stands", "left"),
    [(Wire.OFF, DISCONNECTED, {"horn-wire"}), (Wire.BACK, NOT_KNOWN, set())],
    ids=str,
)
def test_r19_an_answer_ends_the_question(what: Wire, stands: HornStanding, left: set[str]) -> None:
    at = sounds(world(A))
    breaker(at, 60).run(300)
    assert horn_of(at).asked is not None
    wire(at, what)
    assert (standing(at), horn_of(at).asked, set(ends(at))) == (stands, None, left)
    at.run(13 * 3600)
    assert "horn-unknown" not in ends(at)


def test_r19_without_an_answer_in_12_h_the_horn_is_not_known_and_reminded_of() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    breaker(at, 60).run(100)
    question = horn_of(at).asked
    assert question is not None
    assert standing(at) is PROVED
    at.run_to(question.up + 12 * HOUR - SECOND)
    assert standing(at) is PROVED
    at.run(2)
    assert standing(at) is NOT_KNOWN
    assert "nobody answered" in horn_of(at).why
    assert ends(at)["horn-unknown"].due is not None
    at.run(40 * 3600)
    assert at.notices(NoticeKind.REMINDER)
    wire(at, Wire.BACK)
    assert not ends(at)


def test_r19_a_silent_horn_stays_silent_where_nobody_answers() -> None:
    at = sounds(world(A, V, S), DRIVEN)
    breaker(at, 60).run(13 * 3600)
    assert standing(at) is SILENT
    assert "horn-unknown" in ends(at)


def test_r19_a_horn_that_is_heard_again_answers_by_itself() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    at.alarm(CIRCUIT)
    move(at, (DRIVEN, HEARD, LEVEL), on=False).run(60)
    at.alarm(CIRCUIT, False)
    at.run(2)
    at.alarm(LEVEL)
    at.run(20)
    move(at, (DRIVEN, HEARD)).run(30)
    assert (standing(at), horn_of(at).asked) == (PROVED, None)


def test_r19_not_back_in_15_min_is_high_until_it_is_back() -> None:
    at = sounds(world(A))
    at.alarm(CIRCUIT)
    at.alarm(LEVEL, False)
    at.run(14 * 60 + 59)
    assert at.process("alarm-left-off") == "NORM"
    at.run(2)
    assert at.process("alarm-left-off") == "UNACK"
    assert at.open_alarm("alarm-left-off").priority.value == "high"
    assert "alarm-breaker" in ends(at)
    assert at.process("high-level") == "UNACK", "held"
    at.alarm(CIRCUIT, False)
    at.run(120)
    assert at.process("alarm-left-off") == "RTNUN"
    assert "alarm-breaker" not in ends(at)


def test_r19_a_horn_proved_before_a_long_loss_is_not_known_after_it() -> None:
    at = sounds(world(A, V, S), DRIVEN, HEARD)
    breaker(at, 1200).run(60)
    assert standing(at) is NOT_KNOWN


def test_r19_a_loss_without_an_alarm_asks_nothing() -> None:
    at = world(A)
    at.alarm(CIRCUIT)
    at.run(1800)
    assert at.process("alarm-left-off") == "NORM"
    at.alarm(CIRCUIT, False)
    assert not at.run(600).notices(NoticeKind.QUESTION)


def test_r19_an_outage_that_takes_the_units_own_supply_is_nobodys_act() -> None:
    base = plan(A)
    at = World(replace(base, inputs=(contact(Means.UNIT_POWER, panel="unit"),))).start().run(10)
    sounds(at)
    move(at, ("unit.unit-power", CIRCUIT)).run(20 * 60)
    assert at.process("alarm-left-off") == "NORM"
    move(at, ("unit.unit-power", CIRCUIT), on=False).run(600)
    assert not asked(at)


def test_r19_an_outage_that_shows_after_the_circuit_is_nobodys_act_either() -> None:
    base = plan(A)
    at = World(replace(base, inputs=(contact(Means.UNIT_POWER, panel="unit"),))).start().run(10)
    sounds(at)
    at.alarm(CIRCUIT)
    at.run(5)
    at.alarm("unit.unit-power")
    at.run(20 * 60)
    assert at.process("alarm-left-off") == "NORM"


def test_r19_the_visitor_alone_is_asked() -> None:
    at = sounds(world(A))
    arrive(at, by="ben")
    breaker(at, 60).run(60)
    assert asked(at) == ["ben"]
    assert leave(at, "horn-unknown") is not None
    assert owner(at).visit is not None


def test_who_was_asked_as_well_hears_the_answer_of_another() -> None:
    at = sounds(world(A)).run(300)
    breaker(at, 300).run(90)
    assert asked(at) == ["anna", "ben"]
    wire(at, Wire.OFF)
    answers = at.notices(NoticeKind.QUESTION)[2:]
    assert [each.person for each in answers] == ["anna"]
    assert "Ben says that the horn's wire is off" in answers[0].long
    assert "Putting it back is work inside the panel: for somebody qualified" in answers[0].long
    wire(at, Wire.BACK)
    assert len(at.notices(NoticeKind.QUESTION)) == 3, "nothing was asked since"


def test_who_is_called_while_the_question_is_open_is_asked_too() -> None:
    at = sounds(world(A))
    breaker(at, 60).run(90)
    assert asked(at) == ["anna"]
    at.run(480)
    assert asked(at) == ["anna", "ben"]
