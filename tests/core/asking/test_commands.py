"""What people ask for, and what they are answered: done, or why not and what to do instead."""

from dataclasses import replace

import pytest

from relayd.core.effects import Answer, Record
from relayd.core.events import (
    Acknowledge,
    Act,
    Command,
    Commanded,
    FaultFound,
    InputLost,
    Looked,
)
from relayd.core.plan import HOUR, MINUTE, SECOND
from tests.core.world import LEVEL, WALL, World, circuit_input, plan


def high() -> World:
    """Ten minutes of high level: Anna and Ben have been told."""
    world = World(plan()).start().run(10)
    world.alarm(LEVEL)
    return world.run(600)


def clock(world: World, length: int) -> str:
    """The site's clock that many ns from now."""
    minutes = (world.wall_offset + world.up + length) // MINUTE
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


# Promises


@pytest.mark.parametrize(
    ("within", "length"),
    [
        pytest.param(None, HOUR, id="nothing said: an hour"),
        pytest.param(20 * MINUTE, 20 * MINUTE, id="within 20 min"),
        pytest.param(24 * HOUR, 24 * HOUR, id="within 24 h, the longest"),
        pytest.param(1, 1, id="at once"),
    ],
)
def test_a_promise_within_a_time_holds_that_long(within: int | None, length: int) -> None:
    world = high()
    assert world.ack("ben", within=within).ok
    taken = world.open_alarm().taken
    assert taken is not None
    assert (taken.until - world.up, taken.until_wall - world.now().wall) == (length, length)
    assert world.open_alarm().realarm == world.up + length + 30 * MINUTE


def test_a_promise_until_a_time_of_day_holds_until_then() -> None:
    world = high()
    answer = world.ack("ben", until=world.now().wall + 90 * MINUTE)
    assert answer.say == f"Ben has it until {clock(world, 90 * MINUTE)}; told: Anna"
    assert world.open_alarm().realarm == world.up + 2 * HOUR


def test_without_a_set_clock_a_promise_within_a_time_is_told_as_a_duration() -> None:
    world = World(plan(), trusted=False).start().run(10)
    world.alarm(LEVEL)
    world.run(60)
    assert world.ack("ben", within=45 * MINUTE).say.startswith("Ben has it for 45 min")


@pytest.mark.parametrize("act", [None, Act.SEEN, Act.TAKEN], ids=["standing", "seen", "taken"])
@pytest.mark.parametrize(
    ("until", "within", "say"),
    [
        pytest.param(WALL, None, "that time is over", id="past"),
        pytest.param(None, 0, "that time is over", id="now"),
        pytest.param(None, -MINUTE, "that time is over", id="negative"),
        pytest.param(WALL + 100 * HOUR, None, "too far away: at most 24 h", id="days away"),
        pytest.param(None, 24 * HOUR + 1, "too far away: at most 24 h", id="a moment too far"),
    ],
)
def test_a_promise_that_cannot_be_is_refused_and_changes_nothing(
    until: int | None, within: int | None, say: str, act: Act | None
) -> None:
    world = high()
    before = world.state.subjects
    answer = world.ack("ben", act, until=until, within=within)
    assert (answer.ok, answer.code) == (False, "bad-time")
    assert say in answer.say
    assert world.state.subjects is before


def test_a_time_of_day_is_refused_while_the_clock_is_not_set() -> None:
    world = high()
    world.trusted = False
    answer = world.ack("ben", until=world.now().wall + HOUR)
    assert (answer.ok, answer.code) == (False, "bad-time")
    assert "say how long instead" in answer.say


# Standing


@pytest.mark.parametrize(
    ("by", "act", "code"),
    [
        ("anna", None, "seen"),
        ("ben", None, "taken"),
        ("anna", Act.TAKEN, "taken"),
        ("ben", Act.SEEN, "seen"),
    ],
)
def test_without_a_word_who_responds_takes_and_others_have_seen(
    by: str, act: Act | None, code: str
) -> None:
    assert high().ack(by, act).code == code


def test_who_has_seen_it_is_told_that_the_call_list_goes_on() -> None:
    assert "the call list goes on until somebody takes it" in high().ack("anna").say


def test_an_acknowledgement_after_the_return_ends_it_and_promises_nothing() -> None:
    world = high()
    world.alarm(LEVEL, False)
    world.run(120)
    answer = world.ack("ben")
    assert answer.ok
    assert world.process("high-level") == "NORM"
    assert "has it" not in answer.say
    assert "over" in answer.say


# Refusals


REFUSALS: list[tuple[Command, str, str, str]] = [
    (Acknowledge(panel="cabin"), "mallory", "unknown-person", "the plan knows: anna, ben"),
    (Acknowledge(panel="cellar"), "ben", "not-active", "no panel is called 'cellar'"),
    (
        Acknowledge(occurrence="creek-1.k3f9ab.999"),
        "ben",
        "not-active",
        "open now: creek-1.k3f9ab.",
    ),
    (Acknowledge(occurrence="other.k3f9ab.1"), "ben", "not-active", "no open alarm is called"),
    (Acknowledge(), "ben", "not-active", "no panel is called ''"),
    (Looked("cellar", normal=True), "ben", "unknown-panel", "the plan knows: cabin"),
    (Looked("cabin", normal=True), "ben", "still-in-alarm", "still in alarm"),
    (Looked("cabin", normal=True), "eve", "unknown-person", "nobody is called 'eve'"),
]


@pytest.mark.parametrize(
    ("command", "by", "code", "say"), REFUSALS, ids=[f"{each[2]}-{each[3]}" for each in REFUSALS]
)
def test_a_refused_command_says_why_is_recorded_and_changes_nothing(
    command: Command, by: str, code: str, say: str
) -> None:
    world = high()
    before = world.state
    effects = world.give(Commanded("t1", command, by, "console"))
    answer = effects[-1]
    assert isinstance(answer, Answer)
    assert (answer.token, answer.ok, answer.code) == ("t1", False, code)
    assert say in answer.say
    kinds = [each.kind for each in effects if isinstance(each, Record)]
    assert kinds == ["command refused"]
    assert world.state.subjects is before.subjects
    assert world.state.notices is before.notices


def test_nothing_to_acknowledge_says_so() -> None:
    world = World(plan()).start().run(10)
    answer = world.ack("ben")
    assert (answer.ok, answer.code) == (False, "not-active")
    assert "nothing to acknowledge at 'cabin'; open now: none" in answer.say


def test_a_look_at_a_panel_without_a_level_contact_is_refused() -> None:
    world = World(plan(circuit_input())).start()
    answer = world.ask(Looked("cabin", normal=True))
    assert answer.code == "no-level-contact"
    assert answer.say == "Cabin tank has no level contact: nothing would hear it"


# The unit's own alarms, and looking


def test_the_unit_s_own_alarms_are_acknowledged_by_its_name() -> None:
    world = World(plan()).start()
    world.give(FaultFound("contacts", "ValueError: no"))
    assert world.process("fault-in-relayd", "unit") == "UNACK"
    assert world.ask(Acknowledge(panel="creek-1")).ok
    # A fault has no contact that goes back: answered, it returns after its off-delay.
    assert world.process("fault-in-relayd", "unit") == "ACKED"
    world.run(3600)
    assert world.process("fault-in-relayd", "unit") == "NORM"


def test_a_panel_with_the_unit_s_name_is_the_panel() -> None:
    base = plan()
    world = World(replace(base, unit="cabin")).start().run(10)
    world.give(FaultFound("contacts", "ValueError: no"))
    world.alarm(LEVEL)
    world.run(60)
    world.ack("ben")
    assert world.process("high-level") == "ACKED"
    assert world.process("fault-in-relayd", "unit") == "UNACK"


@pytest.mark.parametrize("normal", [True, False], ids=["below the float", "high"])
def test_what_somebody_saw_is_recorded_with_who_and_how(normal: bool) -> None:
    world = World(plan()).start().run(10)
    answer = world.ask(Looked("cabin", normal), by="anna", way="console")
    assert (answer.ok, answer.code) == (True, "noted")
    says = "below the alarm float" if normal else "high"
    assert answer.say == f"Anna says the level is {says}"
    body = world.records("looked")[0].body
    assert body == {"person": "anna", "level": says, "way": "console"}


def test_a_look_at_an_alarm_that_stands_says_when_it_ends() -> None:
    world = high()
    world.give(InputLost(LEVEL, "no such chip"))
    assert "the alarm ends when that has held" in world.ask(Looked("cabin", normal=True)).say
    assert "ends" not in world.ask(Looked("cabin", normal=False)).say


def test_times_are_kept_in_both_clocks() -> None:
    world = high()
    world.ack("ben", within=HOUR)
    taken = world.open_alarm().taken
    assert taken is not None
    assert (taken.person, taken.at.up, taken.at.wall) == ("ben", world.up, WALL + world.up)
    assert taken.until // SECOND * SECOND == taken.until
