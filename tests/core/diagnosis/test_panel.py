"""Stage one, power: every pair of supplies; and inputs that come, go, and cannot be read."""

import pytest

from relayd.core.diagnosis.power import Supply
from relayd.core.events import EdgeSeen, InputFound, InputLost, LevelRead
from relayd.core.plan import SECOND, Unpowered
from tests.core.world import (
    CIRCUIT,
    LEVEL,
    PUMP,
    World,
    circuit_input,
    level_input,
    plan,
    pump_input,
)

ON, LOST, NOT_KNOWN = Supply.ON, Supply.LOST, Supply.NOT_KNOWN

# The trade's rows where no input tells of the unit's own supply. 'Not known' is not wired, or unreadable.
ROWS = [
    (ON, ON, "P1", []),
    (ON, LOST, "P2", ["pump-power"]),
    (LOST, ON, "P4", ["alarm-power"]),
    (LOST, LOST, "P21", ["alarm-power"]),
    (LOST, NOT_KNOWN, "P6", ["alarm-power"]),
    (NOT_KNOWN, ON, "P7", []),
    (NOT_KNOWN, LOST, "P8", ["pump-power"]),
    (ON, NOT_KNOWN, "P9", []),
    (NOT_KNOWN, NOT_KNOWN, "P10", []),
]


def site(circuit: Supply, pump: Supply, unreadable: bool) -> World:
    """A panel whose supplies are so for five minutes; not known by wiring or by a dead chip."""
    wired = [level_input()]
    wired += [circuit_input()] if unreadable or circuit is not NOT_KNOWN else []
    wired += [pump_input()] if unreadable or pump is not NOT_KNOWN else []
    world = World(plan(*wired)).start().run(10)
    for name, supply in ((CIRCUIT, circuit), (PUMP, pump)):
        if supply is LOST:
            world.alarm(name)
        elif supply is NOT_KNOWN and unreadable:
            world.give(InputLost(name, "no such chip"))
    return world.run(300)


@pytest.mark.parametrize("unreadable", [False, True], ids=["not wired", "cannot be read"])
@pytest.mark.parametrize(
    ("circuit", "pump", "row", "alarms"), ROWS, ids=[f"{r[2]}: {r[0]}, {r[1]}" for r in ROWS]
)
def test_each_pair_of_supplies_is_one_row(
    circuit: Supply, pump: Supply, row: str, alarms: list[str], unreadable: bool
) -> None:
    world = site(circuit, pump, unreadable)
    stand = [name for name in ("alarm-power", "pump-power") if world.process(name) == "UNACK"]
    assert stand == alarms
    assert {world.open_alarm(name).row for name in alarms} <= {row}
    lost = unreadable and NOT_KNOWN in (circuit, pump)
    assert world.process("input-lost") == ("UNACK" if lost else "NORM")
    assert world.process("high-level") == "NORM"


@pytest.mark.parametrize("first", [CIRCUIT, PUMP])
def test_the_feed_is_off_is_one_alarm_whichever_went_first(first: str) -> None:
    world = World(plan(level_input(), circuit_input(), pump_input())).start().run(10)
    world.alarm(first)
    world.run(1)
    world.alarm(PUMP if first is CIRCUIT else CIRCUIT)
    world.run(300)
    assert (world.process("alarm-power"), world.process("pump-power")) == ("UNACK", "NORM")
    assert world.open_alarm("alarm-power").row == "P21"


def test_a_pump_that_stood_without_power_stays_when_the_circuit_goes_as_well() -> None:
    world = World(plan(level_input(), circuit_input(), pump_input())).start().run(10)
    world.alarm(PUMP)
    world.run(100)
    world.alarm(CIRCUIT)
    world.run(300)
    assert (world.process("alarm-power"), world.process("pump-power")) == ("UNACK", "UNACK")
    world.alarm(CIRCUIT, False)
    world.run(31)
    assert (world.process("alarm-power"), world.process("pump-power")) == ("RTNUN", "UNACK")


def test_a_flickering_circuit_does_not_starve_the_loss_of_the_pump() -> None:
    world = World(plan(level_input(), circuit_input(), pump_input())).start().run(10)
    world.alarm(PUMP)
    lost = world.up
    for _ in range(7):
        world.run(9)
        world.alarm(CIRCUIT)
        world.run(1)
        world.alarm(CIRCUIT, False)
    assert world.process("pump-power") == "UNACK"
    raised = world.open_alarm("pump-power").raised
    assert raised is not None
    assert raised.up - lost < 70 * SECOND


@pytest.mark.parametrize(
    "alive", [0.5, 2, 7.7, 10.5, 14.9, 15, 15.2, 16, 19, 25], ids=lambda each: f"alive {each} s"
)
@pytest.mark.parametrize("unpowered", list(Unpowered), ids=str)
def test_a_flickering_circuit_hides_no_high_water(unpowered: Unpowered, alive: float) -> None:
    world = World(plan(level_input(unpowered=unpowered), circuit_input())).start().run(60)
    world.alarm(CIRCUIT)
    world.run(0.3)
    world.alarm(CIRCUIT, False)
    world.run(3)
    world.alarm(LEVEL)
    rose = world.up
    while world.up - rose < 90 * SECOND:
        world.run(alive)
        world.alarm(CIRCUIT)
        world.run(0.3)
        world.alarm(CIRCUIT, False)
    # Either it is known to be high, or the circuit is told lost and the level not known.
    told = {each.condition for each in world.notices()}
    assert told & {"high-level", "alarm-power"}
    if "high-level" not in told:
        long = [each.long for each in world.notices() if each.condition == "alarm-power"]
        assert "it may be high" in long[0]


def test_two_short_losses_a_minute_apart_are_no_loss() -> None:
    world = World(plan()).start().run(60)
    for _ in range(30):
        world.alarm(CIRCUIT)
        world.run(5)
        world.alarm(CIRCUIT, False)
        world.run(55)
    assert world.process("alarm-power") == "NORM"


@pytest.mark.parametrize("name", [CIRCUIT, PUMP])
def test_an_input_that_comes_and_goes_does_not_starve_the_loss_it_tells(name: str) -> None:
    world = World(plan(level_input(), circuit_input(), pump_input())).start().run(10)
    world.alarm(name)
    spec = world.plan.input(name)
    assert spec is not None
    for _ in range(8):
        world.run(9)
        world.give(InputLost(name, "chip reset"))
        world.run(0.5)
        world.give(InputFound(name, False, world.up))
    assert world.process(spec.means.value) == "UNACK"


# Inputs


def test_an_input_that_cannot_be_read_is_an_alarm_and_says_which_and_why() -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(29.9)
    assert world.process("input-lost") == "NORM"
    world.run(0.2)
    assert world.process("input-lost") == "UNACK"
    assert f"{LEVEL}: no such chip" in world.notices()[-1].long


def test_an_input_lost_without_a_word_is_lost_all_the_same() -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, ""))
    world.run(31)
    assert world.process("input-lost") == "UNACK"


def test_a_second_lost_input_is_told_in_the_same_alarm() -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(60)
    world.give(InputLost(CIRCUIT, "no such chip"))
    world.run(60)
    assert CIRCUIT in world.open_alarm("input-lost").detail


@pytest.mark.parametrize("closed", [False, True], ids=["open", "closed"])
def test_a_found_input_is_believed_anew_when_it_has_settled(closed: bool) -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(100)
    world.give(InputFound(LEVEL, closed, world.up))
    world.run(29)
    assert world.process("input-lost") == "UNACK"
    world.run(10)
    assert world.process("input-lost") == "RTNUN"
    assert world.process("high-level") == ("UNACK" if closed else "NORM")
    assert [each.body["why"] for each in world.records("input found")] == [""]


@pytest.mark.parametrize("kind", [LevelRead, EdgeSeen])
def test_a_level_or_an_edge_of_a_lost_input_finds_it(kind: type[LevelRead]) -> None:
    world = World(plan()).start().run(10)
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(60)
    world.give(kind(LEVEL, True, world.up))
    world.run(40)
    assert world.process("input-lost") == "RTNUN"
    assert world.process("high-level") == "UNACK"


def test_a_poll_sees_what_no_edge_told() -> None:
    world = World(plan()).start().run(10)
    world.give(LevelRead(LEVEL, True, world.up))
    world.run(11)
    assert world.process("high-level") == "UNACK"


def test_edges_that_are_missing_are_counted() -> None:
    world = World(plan()).start().run(10)
    world.give(EdgeSeen(LEVEL, True, world.up, lost=7))
    world.run(1)
    world.give(EdgeSeen(LEVEL, False, world.up, lost=2))
    assert world.state.live["panel:cabin"].inputs[LEVEL].missed == 9


def test_an_edge_counts_from_its_own_time_however_late_it_is_taken_in() -> None:
    world = World(plan()).start().run(10)
    edge = world.up
    world.up += 3 * SECOND
    world.give(EdgeSeen(LEVEL, True, edge))
    assert world.state.subjects["panel:cabin"].belief.alarm_edge == edge


def test_a_panel_without_a_level_contact_has_no_high_level() -> None:
    world = World(plan(circuit_input(), pump_input())).start().run(10)
    world.alarm(CIRCUIT)
    world.run(100)
    assert world.process("alarm-power") == "UNACK"
    assert world.row == ""
    assert "high-level" not in world.state.subjects["panel:cabin"].alarms
