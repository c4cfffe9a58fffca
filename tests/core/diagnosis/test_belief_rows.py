"""The rows of the belief table one by one: what leads into each, and what evidence leads out."""

import pytest

from relayd.core.diagnosis.belief import Dead, dead_side
from relayd.core.events import InputFound, InputLost, Looked
from relayd.core.plan import MINUTE, SECOND, Follows, Position, Unpowered
from relayd.core.saying.sentences import LEVEL_ROWS
from tests.core.world import CIRCUIT, LEVEL, World, circuit_input, level_input, plan

OPEN, CLOSED = Position.OPEN, Position.CLOSED
ALARM_SIDE, NORMAL_SIDE = Unpowered.CLOSED, Unpowered.OPEN
"""Of a contact that closes in alarm."""


def cabin(
    unpowered: Unpowered = NORMAL_SIDE,
    follows: Follows = Follows.LEVEL,
    wired: bool = True,
    silence_time: int | None = None,
    start: bool = True,
) -> World:
    level = level_input(unpowered=unpowered, follows=follows)
    inputs = (level, circuit_input()) if wired else (level,)
    world = World(plan(*inputs, silence_time=silence_time))
    return world.start().run(60) if start else world


def raised(world: World) -> World:
    """The same world with a high level that everybody saw."""
    world.alarm(LEVEL)
    world.run(30)
    assert world.process("high-level") == "UNACK"
    return world


def said(world: World, condition: str = "high-level") -> str:
    """What the last message about that condition says."""
    return [each.long for each in world.notices() if each.condition == condition][-1]


@pytest.mark.parametrize(
    ("in_alarm", "unpowered", "side"),
    [
        (OPEN, Unpowered.OPEN, Dead.ALARM_SIDE),
        (OPEN, Unpowered.CLOSED, Dead.NORMAL_SIDE),
        (CLOSED, Unpowered.OPEN, Dead.NORMAL_SIDE),
        (CLOSED, Unpowered.CLOSED, Dead.ALARM_SIDE),
        (OPEN, Unpowered.HOLDS, Dead.HOLDS),
        (CLOSED, Unpowered.UNKNOWN, Dead.UNKNOWN),
    ],
)
def test_only_a_contact_that_drops_to_its_alarm_side_shows_a_dead_circuit(
    in_alarm: Position, unpowered: Unpowered, side: Dead
) -> None:
    assert dead_side(level_input(in_alarm=in_alarm, unpowered=unpowered)) is side


# L1 to L3: the circuit is alive


def test_l1_the_contact_in_alarm_is_high_level() -> None:
    world = raised(cabin())
    assert world.row == "L1"


@pytest.mark.parametrize("follows", [Follows.LEVEL, Follows.LAMP], ids=str)
def test_l2_what_follows_the_water_returns_by_itself(follows: Follows) -> None:
    world = raised(cabin(follows=follows))
    world.alarm(LEVEL, False)
    world.run(63)
    assert (world.row, world.process("high-level")) == ("L2", "UNACK")
    world.run(0.1)
    assert world.process("high-level") == "RTNUN"


@pytest.mark.parametrize("follows", [Follows.HORN, Follows.UNKNOWN, Follows.LATCHED], ids=str)
def test_l3_what_may_have_been_silenced_is_no_return(follows: Follows) -> None:
    world = raised(cabin(follows=follows))
    world.alarm(LEVEL, False)
    world.run(24 * 3600)
    assert (world.row, world.process("high-level")) == ("L3", "UNACK")
    assert "Silence" in said(world)
    assert "over" not in {title.split(":")[0] for _, _, title in world.told()}


def test_l3_is_told_once_to_those_told_a_minute_after_the_contact_went() -> None:
    world = raised(cabin(follows=Follows.HORN))
    world.alarm(LEVEL, False)
    went = world.up
    world.run(150)
    news = [(at, who) for at, who, title in world.told(went) if "news" in title]
    assert news == [(63.05, "anna")]


def test_l3_ends_when_the_panel_would_have_sounded_again() -> None:
    world = raised(cabin(follows=Follows.HORN, silence_time=30 * MINUTE))
    world.alarm(LEVEL, False)
    # Silence time, a quarter of an hour, and the off-delay.
    world.run(45 * 60 + 59.9)
    assert world.process("high-level") == "UNACK"
    world.run(0.2)
    assert world.process("high-level") == "RTNUN"


def test_l3_a_horn_that_comes_back_starts_the_silence_time_anew() -> None:
    world = raised(cabin(follows=Follows.HORN, silence_time=30 * MINUTE))
    world.alarm(LEVEL, False)
    world.run(29 * 60)
    world.alarm(LEVEL)
    world.run(60)
    world.alarm(LEVEL, False)
    world.run(45 * 60)
    assert world.process("high-level") == "UNACK"
    world.run(61)
    assert world.process("high-level") == "RTNUN"


def test_l3_a_circuit_that_came_back_starts_the_silence_time_anew() -> None:
    world = raised(cabin(follows=Follows.HORN, silence_time=30 * MINUTE))
    world.alarm(LEVEL, False)
    world.run(20 * 60)
    world.alarm(CIRCUIT)
    world.run(60)
    world.alarm(CIRCUIT, False)
    # A horn that lives again would sound again: only then does its quiet count.
    world.run(45 * 60 + 59)
    assert world.process("high-level") == "UNACK"
    world.run(2)
    assert world.process("high-level") == "RTNUN"


@pytest.mark.parametrize("wired", [True, False], ids=["wired", "not wired"])
@pytest.mark.parametrize("unpowered", list(Unpowered), ids=str)
def test_somebody_who_looked_ends_it_after_the_off_delay(unpowered: Unpowered, wired: bool) -> None:
    world = raised(cabin(unpowered, Follows.HORN, wired))
    world.alarm(LEVEL, False)
    world.run(600)
    assert world.process("high-level") == "UNACK"
    assert world.ask(Looked("cabin", normal=True)).ok
    world.run(59.9)
    assert world.process("high-level") == "UNACK"
    world.run(0.2)
    assert world.process("high-level") == "RTNUN"
    assert "Somebody looked" in said(world)


def test_a_look_does_not_outlast_the_next_high_water() -> None:
    world = raised(cabin(follows=Follows.HORN))
    world.alarm(LEVEL, False)
    world.run(10)
    world.ask(Looked("cabin", normal=True))
    world.run(90)
    raised(world)
    world.alarm(LEVEL, False)
    world.run(3600)
    assert (world.row, world.process("high-level")) == ("L3", "UNACK")


def test_a_look_that_finds_it_high_takes_back_the_one_that_did_not() -> None:
    world = raised(cabin(follows=Follows.HORN))
    world.alarm(LEVEL, False)
    world.run(10)
    world.ask(Looked("cabin", normal=True))
    world.run(30)
    world.ask(Looked("cabin", normal=False), by="anna")
    world.run(600)
    assert world.process("high-level") == "UNACK"


# L4 to L8: the circuit is lost


@pytest.mark.parametrize("unpowered", [ALARM_SIDE, Unpowered.UNKNOWN], ids=str)
def test_l4_what_moved_with_the_loss_is_not_known(unpowered: Unpowered) -> None:
    world = cabin(unpowered)
    world.alarm(LEVEL)
    world.run(1)
    world.alarm(CIRCUIT)
    world.run(300)
    assert (world.row, world.process("high-level")) == ("L4", "NORM")
    assert world.process("alarm-power") == "UNACK"
    assert "it may be high" in said(world, "alarm-power")


@pytest.mark.parametrize("back", [2, 20, 200], ids=lambda each: f"back after {each} s")
def test_l5_what_was_high_is_held_through_a_circuit_that_comes_and_goes(back: float) -> None:
    world = raised(cabin(ALARM_SIDE))
    for _ in range(6):
        world.alarm(CIRCUIT)
        world.run(7)
        world.alarm(CIRCUIT, False)
        world.run(back)
        assert world.process("high-level") == "UNACK"


def test_l5_a_second_loss_does_not_forget_what_the_first_one_proved() -> None:
    world = cabin(ALARM_SIDE)
    world.alarm(LEVEL)
    world.run(7)  # high before the loss by more than the window, its on-delay still running
    world.alarm(CIRCUIT)
    world.run(1)
    world.alarm(CIRCUIT, False)
    world.run(0.5)
    world.alarm(CIRCUIT)
    world.run(3)
    assert (world.row, world.process("high-level")) == ("L5", "UNACK")


def test_l5_ends_by_somebody_who_looked_once_the_contact_does_not_say_otherwise() -> None:
    world = raised(cabin(NORMAL_SIDE))
    world.alarm(CIRCUIT)
    world.alarm(LEVEL, False)
    world.run(600)
    assert (world.row, world.process("high-level")) == ("L5", "UNACK")
    assert world.ask(Looked("cabin", normal=True)).ok
    world.run(61)
    assert (world.row, world.process("high-level")) == ("L8", "RTNUN")


def test_l6_a_contact_in_alarm_that_cannot_be_so_without_power_is_believed() -> None:
    world = cabin(NORMAL_SIDE)
    world.alarm(CIRCUIT)
    world.run(30)
    raised(world)
    assert world.row == "L6"
    assert "sensing of the alarm circuit is doubtful" in said(world)


def test_l7_a_slow_relay_is_not_known_either() -> None:
    world = cabin(ALARM_SIDE)
    world.alarm(CIRCUIT)
    world.run(30)
    world.alarm(LEVEL)
    world.run(300)
    assert (world.row, world.process("high-level")) == ("L7", "NORM")


def test_l8_a_normal_contact_without_power_says_nothing() -> None:
    world = cabin(NORMAL_SIDE)
    world.alarm(CIRCUIT)
    world.run(300)
    assert (world.row, world.process("high-level")) == ("L8", "NORM")
    assert "the level is not known" in said(world, "alarm-power")


# L9, L10, L14, L15: no input tells of the circuit


@pytest.mark.parametrize(
    ("unpowered", "row"),
    [(ALARM_SIDE, "L9"), (Unpowered.UNKNOWN, "L9"), (NORMAL_SIDE, "L10"), (Unpowered.HOLDS, "L1")],
    ids=lambda each: str(each),
)
def test_l9_l10_a_contact_in_alarm_says_as_much_as_it_can_tell(
    unpowered: Unpowered, row: str
) -> None:
    world = raised(cabin(unpowered, wired=False))
    assert world.row == row
    assert LEVEL_ROWS[row] in said(world)


@pytest.mark.parametrize(
    ("unpowered", "row", "state"),
    [
        (ALARM_SIDE, "L14", "RTNUN"),
        (Unpowered.HOLDS, "L2", "RTNUN"),
        (Unpowered.UNKNOWN, "L15", "UNACK"),
        (NORMAL_SIDE, "L15", "UNACK"),
    ],
    ids=lambda each: str(each),
)
def test_l14_l15_a_release_returns_only_where_a_dead_circuit_would_look_otherwise(
    unpowered: Unpowered, row: str, state: str
) -> None:
    world = raised(cabin(unpowered, wired=False))
    world.alarm(LEVEL, False)
    world.run(12 * 3600)
    assert (world.row, world.process("high-level")) == (row, state)


def test_l15_the_silence_time_proves_nothing_of_a_circuit_that_may_be_dead() -> None:
    world = raised(cabin(NORMAL_SIDE, Follows.HORN, wired=False, silence_time=10 * MINUTE))
    world.alarm(LEVEL, False)
    world.run(24 * 3600)
    assert (world.row, world.process("high-level")) == ("L15", "UNACK")


def test_l3_without_a_wired_circuit_follows_the_horn_as_well() -> None:
    world = raised(cabin(ALARM_SIDE, Follows.HORN, wired=False, silence_time=10 * MINUTE))
    world.alarm(LEVEL, False)
    world.run(600)
    assert (world.row, world.process("high-level")) == ("L3", "UNACK")
    world.run(15 * 60 + 61)
    assert (world.row, world.process("high-level")) == ("L14", "RTNUN")


def test_a_circuit_that_cannot_be_read_is_as_good_as_not_wired() -> None:
    world = cabin(ALARM_SIDE)
    world.give(InputLost(CIRCUIT, "no such chip"))
    raised(world)
    assert world.row == "L9"


# L11: the circuit has just come back


@pytest.mark.parametrize("unpowered", [ALARM_SIDE, NORMAL_SIDE, Unpowered.UNKNOWN], ids=str)
def test_l11_alarm_is_believed_after_ten_seconds_and_normal_after_the_whole_settle_time(
    unpowered: Unpowered,
) -> None:
    world = cabin(unpowered)
    world.alarm(CIRCUIT)
    world.run(600)
    world.alarm(CIRCUIT, False)
    back = world.up
    world.alarm(LEVEL)
    world.run(20)
    assert (world.row, world.process("high-level")) == ("L11", "NORM")
    world.run(0.1)
    assert world.process("high-level") == "UNACK"
    world.alarm(LEVEL, False)
    world.run_to(back + 60 * SECOND)
    assert world.row == "L11"
    world.run(60)
    assert (world.row, world.process("high-level")) == ("L2", "UNACK")
    world.run(0.1)
    assert world.process("high-level") == "RTNUN"


# L12: the contact cannot be read


def test_l12_what_was_high_is_held_while_the_contact_cannot_be_read() -> None:
    world = raised(cabin())
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(7200)
    assert (world.row, world.process("high-level")) == ("L12", "UNACK")
    assert world.process("input-lost") == "UNACK"


def test_l12_what_was_in_alarm_when_it_was_lost_is_raised() -> None:
    world = cabin()
    world.alarm(LEVEL)
    world.run(5)
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(6)
    assert (world.row, world.process("high-level")) == ("L12", "UNACK")


def test_l12_what_was_normal_when_it_was_lost_is_not_known() -> None:
    world = cabin()
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(7200)
    assert (world.row, world.process("high-level")) == ("L12", "NORM")


def test_l12_somebody_who_looked_ends_it() -> None:
    world = raised(cabin())
    world.give(InputLost(LEVEL, "no such chip"))
    world.run(600)
    assert world.ask(Looked("cabin", normal=True)).ok
    world.run(61)
    assert world.process("high-level") == "RTNUN"


@pytest.mark.parametrize("every", [4, 8, 9.5], ids=lambda each: f"every {each} s")
def test_l12_an_input_that_comes_and_goes_does_not_starve_the_alarm(every: float) -> None:
    world = cabin()
    world.alarm(LEVEL)
    began = world.up
    while world.process("high-level") == "NORM":
        world.run(every - 0.3)
        world.give(InputLost(LEVEL, "chip reset"))
        world.run(0.3)
        world.give(InputFound(LEVEL, True, world.up))
        assert world.up - began < 60 * SECOND
    assert world.process("high-level") == "UNACK"
