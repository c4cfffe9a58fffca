"""The pump table through the whole machine: what is raised, when, how urgent, and in which words.

Delays and priorities are Trade 5's defaults, rows those of Trade 3: common practice, no source.
"""

from dataclasses import dataclass, replace

import pytest

from relayd.core import conditions as c
from relayd.core.diagnosis.pump_rows import said
from relayd.core.findings import TOLD_WITH_LEVEL
from relayd.core.plan import (
    MINUTE,
    Input,
    Kind,
    Means,
    Priority,
)
from relayd.core.state import Notice, NoticeKind
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW
LEVEL, CALLED, RUNNING = (
    contact(Means.HIGH_LEVEL),
    contact(Means.PUMP_CALLED),
    contact(Means.PUMP_RUNNING),
)
POWER, IN_HAND, IN_OFF = contact(Means.PUMP_POWER), contact(Means.IN_HAND), contact(Means.IN_OFF)
CIRCUIT = contact(Means.ALARM_POWER)
PUMP = (CALLED, RUNNING, POWER)
ONE, BOTH = ("pump-called-1", "pump-running-1"), ("pump-called-2", "pump-running-2")


def two(*means: Means) -> tuple[Input, ...]:
    """Those inputs, for each of two pumps."""
    return tuple(contact(each, number) for number in (1, 2) for each in means)


DUPLEX = (LEVEL, *two(Means.PUMP_CALLED, Means.PUMP_RUNNING, Means.PUMP_POWER, Means.OVERLOAD))


def site(*inputs: Input, **changes: object) -> World:
    """That panel, started ten seconds ago and at rest, on a Friday at eight."""
    return World(plan_of(panel("cabin", *inputs, **changes))).start().run(10)


def move(at: World, *names: str, on: bool = True) -> World:
    for each in names:
        at.alarm(f"cabin.{each}", on)
    return at


def raised(at: World) -> list[str]:
    """Every condition that was raised, once a raising, in order."""
    return [str(each.body["condition"]) for each in at.records("raised")]


def told(at: World, condition: str, kind: NoticeKind = NoticeKind.RAISED) -> list[Notice]:
    return [each for each in at.notices(kind) if each.condition == condition]


@dataclass(frozen=True)
class Story:
    """What happens at a panel, and what people hear of it.

    `after` seconds from the last of `moves` the alarm is raised, and not a second before.
    """

    inputs: tuple[Input, ...]
    moves: tuple[str, ...]
    after: float
    condition: str
    priority: Priority
    rows: tuple[str, ...]
    earlier: tuple[str, ...] = ()
    """What is there five minutes before."""
    others: tuple[str, ...] = ()
    """Other conditions that are raised by then."""
    changes: tuple[tuple[str, object], ...] = ()
    over: float = 61
    """After how many seconds it is over when everything has gone back."""
    left: tuple[str, ...] = ()
    """What is raised at its end."""
    told_by: str = ""
    """The alarm that tells of it instead, as news, within a minute."""

    def world(self) -> World:
        at = site(*self.inputs, **dict(self.changes))
        return move(move(at, *self.earlier).run(300), *self.moves)


def high(
    rows: tuple[str, ...],
    *moves: str,
    inputs: tuple[Input, ...] = (LEVEL, *PUMP),
    earlier: tuple[str, ...] = (),
    others: tuple[str, ...] = (),
    left: tuple[str, ...] = (c.PUMP_NOT_SEEN,),
    **changes: object,
) -> Story:
    """A high level beside what the pump's contacts say."""
    level = ("high-level", *moves)
    inputs = (*inputs, CIRCUIT)
    more = tuple(changes.items())
    return Story(
        inputs, level, 10, c.HIGH_LEVEL, HIGH, rows, earlier, others, more, over=65, left=left
    )


def alone(
    condition: str, priority: Priority, after: float, rows: tuple[str, ...], *moves: str,
    inputs: tuple[Input, ...], earlier: tuple[str, ...] = (), others: tuple[str, ...] = (),
    over: float = 61, **changes: object,
) -> Story:  # fmt: skip
    """A condition of the pumps without a high level."""
    return Story(
        inputs,
        moves,
        after,
        condition,
        priority,
        rows,
        earlier,
        others,
        tuple(changes.items()),
        over,
    )


SEALED = two(Means.OVER_TEMPERATURE, Means.SEAL_LEAK)
SWITCHES = (LEVEL, *PUMP, IN_HAND, IN_OFF)
STORIES = {
    "R1 in Hand": high(("R1-hand",), inputs=SWITCHES, earlier=("in-hand",)),
    "R1 in Off, said first though power is lost": high(
        ("R1-off", "R2"), inputs=SWITCHES, earlier=("in-off", "pump-power"), others=("pump-power",)
    ),
    "R1 not in Auto": high(
        ("R1",), inputs=(LEVEL, contact(Means.NOT_IN_AUTO)), earlier=("not-in-auto",), left=()
    ),
    "R2": high(("R2",), earlier=("pump-power",), others=("pump-power",)),
    "R3 beside a high level": high(
        ("R3",), earlier=("pump-called",), others=("pump-no-current",)
    ),
    "R3": alone("pump-no-current", HIGH, 10, ("R3",), "pump-called", inputs=PUMP, over=11),
    "R3 duplex": alone(
        "pump-no-current-2", MEDIUM, 10, ("R3-2",), "pump-called-2", inputs=DUPLEX, over=11
    ),
    "R4": Story(
        (LEVEL, *PUMP, CIRCUIT), ("high-level", "pump-called", "pump-running"), 610, c.NOT_FALLING, HIGH,
        ("R4",), others=("high-level",), over=65, told_by=c.HIGH_LEVEL,
    ),
    "R4 of one of two": Story(
        (*DUPLEX, CIRCUIT), ("high-level", *BOTH), 610, c.NOT_FALLING, HIGH, ("R4-2",), others=("high-level",),
        over=65, told_by=c.HIGH_LEVEL,
    ),
    "R4 by one contact of all pumps": Story(
        (LEVEL, RUNNING, CIRCUIT), ("high-level", "pump-running"), 610, c.NOT_FALLING, HIGH, ("R4-0",),
        others=("high-level",), changes=(("pumps", 2),), over=65, told_by=c.HIGH_LEVEL,
    ),
    "R5": high(("R5",), inputs=SWITCHES),
    "R5 timed": high(("R5-timed",), inputs=SWITCHES, kind=Kind.EFFLUENT_TIMED),
    "R6": high(("R6-2",), inputs=DUPLEX, earlier=ONE, left=(), pumps=2),
    "R7": high(("R7",), inputs=DUPLEX, earlier=(*ONE, *BOTH), left=(), pumps=2),
    "R9": alone("pump-uncalled", MEDIUM, 60, ("R9",), "pump-running", inputs=PUMP, over=11),
    "R10": alone(
        "low-level", MEDIUM, 30, ("R10",), "low-level", inputs=(*PUMP, contact(Means.LOW_LEVEL)),
        earlier=("pump-called", "pump-running"),
    ),
    "R10 at the low cut-off": alone(
        "redundant-off", MEDIUM, 30, ("R10",), "redundant-off",
        inputs=(*PUMP, contact(Means.REDUNDANT_OFF)), earlier=("pump-called", "pump-running"),
    ),
    "R11": alone(
        "redundant-off", MEDIUM, 30, ("R11",), "redundant-off",
        inputs=(*PUMP, contact(Means.REDUNDANT_OFF)),
    ),
    "R12": alone(
        "run-too-long", MEDIUM, 1200, ("R12",), "pump-called", "pump-running", inputs=PUMP, over=11,
        run_limit=20 * MINUTE,
    ),
    "R12 by one contact of all pumps": alone(
        "run-too-long", MEDIUM, 1200, ("R12-0",), "pump-running", inputs=(RUNNING,), over=11,
        pumps=2, run_limit=20 * MINUTE,
    ),
    "R15": alone(
        "pump-contradiction", LOW, 60, ("R15",), "pump-running", inputs=PUMP,
        earlier=("pump-power",), others=("pump-power",),
    ),
    "R16": alone(
        "lag-called", LOW, 10, ("R16",), "lag-called", inputs=(LEVEL, contact(Means.LAG_CALLED)),
        pumps=2, over=601,
    ),
    "R18 overload": alone(
        "overload", HIGH, 5, ("R18-overload",), "overload", inputs=(contact(Means.OVERLOAD),), over=6
    ),
    "R18 overload of one of two": alone(
        "overload-1", MEDIUM, 5, ("R18-overload-1",), "overload-1", inputs=DUPLEX, over=6, pumps=2
    ),
    "R18 overload that is called": alone(
        "overload", HIGH, 5, ("R18-overload",), "overload", "pump-called", over=6,
        inputs=(*PUMP, contact(Means.OVERLOAD)),
    ),
    "R18 too hot": alone(
        "over-temperature-1", MEDIUM, 5, ("R18-hot-1",), "over-temperature-1", inputs=SEALED,
        pumps=2, over=301,
    ),
    "R18 too hot and wet": alone(
        "over-temperature-1", HIGH, 5, ("R18-wet-1",), "over-temperature-1", inputs=SEALED,
        earlier=("seal-leak-1",), others=("seal-leak-1",), pumps=2, over=301,
    ),
    "R18 seal": alone(
        "seal-leak-2", LOW, 60, ("R18-seal-2",), "seal-leak-2", inputs=SEALED, pumps=2, over=601
    ),
    "R18 one common contact": alone(
        "pump-fault", HIGH, 5, ("R18-fault",), "pump-fault", over=6,
        inputs=(contact(Means.PUMP_FAULT, carries=(Means.OVERLOAD, Means.SEAL_LEAK)),),
    ),
}  # fmt: skip
STORIES["R3 duplex"] = replace(STORIES["R3 duplex"], changes=(("pumps", 2),))
STORIES["R4 of one of two"] = replace(STORIES["R4 of one of two"], changes=(("pumps", 2),))
every_story = pytest.mark.parametrize("story", STORIES.values(), ids=STORIES)


def _words(row: str, is_news: bool) -> str:
    """A row's sentence; as news of a pump whose start was seen it says how long the pump has run."""
    if not is_news:
        return said(row)
    which = row.partition("-")[2].strip("0")
    pump = f"Pump {which}" if which else "The pump"
    return f"News: {pump} has run for 11 min and the water is not below the alarm float: blocked"


@every_story
def test_it_is_raised_after_its_delay_and_not_before(story: Story) -> None:
    at = story.world().run(story.after - 1)
    assert story.condition not in raised(at)
    assert story.condition in raised(at.run(1.5))


@every_story
def test_it_is_told_with_its_priority_and_its_rows_in_their_order(story: Story) -> None:
    at = story.world().run(story.after + 1)
    assert at.open_alarm(story.condition).priority is story.priority
    at.run(60 if story.told_by else 0)
    kind = NoticeKind.UPDATE if story.told_by else NoticeKind.RAISED
    notice = told(at, story.told_by or story.condition, kind)[0]
    assert (notice.person, notice.priority) == ("anna", story.priority)
    found = [notice.long.index(_words(row, bool(story.told_by))) for row in story.rows]
    assert found == sorted(found)


@every_story
def test_what_another_alarm_tells_is_no_message_of_its_own(story: Story) -> None:
    at = story.world().run(story.after + 61)
    own = told(at, story.condition)
    assert (own == []) is bool(story.told_by)
    suppressed = at.open_alarm(story.condition).suppressed
    assert suppressed == (TOLD_WITH_LEVEL if story.told_by else "")


@every_story
def test_nothing_else_is_raised_for_the_same_cause_and_nothing_twice(story: Story) -> None:
    at = story.world().run(story.after + 20)
    assert sorted(raised(at)) == sorted((story.condition, *story.others))


@every_story
def test_when_it_is_over_those_who_were_told_hear_so(story: Story) -> None:
    at = story.world().run(story.after + 1)
    move(at, *story.moves, *story.earlier, on=False)
    tells = story.told_by or story.condition
    at.run(story.over - 2)
    assert told(at, tells, NoticeKind.STAND_DOWN) == []
    at.run(4)
    assert at.process(story.condition) == ("NORM" if story.told_by else "RTNUN")
    stood_down = [each.person for each in told(at, tells, NoticeKind.STAND_DOWN)]
    # Ten minutes after a high level Ben has been called as well.
    assert stood_down == (["anna", "ben"] if story.told_by else ["anna"])
    assert sorted(raised(at)) == sorted((story.condition, *story.others, *story.left))
