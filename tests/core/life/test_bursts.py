"""Chattering, fleeting, stale, and the alarm burst, with the numbers of ISA-18.2 (Sources 1.3).

Chattering: three raisings in a minute (value from memory). Fleeting: below 10 s with no repeat in
60 s, stale: 24 h, flood: begins above ten in ten minutes, ends below five (read at second hand).
"""

from relayd.core.draft import UNIT, Draft
from relayd.core.events import Act
from relayd.core.life import bursts
from relayd.core.plan import HOUR, MINUTE, SECOND, Priority
from relayd.core.state import Alarm, NoticeKind, Process
from tests.core.world import LEVEL, World, circuit_input, level_input, plan


def quick() -> World:
    """A level contact without delays, so that it can chatter at all."""
    level = level_input(on_delay=0, off_delay=0, release_hold=0)
    return World(plan(level, circuit_input())).start().run(90)


def pulses(world: World, count: int, on: float = 5, off: float = 5) -> None:
    for _ in range(count):
        world.alarm(LEVEL)
        world.run(on)
        world.alarm(LEVEL, False)
        world.run(off)


def notices(world: World) -> int:
    """How many there were of high level; a contact that moves so fast is called unsettled as well."""
    return len([each for each in world.notices() if each.condition == "high-level"])


def raisings(world: World) -> int:
    found = [each.body["condition"] for each in world.records("raised")]
    return found.count("high-level")


def test_three_raisings_in_a_minute_chatter_and_two_do_not() -> None:
    world = quick()
    pulses(world, 2)
    assert world.open_alarm().chattering is None
    pulses(world, 1)
    assert world.open_alarm().chattering is not None
    assert len(world.records("chattering")) == 1


def test_three_raisings_in_more_than_a_minute_do_not_chatter() -> None:
    world = quick()
    pulses(world, 5, 16, 16)
    assert world.open_alarm().chattering is None


def test_repeats_are_recorded_and_not_told_and_the_end_is_told_once() -> None:
    world = quick()
    pulses(world, 3)
    told = notices(world)
    first = world.open_alarm().occurrence
    pulses(world, 5)
    # The fourth begins an alarm in which the contact chatters: it is not believed back in between.
    assert raisings(world) == 4
    assert world.process("high-level") == "UNACK"
    assert notices(world) == told
    assert world.open_alarm().occurrence == first
    world.run(9.7 * 60)
    assert world.process("high-level") == "UNACK"
    told_of_it = world.open_alarm().told
    world.run(20)
    assert world.open_alarm().chattering is None
    over = [each for each in world.notices(NoticeKind.STAND_DOWN) if each.occurrence == first]
    assert [each.person for each in over] == list(told_of_it)
    assert world.process("high-level") == "RTNUN"


def test_one_that_stays_goes_on_with_its_call_list() -> None:
    world = quick()
    pulses(world, 3)
    world.alarm(LEVEL)
    world.run(9 * 60)
    assert "ben" in world.open_alarm().told
    world.run(70)
    assert (world.open_alarm().chattering, world.process("high-level")) == (None, "UNACK")


def test_one_that_was_answered_and_stays_is_told_after_its_re_alarm_time() -> None:
    world = quick()
    pulses(world, 3)
    world.ack("ben", Act.TAKEN)
    assert world.process("high-level") == "NORM"
    world.alarm(LEVEL)
    world.run(1)
    told = notices(world)
    assert world.open_alarm().realarm is not None
    world.run(1800)
    assert notices(world) == told + 1
    assert world.notices()[-1].short.startswith("News, contact chatters: high level")
    world.run(1900)
    assert world.notices()[-1].kind is NoticeKind.RAISED


def test_one_that_is_answered_while_it_chatters_ends_with_its_chatter() -> None:
    world = quick()
    pulses(world, 2)
    world.alarm(LEVEL)
    world.run(1)
    world.ack("ben", Act.TAKEN)
    world.alarm(LEVEL, False)
    world.run(1)
    assert world.process("high-level") == "NORM"
    ended = len(world.records("occurrence ended"))
    world.run(11 * 60)
    assert len(world.records("occurrence ended")) == ended + 1


def test_a_raising_of_less_than_ten_seconds_without_a_repeat_is_fleeting() -> None:
    world = quick()
    pulses(world, 1, 5, 59)
    assert world.records("fleeting") == []
    world.run(2)
    assert len(world.records("fleeting")) == 1
    world.run(3600)
    assert len(world.records("fleeting")) == 1


def test_a_longer_raising_or_a_repeated_one_is_not_fleeting() -> None:
    world = quick()
    pulses(world, 1, 11, 100)
    pulses(world, 1, 5, 30)
    pulses(world, 1, 20, 100)
    assert world.records("fleeting") == []


def test_what_stands_for_a_day_is_stale_once() -> None:
    world = quick()
    world.alarm(LEVEL)
    world.run(1)
    world.ack("ben", Act.TAKEN, within=23 * HOUR)
    world.run(86390)
    assert not world.open_alarm().stale
    world.run(20)
    assert world.open_alarm().stale
    world.run(86400)
    assert len(world.records("stale")) == 1


def counting(times: list[int]) -> Draft:
    """The unit after raisings at these seconds."""
    world = World(plan()).start()
    draft = Draft(world.plan, world.state, world.now())
    for at in times:
        world.up = at * SECOND
        draft.now = world.now()
        bursts.noted(draft)
    return draft


def test_a_burst_begins_above_ten_in_ten_minutes() -> None:
    assert counting(list(range(1000, 1010))).subject(UNIT).burst is None
    assert counting(list(range(1000, 1011))).subject(UNIT).burst == 1010 * SECOND
    assert counting([1000 + 61 * each for each in range(30)]).subject(UNIT).burst is None


def test_a_burst_ends_below_five_in_ten_minutes() -> None:
    draft = counting(list(range(1000, 1012)))
    world = World(plan())
    over = bursts.burst_due(draft)
    assert over == 1007 * SECOND + 10 * MINUTE
    world.up = over - 1
    draft.now = world.now()
    bursts.settle(draft)
    assert draft.subject(UNIT).burst is not None
    world.up = over
    draft.now = world.now()
    bursts.settle(draft)
    assert draft.subject(UNIT).burst is None
    assert bursts.burst_due(draft) is None


def test_the_unit_wakes_for_the_end_of_a_burst() -> None:
    world = quick()
    pulses(world, 11, 20, 20)
    assert len(world.records("alarm burst began")) == 1
    world.run(700)
    assert len(world.records("alarm burst ended")) == 1


def test_an_alarm_without_times_grows_neither_stale_nor_fleeting() -> None:
    active = Alarm("high-level", Priority.HIGH, Process.UNACK)
    gone = Alarm("high-level", Priority.HIGH, Process.RTNUN, raises=(5,))
    assert (bursts.due(active), bursts.due(gone)) == (None, None)
