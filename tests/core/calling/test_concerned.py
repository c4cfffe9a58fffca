"""Who is in the middle of something at a panel hears what else goes wrong there, at once and once."""

import pytest

from relayd.core.events import Act, GoAway
from relayd.core.plan import HOUR, MINUTE, Means
from relayd.core.state import NoticeKind
from tests.core.build import contact, panel, plan_of
from tests.core.world import WALL, World

LEVEL, CIRCUIT, TRIPPED = (
    contact(Means.HIGH_LEVEL),
    contact(Means.ALARM_POWER),
    contact(Means.OVERLOAD),
)
LEAK = contact(Means.SEAL_LEAK)
ANNA, BEN = "anna", "ben"
NIGHT = WALL - 6 * HOUR
"""The worlds of these tests begin at eight in the morning; so it is two at night."""


def cabin(wall: int = WALL) -> World:
    plan = plan_of(panel("cabin", LEVEL, CIRCUIT, TRIPPED, LEAK))
    return World(plan, wall_offset=wall).start().run(10)


def called(at: World, condition: str = "high-level", within: float = 20) -> list[str]:
    """Raise it, and who is called for it at its first step."""
    spec = {"high-level": LEVEL, "overload": TRIPPED, "seal-leak": LEAK}[condition]
    at.alarm(spec.id)
    at.run(within)
    found = [each for each in at.notices(NoticeKind.RAISED) if each.condition == condition]
    return [each.person for each in found]


def answered(at: World, by: str, after: float) -> World:
    """The overload was called for, and that person has taken it after so many seconds."""
    at.alarm(TRIPPED.id)
    at.run(after)
    at.ack(by, Act.TAKEN, within=4 * HOUR)
    return at


def test_who_has_something_there_is_told_first_and_the_list_begins_all_the_same() -> None:
    assert called(answered(cabin(), BEN, 60)) == [BEN, ANNA]


def test_who_had_something_there_until_a_time_that_is_over_is_not_told_first() -> None:
    at = answered(cabin(), BEN, 60)
    at.alarm(TRIPPED.id, False)
    at.run(4 * 3600 + 60)
    assert called(at) == [ANNA]


@pytest.mark.parametrize(("later", "told"), [(118, [ANNA, BEN]), (122, [ANNA])])
def test_who_was_called_there_within_two_hours_hears_at_the_first_step(
    later: int, told: list[str]
) -> None:
    """Ben is called eight minutes after the overload; Anna has it then, until ten minutes on."""
    at = cabin()
    at.alarm(TRIPPED.id)
    at.run(5 + 8 * 60 + 1)
    at.ack(ANNA, Act.TAKEN, within=10 * MINUTE)
    at.alarm(TRIPPED.id, False)
    at.run(later * 60 - 11)
    assert called(at) == told


def test_who_is_away_is_not_called_for_having_been_called_lately() -> None:
    at = cabin()
    at.alarm(TRIPPED.id)
    at.run(5 + 8 * 60 + 1)
    at.ack(ANNA, Act.TAKEN, within=10 * MINUTE)
    at.ask(GoAway(BEN, within=5 * HOUR), BEN)
    at.run(60)
    assert BEN not in called(at)


def test_nobody_is_told_twice_at_that_step() -> None:
    at = answered(cabin(), ANNA, 60)
    assert called(at) == [ANNA]


def test_what_is_low_is_told_to_nobody_beside_its_list() -> None:
    at = answered(cabin(), BEN, 60)
    at.alarm(LEAK.id)
    at.run(90)
    assert at.process("seal-leak") == "UNACK"
    told = [each.person for each in at.notices() if each.condition == "seal-leak"]
    assert BEN not in told


def test_another_panel_concerns_nobody_here() -> None:
    plan = plan_of(
        panel("cabin", LEVEL, CIRCUIT, TRIPPED),
        panel("barn", contact(Means.HIGH_LEVEL, panel="barn")),
    )
    at = answered(World(plan).start().run(10), BEN, 60)
    at.alarm("barn.high-level")
    at.run(20)
    found = [e for e in at.notices(NoticeKind.RAISED) if e.subject == "panel:barn"]
    assert [each.person for each in found] == [ANNA]


def test_at_night_too_for_a_high_alarm() -> None:
    assert called(answered(cabin(NIGHT), BEN, 60)) == [BEN, ANNA]
