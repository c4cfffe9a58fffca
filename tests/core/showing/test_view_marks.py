"""What there is to see of marks, of the horn, of loose ends, visits and who is away: whole values.

Scenes are those of the reasons for silence; the clock shows 08:03 when each begins.
"""

from typing import cast

from relayd.core.events import GoAway, HornWire, PutOff, Wire
from relayd.core.plan import HOUR, Means
from relayd.core.showing import view
from relayd.core.state import HornStanding
from tests.core.build import contact, panel, plan_of
from tests.core.showing import test_quietness as scenes
from tests.core.showing.test_quietness import up, world
from tests.core.world import World

Json = dict[str, object]


def status(at: World) -> Json:
    return view.status(at.plan, at.state, at.now())


def cabin(at: World) -> Json:
    return cast(list[Json], status(at)["panels"])[0]


def unit(at: World) -> Json:
    return cast(Json, status(at)["unit"])


def only(of: Json, key: str) -> Json:
    found = cast(list[Json], of[key])
    assert len(found) == 1
    return found[0]


def test_an_alarm_that_is_put_aside_while_it_is_normal_is_shown_apart() -> None:
    at = world()
    scenes.paused_at_rest(at)
    assert cabin(at)["alarms"] == []
    aside = only(cabin(at), "aside")
    assert {
        key: aside[key] for key in ("condition", "name", "state", "shown", "quiet", "since")
    } == {
        "condition": "overload",
        "name": "Overload tripped",
        "state": "NORM",
        "shown": "SHLVD",
        "quiet": "paused until 09:03 by Ben",
        "since": "",
    }


def test_an_alarm_that_stands_and_is_paused_is_shown_as_open() -> None:
    at = world()
    scenes.paused(at)
    alarm = only(cabin(at), "alarms")
    assert (alarm["state"], alarm["shown"]) == ("UNACK", "SHLVD")
    assert alarm["quiet"] == "paused until 09:04 by Ben (new motor)"
    assert alarm["next"] is None
    assert cabin(at)["aside"] == []


def test_a_panel_out_of_service_says_so_and_so_do_its_alarms() -> None:
    at = world()
    scenes.panel_out(at)
    assert cabin(at)["out"] == "out of service until 09:03 by Ben (tank is empty)"
    alarm = only(cabin(at), "alarms")
    assert alarm["shown"] == "OOSRV"
    assert alarm["quiet"] == "its panel is out of service until 09:03 by Ben (tank is empty)"


def test_an_alarm_that_is_not_shown_by_design_says_why() -> None:
    at = up(world(), "cabin.alarm-power", 90)
    aside = only(cabin(at), "aside")
    assert (aside["shown"], aside["quiet"]) == (
        "DSUPR",
        "not shown because the alarm circuit is dead",
    )


def test_what_is_held_and_what_stays_until_reset() -> None:
    at = world()
    scenes.held(at)
    alarm = only(cabin(at), "alarms")
    assert alarm["held"] == ["held for Anna until 18 Jan 08:00"]
    assert alarm["stays"] is True
    assert alarm["told"] == []


def test_what_comes_and_goes_is_not_said_to_have_a_next_step() -> None:
    at = world()
    scenes.chattering(at)
    alarm = only(cabin(at), "alarms")
    assert (alarm["chattering"], alarm["next"], alarm["state"]) == ("34 s", None, "RTNUN")


def test_a_chattering_alarm_that_is_there_now_has_a_next_step() -> None:
    at = world()
    scenes.chattering(at)
    up(at, scenes.OVERLOAD, 14)
    alarm = only(cabin(at), "alarms")
    assert alarm["chattering"]
    assert alarm["next"] is not None


def test_who_has_seen_it_is_not_said_to_be_next() -> None:
    at = world()
    scenes.seen(at)
    alarm = only(cabin(at), "alarms")
    assert alarm["seen"] == ["Anna"]
    assert alarm["next"] == {"in": "2 min", "who": []}


def test_nobody_there_on_the_whole_list_means_everybody_for_high() -> None:
    at = world()
    scenes.nobody_there(at)
    assert cast(Json, only(cabin(at), "alarms")["next"])["who"] == ["Anna", "Ben"]


def test_the_horn_of_a_panel() -> None:
    at = world()
    blank = {"standing": "not known", "since": "", "why": "", "row": "H10", "by": "", "asked": ""}
    assert cabin(at)["horn"] == blank
    assert at.ask(HornWire("cabin", Wire.OFF, "noise at night")).ok
    assert cabin(at)["horn"] == {
        **blank,
        "standing": HornStanding.DISCONNECTED.value,
        "since": "since 08:03",
        "why": "noise at night",
        "by": "Ben",
    }


def test_the_question_about_the_horn_s_wire_says_when_it_was_asked() -> None:
    at = world(plan_of(panel("cabin", contact(Means.HIGH_LEVEL), contact(Means.ALARM_POWER))))
    up(at, "cabin.high-level", 60)
    up(at, "cabin.alarm-power", 300)
    at.alarm("cabin.alarm-power", False)
    at.run(60)
    # 08:03:20 and a minute, five minutes off, asked ten seconds after it is on again.
    assert cast(Json, cabin(at)["horn"])["asked"] == "since 08:09"


def test_a_loose_end_with_who_why_and_until_when_it_is_put_off() -> None:
    at = world()
    assert at.ask(HornWire("cabin", Wire.OFF, "noise at night")).ok
    end = {
        "key": "horn-wire",
        "say": "the horn's wire is disconnected: the next alarm will be silent at the panel",
        "since": "since 08:03",
        "by": "Ben",
        "why": "noise at night",
        "reminded": 0,
        "put_off": "",
    }
    assert only(cabin(at), "loose") == end
    assert at.ask(PutOff("cabin", "horn-wire", within=HOUR, why="part on order")).ok
    assert only(cabin(at), "loose") == {**end, "put_off": "until 09:03"}


def test_a_loose_end_that_a_contact_showed_is_nobody_s() -> None:
    inputs = (contact(Means.HIGH_LEVEL), contact(Means.IN_OFF, pump=2, name="in-off-2"))
    at = world(plan_of(panel("cabin", *inputs, pumps=2)))
    up(at, "cabin.in-off-2", 3 * 3600)
    end = only(cabin(at), "loose")
    assert (end["key"], end["by"]) == ("in-off-2", "")
    assert end["say"] == "the switch of pump 2 stands in Off: it never starts by itself"


def test_a_visit() -> None:
    at = world()
    assert cabin(at)["visit"] is None
    scenes.visit(at)
    assert cabin(at)["visit"] == {"person": "ben", "name": "Ben", "until": "until 10:03"}


def test_who_is_away_and_who_stands_in() -> None:
    at = world()
    assert at.ask(GoAway("anna", within=5 * HOUR, stand_in="carla")).ok
    assert at.ask(GoAway("ben", within=2 * HOUR)).ok
    assert unit(at)["away"] == [
        {"person": "anna", "name": "Anna", "until": "until 13:03", "stand_in": "Carla"},
        {"person": "ben", "name": "Ben", "until": "until 10:03", "stand_in": ""},
    ]


def test_the_unit_s_own_inputs_are_shown() -> None:
    at = world(scenes.site(inputs=(contact(Means.UNIT_POWER, panel="unit"),)))
    assert unit(at)["inputs"] == [
        {
            "id": "unit.unit-power",
            "means": "unit-power",
            "reads": "closed",
            "fact": "normal",
            "lost": "",
            "missed": 0,
        }
    ]
