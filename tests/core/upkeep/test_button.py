"""The button at the unit: recorded and told, and never an acknowledgement by a person."""

from dataclasses import replace

import pytest

from relayd import languages
from relayd.core.events import InputLost
from relayd.core.plan import Input, Means, Plan, Position, Priority, Step
from tests.core import world
from tests.core.world import World

BUTTON = "unit.button"


def plan(**changes: object) -> Plan:
    button = Input(BUTTON, "unit", Means.UNIT_BUTTON, Position.CLOSED, exempt=True)
    return replace(world.plan(), inputs=(button,), **changes)  # type: ignore[arg-type]


def press(at: World, length: float = 0.3) -> World:
    at.move(BUTTON, True)
    at.run(length)
    at.move(BUTTON, False)
    return at.run(1)


def words(at: World) -> list[tuple[str, str]]:
    return [(each.channel, each.body) for each in at.tells() if "button" in each.title]


def test_a_press_is_told_to_those_who_were_told_and_acknowledges_nothing() -> None:
    at = world.high(plan())
    before = at.open_alarm()
    press(at)
    ((channel, body),) = words(at)
    assert channel == "anna.mail"
    assert "Somebody pressed the button at the unit at " in body
    assert "That is no answer: nobody has taken anything by it, and the calls go on." in body
    assert at.open_alarm() == before
    assert [each.body["told"] for each in at.records("button pressed")] == [True]


def test_the_call_list_goes_on_as_if_nobody_had_pressed() -> None:
    pressed, left = world.high(plan()), world.high(plan())
    press(pressed)
    left.run(1.3)
    for each in (pressed, left):
        each.run(600)
    assert [who for _, who, title in pressed.told() if "button" not in title] == [
        who for _, who, _ in left.told()
    ]


def test_presses_soon_after_one_are_recorded_and_told_no_more() -> None:
    at = press(press(world.high(plan())))
    assert [each.body["told"] for each in at.records("button pressed")] == [True, False]
    assert len(words(at)) == 1
    at.run(900)
    press(at)
    assert {channel for channel, _ in words(at)} == {"anna.mail", "ben.mail", "ben.push"}


def test_a_button_that_is_held_is_one_press() -> None:
    at = press(world.high(plan()), 1000)
    assert len(at.records("button pressed")) == 1


def test_where_nothing_stands_it_is_recorded_alone() -> None:
    at = press(World(plan()).start().run(10))
    assert len(at.records("button pressed")) == 1
    assert at.tells() == []


def test_a_button_that_is_down_when_the_unit_begins_or_cannot_be_read_is_no_press() -> None:
    at = World(plan()).start(button=True).run(60)
    assert at.records("button pressed") == []
    lost = World(plan()).start().run(10)
    lost.give(InputLost(BUTTON, "gone"))
    assert lost.run(60).records("button pressed") == []


def test_a_person_who_is_in_the_plan_no_more_is_told_of_no_press() -> None:
    at = world.high(plan())
    others = {"ben": at.plan.people["ben"]}
    lists = {"night": replace(at.plan.call_lists["night"], steps=(Step(0, ("ben",)),))}
    channels = {"ben.mail": "ben", "ben.push": "ben"}
    at.restart(plan=replace(at.plan, people=others, call_lists=lists, channels=channels))
    at.alarm(world.LEVEL)
    press(at.run(30))
    assert {channel for channel, _ in words(at)} <= {"ben.mail", "ben.push"}


def test_without_a_clock_it_names_no_time() -> None:
    at = world.high(plan())
    at.trusted = False
    assert "Somebody has pressed the button at the unit." in words(press(at))[0][1]


def test_it_is_said_in_spanish_as_well() -> None:
    base = plan(languages={"es": languages.catalogue("es")})
    people = {name: replace(each, language="es") for name, each in base.people.items()}
    at = press(world.high(replace(base, people=people)))
    assert any("pulsó el botón" in each.body for each in at.tells())


@pytest.mark.parametrize("grave", [Priority.HIGH])
def test_it_is_as_urgent_as_the_gravest_of_what_stands(grave: Priority) -> None:
    at = press(world.high(plan()))
    told = next(each for each in at.tells() if "button" in each.title)
    assert told.priority == grave.value


def test_of_what_has_returned_nobody_is_told_by_a_press() -> None:
    at = world.high(plan())
    at.alarm(world.LEVEL, on=False)
    at.run(120)
    assert at.process("high-level") == "RTNUN"
    assert words(press(at)) == []
