"""The wall clock is really set while alarms are open. Not collected by itself: test_clocks.py runs it in the guest.

`clock_settime` moves the clock of a whole kernel, so nothing else may run in it. Times that are
asserted are boot times. CLOCKS names the campaign; each move of the clock is one test.
"""

import os
import re
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from relayd.core.plan import SECOND
from tests.kernel import clocks_site as site
from tests.kernel.clocks_site import CAMPAIGNS, DELAY, STATES, Move
from tests.kernel.clocks_story import Story
from tests.story.acts import number
from tests.story.journal import Record
from tests.story.mailbox import Came, mailbox
from tests.story.pins import Pins
from tests.story.unit import Unit, closing

MARK = "clock| "
TOLERANCE = 2.5
"""Seconds. The least that a clock is moved by here is half an hour; the rest is the guest's slowness,
whose one processor forks a process for each of seven messages at once."""
HOLD = 3.0
"""Seconds without a break after which a level contact is believed back, before its off-delay."""
NOT_SET = "(clock not set)"
CAMPAIGN = CAMPAIGNS[os.environ["CLOCKS"]]
RAISED, OVER, NEWS = "raised", "stand-down", "update"

pytestmark = pytest.mark.timeout(300)


@pytest.fixture(scope="module")
def chip() -> Iterator[Pins]:
    made = Pins({f"{state}.high-level": "open" for state in STATES})
    yield made
    made.sim.close()


@pytest.fixture(params=CAMPAIGN, ids=[each.name for each in CAMPAIGN])
def story(
    request: pytest.FixtureRequest, chip: Pins, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Story]:
    """One move of the clock, played to its end."""
    move: Move = request.param
    with mailbox() as mail:
        unit = Unit(tmp_path_factory.mktemp("unit"), chip)
        people = [person for state in STATES for person in site.people(state)]
        addresses = {person: mail.address(person) for person in people}
        unit.write_plan(site.plan(move.zone, chip.chip, chip.lines(), addresses))
        made = Story(move, unit, mail)
        with closing(unit):
            made.play()
            yield made
            assert unit.stop() == 0


def test_what_is_told(story: Story) -> None:
    """One move is played once, and everything is judged by it."""
    late = [*_delays(story), *_call_lists(story)]
    assert max(late) <= TOLERANCE, late
    assert min(late) >= 0, f"told before its time: {late}"
    _every_notice_once(story)
    for state in STATES:
        _in_order(story, state)
    said = _times_said(story)
    row = f"{story.move.zone:20}| {story.move.name:42}| {max(late):5.2f} s late at most| {said}"
    print(f"{MARK}{row}")


def _delays(story: Story) -> Iterator[float]:
    """How much later than its on- or off-delay each alarm was raised and each was over."""
    for state in STATES:
        yield (story.raised(state) - story.rose[state]) / SECOND - DELAY
        (over,) = story.unit.found("returned", subject=f"panel:{state}")
        yield (over["up"] - story.fell[state]) / SECOND - DELAY - HOLD


def _call_lists(story: Story) -> Iterator[float]:
    """How much later than its call list has it each person was told."""
    for state in STATES:
        a, b, c = site.people(state)
        made = {
            each["body"]["person"]: each["up"]
            for each in story.notices(state)
            if each["body"]["why"] == RAISED
        }
        # Who shelves it stops the list, which begins anew when the shelf is over: a has seen it.
        ends = story.shelved + int(site.SHELF * SECOND)
        since = ends if state == "shelved" else story.raised(state)
        yield (made[a] - story.raised(state)) / SECOND
        if state in FULL_LISTS:
            yield (made[b] - since) / SECOND - site.SECOND_STEP
            yield (made[c] - since) / SECOND - site.THIRD_STEP


FULL_LISTS = ("pending", "waiting", "seen", "shelved")
"""States in which the whole list is told: nobody has it."""


def _every_notice_once(story: Story) -> None:
    """Each person of each panel is owed what the state asks for, and has got it, once."""
    expected = Counter({(person, NEWS): 1 for person in ("shelved-a",)})
    for state in STATES:
        told = site.people(state) if state in FULL_LISTS else site.people(state)[:1]
        expected.update((person, why) for person in told for why in (RAISED, OVER))
    made = [each for state in STATES for each in story.notices(state)]
    assert Counter((each["body"]["person"], each["body"]["why"]) for each in made) == expected
    came = Counter(each.mail.id for each in story.mail.came)
    assert came == Counter({each["body"]["notice"]: 1 for each in made})


def _in_order(story: Story, state: str) -> None:
    """A person's messages come in the order in which they were made."""
    for person in site.people(state):
        ids = [number(each.mail.id) for each in story.mail.to(person)]
        assert ids == sorted(ids)


def _times_said(story: Story) -> str:
    """What the messages of the alarm that was raised after the step say of the time; the words."""
    notices = {each["body"]["notice"]: each for each in story.notices("pending")}
    said = ""
    for came in story.mail.to("pending-a")[:1]:
        said = _since(came)
        if story.move.trusted_after:
            assert said in _minutes(story, notices[came.mail.id]), (said, came.mail.text)
        else:
            assert NOT_SET in said
    first = _since(story.mail.to("waiting-a")[0])
    assert (NOT_SET in first) is not story.move.trusted
    return f"before: '{first}', after: '{said}'"


def _since(came: Came) -> str:
    """'since 14:00' or 'for 4 s (clock not set)'."""
    found = re.search(r"High level (.*?), Tank", came.mail.text)
    assert found is not None, came.mail.text
    return found[1]


def _minutes(story: Story, notice: Record) -> set[str]:
    """How the local time may read at which the alarm's cause came: the zone's own, not the unit's."""
    at = datetime.fromtimestamp(notice["wall"] // SECOND - DELAY, UTC)
    zone = ZoneInfo(story.move.zone)
    near = (at.timestamp() + far for far in (-TOLERANCE, 0.0, TOLERANCE))
    return {f"since {datetime.fromtimestamp(each, zone):%H:%M}" for each in near}
