"""The simulated unit, and the week of the badly kept cabin as its reader has it."""

import pytest

from relayd.core.events import Acknowledge, Act
from relayd.core.plan import HOUR, MINUTE, SECOND
from relayd.simulate import (
    ChannelFails,
    Flutters,
    GoesDeaf,
    Happening,
    Line,
    Meanwhile,
    Moves,
    PowerCut,
    Says,
    chronicle,
    printed,
)
from tests.core import badly_kept
from tests.core.world import CIRCUIT, LEVEL, WALL, plan
from tests.house.tree import ROOT

WEEK = ROOT / "tests" / "core" / "badly_kept.txt"


def texts(lines: list[Line]) -> list[str]:
    return [f"{each.about}: {each.text.partition(chr(10))[0]}" for each in lines]


@pytest.mark.slow
def test_the_week_is_told_as_it_was_read_and_agreed_with() -> None:
    told = "\n".join(printed(badly_kept.plan(), badly_kept.lines())) + "\n"
    assert told == WEEK.read_text()


@pytest.mark.slow
def test_the_same_script_gives_the_same_chronicle() -> None:
    assert badly_kept.lines() == badly_kept.lines()


def test_every_happening_is_told_and_has_its_consequence() -> None:
    script: list[tuple[int, Happening]] = [
        (SECOND, Meanwhile("rain")),
        (MINUTE, Moves(LEVEL, True)),
        (2 * MINUTE, Says("anna", Acknowledge(panel="cabin", act=Act.SEEN))),
        (3 * MINUTE, ChannelFails("ben.mail")),
        (20 * MINUTE, Moves(LEVEL, False, "the float falls")),
        (30 * MINUTE, GoesDeaf(CIRCUIT)),
        (40 * MINUTE, GoesDeaf(CIRCUIT, "")),
        (50 * MINUTE, ChannelFails("ben.mail", fails=False)),
        (60 * MINUTE, PowerCut(90 * SECOND)),
        (70 * MINUTE, Flutters(LEVEL, 3, SECOND, SECOND)),
    ]
    told = texts(chronicle(plan(), script, WALL, 2 * HOUR))
    for line in (
        "meanwhile: rain",
        f"{LEVEL}: the contact closes",
        "-> Anna: HIGH LEVEL - Cabin tank",
        "Anna: asks: Acknowledge",
        "ben.mail: takes no messages",
        f"{LEVEL}: the float falls",
        "-> Anna: Alarm over: High level - Cabin tank",
        f"{CIRCUIT}: cannot be read: the chip is gone",
        f"{CIRCUIT}: can be read again",
        "ben.mail: takes messages again",
        "unit: the unit is without power for 1 min",
        f"{LEVEL}: the contact flutters 3 times in 6 s",
    ):
        assert line in told
    # What a service did not take reached nobody: Ben had it over his other channel alone.
    assert told.count("-> Ben: HIGH LEVEL - Cabin tank") == 1


def test_a_script_about_a_contact_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match=r"no input 'cabin\.moon'"):
        chronicle(plan(), [(0, Moves("cabin.moon", True))], WALL, MINUTE)


def test_bodies_are_shown_where_they_are_asked_for() -> None:
    lines = chronicle(plan(), [(0, Moves(LEVEL, True))], WALL, MINUTE)
    shown = list(printed(plan(), lines, bodies=True))
    assert any(each.startswith("            | ") for each in shown)
    assert not any("|" in each for each in printed(plan(), lines))
    assert shown[0] == "-- Friday 2027-01-15"
