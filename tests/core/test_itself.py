"""What the unit senses of itself and of its peers: raised, told, lasting over a start, and over."""

from dataclasses import replace

import pytest

from relayd.core import conditions as c, unit_words
from relayd.core.conditions import base_of, of_unit, peer_of, pump_of
from relayd.core.events import (
    Acknowledge,
    ChannelDown,
    InputLost,
    LevelRead,
    PeerHeard,
    Started,
    UnitSensed,
)
from relayd.core.plan import Plan, Priority
from relayd.core.saying import sentences
from relayd.core.saying.language import Speech
from relayd.core.state import NoticeKind
from relayd.languages import catalogue
from tests.core.world import LEVEL, World, high, plan

UNIT = "unit"
MILL = "unit-silent-mill-2"
NOT_HEARD = "not heard for 15 min"


def watching() -> Plan:
    return replace(plan(), peers={"mill-2": "Mill"}, dead_man=True)


def started(plan_: Plan | None = None) -> World:
    return World(plan_ or watching()).start().run(10)


def test_a_peer_is_a_condition_of_its_own_that_carries_its_name() -> None:
    assert MILL in of_unit(watching())
    assert MILL not in of_unit(plan())
    assert (base_of(MILL), peer_of(MILL), pump_of(MILL)) == ("unit-silent", "mill-2", 0)
    assert peer_of("high-level") == ""
    assert sentences.name(MILL) == "Unit silent (mill-2)"


def test_a_silent_peer_is_medium_and_high_after_an_hour_in_all() -> None:
    """15 min of grace, then 45 min more: common practice, no source."""
    world = started()
    world.give(PeerHeard("mill-2", NOT_HEARD))
    assert world.open_alarm(MILL, UNIT).priority is Priority.MEDIUM
    world.run(45 * 60 - 1)
    assert world.open_alarm(MILL, UNIT).priority is Priority.MEDIUM
    world.run(2)
    assert world.open_alarm(MILL, UNIT).priority is Priority.HIGH
    world.give(PeerHeard("mill-2"))
    (over,) = [each for each in world.notices(NoticeKind.STAND_DOWN) if each.person == "anna"]
    assert "The other unit is back" in over.long


@pytest.mark.parametrize("priority", [Priority.HIGH, Priority.LOW])
def test_what_is_known_of_a_peer_decides_how_urgent_its_silence_is(priority: Priority) -> None:
    world = started()
    world.give(PeerHeard("mill-2", NOT_HEARD, priority))
    assert world.open_alarm(MILL, UNIT).priority is priority


def test_a_start_of_ones_own_is_no_return_of_a_silent_peer() -> None:
    world = started()
    world.give(PeerHeard("mill-2", NOT_HEARD, Priority.HIGH))
    world.restart(5).run(60)
    assert world.open_alarm(MILL, UNIT).priority is Priority.HIGH
    assert world.process(MILL, UNIT) == "UNACK"
    assert world.notices(NoticeKind.STAND_DOWN) == []
    world.give(PeerHeard("mill-2"))
    assert world.process(MILL, UNIT) == "RTNUN"


def test_what_a_way_out_was_said_to_be_is_judged_anew_at_a_start() -> None:
    world = started()
    world.give(ChannelDown("sender", "exit 1"))
    world.run(30)
    world.restart(5).run(60)
    assert world.process("sender-down", UNIT) == "RTNUN"


def test_a_peer_that_is_no_longer_in_the_plan_is_withdrawn() -> None:
    world = started()
    world.give(PeerHeard("mill-2", NOT_HEARD))
    world.restart(5, plan=plan()).run(60)
    assert MILL not in world.state.subjects[UNIT].alarms
    assert not any(each.startswith(MILL) for each in world.state.subjects[UNIT].said)
    assert [each.body["condition"] for each in world.records("alarm withdrawn")] == [MILL]


SENSED = [
    # condition, after (s), by the catalogue of tests/core/test_conditions.py
    ("unit-battery", 60),
    ("under-voltage", 60),
    ("unit-hot", 60),
    ("unit-disk", 60),
    ("memory-low", 300),
    ("clock-unset", 3600),
    ("loop-slow", 60),
    ("sense-lost", 300),
    ("dead-man-url", 0),
    ("copied-card", 0),
]


@pytest.mark.parametrize(("condition", "after"), SENSED)
def test_what_is_sensed_is_told_when_it_has_lasted_and_is_over_when_it_is_gone(
    condition: str, after: int
) -> None:
    world = started()
    world.give(UnitSensed(condition, "so it is"))
    world.run(after - 1 if after else 0)
    assert world.process(condition, UNIT) == ("NORM" if after else "UNACK")
    world.run(2)
    assert world.process(condition, UNIT) == "UNACK"
    world.run(3 * 86400)
    told = next(each for each in world.notices() if condition in (each.condition, "clock-unset"))
    assert "so it is" in told.long
    world.restart(5).run(60)
    assert world.process(condition, UNIT) == "UNACK"
    world.give(UnitSensed(condition))
    world.run(2 * 3600)
    assert world.process(condition, UNIT) == "RTNUN"


def test_the_list_of_what_is_sensed_is_whole() -> None:
    assert {each for each, _ in SENSED} == {*c.SENSED, c.DEAD_MAN, c.COPIED}


def test_an_empty_battery_is_urgent_and_no_longer_when_it_is_charged() -> None:
    world = started()
    world.give(UnitSensed("unit-battery", "40 percent left"))
    world.run(120)
    assert world.open_alarm("unit-battery", UNIT).priority is Priority.MEDIUM
    world.give(UnitSensed("unit-battery", "15 percent left", Priority.HIGH))
    assert world.open_alarm("unit-battery", UNIT).priority is Priority.HIGH
    assert world.open_alarm("unit-battery", UNIT).detail == "15 percent left"


def test_the_same_is_recorded_once() -> None:
    world = started()
    for _ in range(3):
        world.give(UnitSensed("unit-hot", "83 degrees Celsius"))
    world.give(UnitSensed("unit-hot"))
    world.give(UnitSensed("unit-hot"))
    assert [each.body["why"] for each in world.records("unit judged")] == [
        "83 degrees Celsius",
        "well again",
    ]


@pytest.mark.parametrize("detail", unit_words.DETAILS)
def test_what_the_shell_says_is_said_in_spanish_too(detail: str) -> None:
    values = {"time": "5 min", "percent": 40, "degrees": 83, "size": 60, "code": 503, "what": "x"}
    values |= {"why": "x", "file": "f", "number": 7, "who": "'anna'", "count": 3}
    said = detail.format(**values)
    told = sentences.retold(said, Speech("es", catalogue("es")))
    assert told != said
    assert not told.startswith("{")


# ---- the start ----------------------------------------------------------------------------------


def crashed(world: World, why: str, down: float = 5) -> World:
    world.crash(down, None, None, None)
    world.give(Started(False, why))
    for each in world.plan.panels["cabin"].inputs:
        closed = each.id != LEVEL or bool(world.made and world.process("high-level") != "NORM")
        world.give(LevelRead(each.id, closed, world.up))
    return world.run(2)


@pytest.mark.parametrize("why", unit_words.CAUSES.values())
def test_a_start_that_nobody_wanted_says_why_and_how_the_contacts_stand(why: str) -> None:
    world = crashed(started(plan()), why)
    alarm = world.open_alarm("unwatched", UNIT)
    assert alarm.priority is Priority.LOW
    # At most: from the last step that was worth keeping, ten seconds before.
    assert alarm.detail == f"at most 14 s; {why}"
    world.run(3 * 86400)
    told = next(each for each in world.notices() if each.condition == "unwatched")
    assert f"(at most 14 s; {why})" in told.long
    assert "Cabin tank: The level is below the alarm float" in told.long


def test_a_short_one_wakes_nobody_though_an_alarm_is_open() -> None:
    world = crashed(high(), unit_words.CAUSES["fault"])
    assert world.open_alarm("unwatched", UNIT).priority is Priority.LOW


def test_a_long_one_with_an_open_alarm_is_told_at_once_with_the_contact_as_it_stands() -> None:
    world = crashed(high(), unit_words.CAUSES["power"], down=600)
    (told,) = [each for each in world.notices() if each.condition == "unwatched"]
    assert told.priority is Priority.HIGH
    assert "Cabin tank: The water stands at or above the alarm float." in told.long


def test_contacts_that_cannot_be_read_hold_the_word_back_for_ten_seconds_at_most() -> None:
    world = started(plan())
    world.crash(5, None, None, None)
    world.give(Started(False, unit_words.CAUSES["ended"]))
    world.run(9)
    assert world.process("unwatched", UNIT) == "NORM"
    world.run(3)
    assert world.process("unwatched", UNIT) == "UNACK"


def test_inputs_that_are_lost_are_read_as_far_as_they_can_be() -> None:
    world = started(plan())
    world.crash(5, None, None, None)
    world.give(Started(False, unit_words.CAUSES["ended"]))
    for each in world.plan.panels["cabin"].inputs:
        world.give(InputLost(each.id, "no chip"))
    world.run(1.5)
    assert world.process("unwatched", UNIT) == "UNACK"


ASIDE = "damaged (malformed) and set aside as journal.db.damaged-1, a fresh one was begun"


def answered(world: World) -> None:
    """Ben answers for the damage."""
    number = world.open_alarm(c.JOURNAL_DAMAGED, UNIT).occurrence
    assert world.ask(Acknowledge(occurrence=f"creek-1.k3f9ab.{number}")).ok


def test_a_damaged_journal_is_told_with_all_that_was_found_until_somebody_answers() -> None:
    world = started()
    world.give(UnitSensed(c.JOURNAL_DAMAGED, f"{ASIDE}; its records are in that file alone"))
    assert world.process(c.JOURNAL_DAMAGED, UNIT) == "UNACK"
    told = world.notices(NoticeKind.RAISED)[-1]
    assert "journal.db.damaged-1" in told.long
    assert "copy it" in told.long
    world.give(UnitSensed(c.JOURNAL_DAMAGED, "lost: the counter of ids"))
    detail = world.open_alarm(c.JOURNAL_DAMAGED, UNIT).detail
    assert detail == f"lost: the counter of ids; {ASIDE}; its records are in that file alone"
    world.restart(5).run(3 * 3600)
    assert world.process(c.JOURNAL_DAMAGED, UNIT) == "UNACK", "a start is no answer"
    answered(world)
    assert world.process(c.JOURNAL_DAMAGED, UNIT) == "NORM"
    over = world.notices(NoticeKind.STAND_DOWN)[-1]
    assert "Somebody has answered for it" in over.long
    world.give(UnitSensed(c.JOURNAL_DAMAGED, "lost: the counter of ids"))
    assert world.process(c.JOURNAL_DAMAGED, UNIT) == "UNACK", "what comes later is another one"
    assert world.open_alarm(c.JOURNAL_DAMAGED, UNIT).detail == "lost: the counter of ids"


def test_of_a_journal_that_is_damaged_again_and_again_the_newest_is_said() -> None:
    world = started()
    for n in range(20):
        world.give(UnitSensed(c.JOURNAL_DAMAGED, f"{n}; {n}"))
    said = world.state.subjects[UNIT].said[c.JOURNAL_DAMAGED]
    assert said == "; ".join(str(n) for n in range(19, 11, -1))


def test_what_is_said_of_a_damaged_journal_is_said_in_spanish() -> None:
    spanish = Speech("es", catalogue("es"))
    for text in unit_words.HARMS:
        values = {"why": "x", "file": "f", "what": "w", "number": 7, "who": "'anna'", "count": 3}
        filled = spanish(text).format(**values)
        detail = text.format(**values)
        assert sentences.retold(f"{detail}; {detail}", spanish) == f"{filled}; {filled}"
