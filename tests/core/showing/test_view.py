"""What there is to see: the state in words, and why it is quiet."""

from dataclasses import replace
from typing import cast

import pytest

from relayd.core.events import (
    ChannelDown,
    EdgeSeen,
    FaultFound,
    InputLost,
    Started,
)
from relayd.core.plan import MINUTE, Follows
from relayd.core.saying.sentences import LEVEL_NOW, LEVEL_ROWS
from relayd.core.showing import view
from tests.core.world import CIRCUIT, LEVEL, World, circuit_input, level_input, plan

Json = dict[str, object]


def status(world: World, **more: object) -> Json:
    """The whole state as a program sees it."""
    return view.status(world.plan, world.state, world.now(), **more)  # type: ignore[arg-type]


def unit(world: World, **more: object) -> Json:
    return cast(Json, status(world, **more)["unit"])


def cabin(world: World) -> Json:
    return cast(list[Json], status(world)["panels"])[0]


def alarms(of: Json) -> list[Json]:
    return cast(list[Json], of["alarms"])


def why(world: World) -> list[str]:
    return view.why(world.plan, world.state, "cabin", world.now())


def high(world: World | None = None) -> World:
    world = world or World(plan()).start().run(10)
    world.alarm(LEVEL)
    return world.run(60)


# Status


def test_a_unit_that_has_not_begun_knows_nothing_and_says_so() -> None:
    world = World(plan())
    assert cabin(world)["level"] == "The level is not known yet."
    assert [each["reads"] for each in cast(list[Json], cabin(world)["inputs"])] == ["settling"] * 2
    assert alarms(cabin(world)) == alarms(unit(world)) == []


def test_a_unit_at_rest() -> None:
    world = World(plan()).start().run(10)
    assert unit(world) == {
        "id": "creek-1",
        "name": "Creek",
        "clock": "set",
        "zone": "UTC",
        "journal": "in time",
        "ways": {"sender": "up", "mqtt": "up"},
        "alarms": [],
        "aside": [],
        "inputs": [],
        "away": [],
        "burst": "",
        "loose": [],
    }
    panel = cabin(world)
    assert {panel[key] for key in ("id", "name", "where", "kind", "row")} == {
        "cabin",
        "Cabin tank",
        "behind the shed",
        "effluent-demand",
        "L2",
    }
    level, circuit = cast(list[Json], panel["inputs"])
    assert level == {
        "id": LEVEL,
        "means": "high-level",
        "reads": "open",
        "fact": "normal",
        "lost": "",
        "missed": 0,
    }
    assert (circuit["reads"], circuit["fact"]) == ("closed", "normal")


def test_what_of_the_unit_is_not_well_is_said() -> None:
    world = World(plan(), trusted=False).start()
    world.give(ChannelDown("mqtt", "refused"))
    world.give(ChannelDown("sender", "exit 1"))
    shown = unit(world, journal="slow disk")
    assert (shown["clock"], shown["journal"]) == ("not set", "late: slow disk")
    assert shown["ways"] == {"sender": "down: exit 1", "mqtt": "down: refused"}
    assert unit(world, ways=("sender",))["ways"] == {"sender": "down: exit 1"}


def test_alarms_of_the_unit_and_its_channels_are_shown_with_the_unit() -> None:
    world = World(plan(), deaf={"anna.mail"}).start().run(10)
    world.give(FaultFound("inbox", "dropped 3"))
    world.run(200)
    assert {each["subject"] for each in alarms(unit(world))} == {"unit", "channel:anna.mail"}
    assert alarms(cabin(world)) == []


def test_an_alarm_is_shown_with_all_that_is_known_of_it() -> None:
    world = high()
    shown = alarms(cabin(world))[0]
    assert shown["subject"] == "panel:cabin"
    assert (shown["condition"], shown["name"]) == ("high-level", "High level")
    assert (shown["state"], shown["priority"], shown["row"]) == ("UNACK", "high", "L1")
    assert shown["occurrence"] == f"creek-1.k3f9ab.{world.open_alarm().occurrence}"
    assert shown["text"] == LEVEL_ROWS["L1"]
    assert str(shown["since"]).startswith("since ")
    assert shown["for"] == "59 s", "since the contact moved, not since the alarm was raised"
    assert (shown["told"], shown["seen"], shown["taken"]) == (["Anna"], [], None)
    assert shown["next"] == {"in": "2 min", "who": ["Anna"]}


def test_who_has_it_until_when_is_shown_and_nobody_is_next() -> None:
    world = high()
    world.ack("anna")
    world.ack("ben", within=30 * MINUTE)
    shown = alarms(cabin(world))[0]
    taken = cast(Json, shown["taken"])
    assert taken["by"] == "Ben"
    assert str(taken["until"]).startswith("until ")
    assert shown["seen"] == ["Anna"]
    assert shown["next"] is None


def test_after_the_steps_everybody_is_next() -> None:
    world = high()
    world.run(600)
    assert cast(Json, alarms(cabin(world))[0]["next"])["who"] == ["Anna", "Ben"]


def test_a_taker_whom_the_plan_does_not_know_is_shown_by_id() -> None:
    world = high()
    world.ack("ben")
    world.plan = replace(world.plan, people={"anna": world.plan.people["anna"]})
    taken = cast(Json, alarms(cabin(world))[0]["taken"])
    assert taken["by"] == "ben"


def test_what_returned_and_nobody_acknowledged_stays_to_be_seen() -> None:
    world = high()
    world.alarm(LEVEL, False)
    world.run(100)
    shown = alarms(cabin(world))[0]
    assert shown["state"] == "RTNUN"
    assert shown["text"] == LEVEL_ROWS["L2"]
    world.ack("ben")
    assert alarms(cabin(world)) == []


def test_an_alarm_never_raised_has_no_since() -> None:
    world = high()
    subject = world.state.subjects["panel:cabin"]
    bare = replace(subject.alarms["high-level"], raised=None, began=None, call=None)
    subjects = {
        **world.state.subjects,
        "panel:cabin": replace(subject, alarms={"high-level": bare}),
    }
    world.state = replace(world.state, subjects=subjects)
    shown = alarms(cabin(world))[0]
    assert (shown["since"], shown["for"], shown["next"]) == ("", "", None)


@pytest.mark.parametrize(
    ("events", "reads"),
    [
        (["closed"], "closed"),
        (["open"], "open"),
        (["lost"], "lost"),
    ],
)
def test_an_input_reads(events: list[str], reads: str) -> None:
    world = World(plan()).start().run(10)
    for each in events:
        if each == "lost":
            world.give(InputLost(LEVEL, "no such chip"))
        else:
            world.give(EdgeSeen(LEVEL, each == "closed", world.up))
    world.run(1)
    assert view.inputs(world.state)[LEVEL] == reads


def test_a_level_that_cannot_be_known_is_said_so() -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, "no such chip"))
    assert cabin(world)["level"] == LEVEL_NOW["L12"]
    held = high()
    held.give(InputLost(LEVEL, "no such chip"))
    assert cabin(held)["level"] == LEVEL_ROWS["L12"]


# Why it is quiet


def test_why_a_panel_at_rest_is_quiet() -> None:
    world = World(plan()).start().run(70)
    assert why(world) == [
        f"{LEVEL} reads open, normal, for 1 min.",
        f"{CIRCUIT} reads closed, normal, for 1 min.",
        LEVEL_NOW["L2"],
    ]


def test_why_before_anything_was_read() -> None:
    world = World(plan())
    world.give(Started(True))
    assert why(world)[0] == f"{LEVEL} has not settled yet."


def test_why_a_bounce_an_on_delay_and_a_release_hold_keep_it_quiet() -> None:
    world = World(plan()).start().run(10)
    world.alarm(LEVEL)
    world.run(0.02)
    assert why(world)[0].endswith("; now closed, which the filter has not passed yet.")
    world.run(5)
    assert "High level: there for 4 s, its on-delay is still running." in why(world)
    world.alarm(LEVEL, False)
    world.run(1)
    assert "alarm (back, but not long enough to be believed)" in why(world)[0]
    world.run(3)
    assert not [each for each in why(world) if "on-delay" in each]


def test_why_nobody_else_is_told_of_an_alarm() -> None:
    world = high()
    assert "High level stands as UNACK; told: Anna." in why(world)
    world.ack("anna")
    assert "High level: Anna has seen it and is left alone for 30 min." in why(world)
    world.ack("ben", within=90 * MINUTE)
    assert any("Ben has it until" in each and "nobody else is told" in each for each in why(world))
    world.run(31 * 60)
    assert not [each for each in why(world) if "left alone" in each]


def test_why_a_returned_alarm_is_still_there() -> None:
    world = high()
    world.alarm(LEVEL, False)
    world.run(100)
    assert "never acknowledged; the call list has stopped." in why(world)[-2]
    world.ack("ben")
    assert len(why(world)) == 3


def test_why_nobody_was_told_yet() -> None:
    world = high()
    subject = world.state.subjects["panel:cabin"]
    untold = replace(subject.alarms["high-level"], told=())
    subjects = {
        **world.state.subjects,
        "panel:cabin": replace(subject, alarms={"high-level": untold}),
    }
    world.state = replace(world.state, subjects=subjects)
    assert "High level stands as UNACK; told: nobody yet." in why(world)


def test_why_a_lost_input_says_nothing() -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, "no such chip"))
    assert why(world)[0] == f"{LEVEL} cannot be read: no such chip."


def test_why_what_was_silenced_is_not_over() -> None:
    world = World(plan(level_input(follows=Follows.HORN), circuit_input())).start().run(10)
    high(world)
    world.alarm(LEVEL, False)
    world.run(600)
    assert why(world)[-1] == LEVEL_ROWS["L3"]
