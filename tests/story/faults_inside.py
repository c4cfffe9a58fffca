"""Faults of disk and pins. Not collected by itself: test_inside.py runs it in the guest.

STORY_STATE names a folder on a disk of the guest's own, which can be frozen.
"""

import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from threading import Condition, Event as Flag, Thread

import pytest

from relayd.clock import boottime
from relayd.control import client
from relayd.core.plan import SECOND
from relayd.errors import NotReachable, Refused, RelaydError
from tests.kernel.inside import freeze, thaw
from tests.story import table
from tests.story.journal import Record
from tests.story.mailbox import mailbox
from tests.story.pins import Pins, pins
from tests.story.plans import CIRCUIT, LEVEL, plan
from tests.story.stage import QUICK, Stage
from tests.story.unit import Unit, closing

STALL = 5.0
LATEST = 2.0
"""Seconds from the raising of an alarm to the hand-out of its notice, whatever the disk does."""

pytestmark = pytest.mark.timeout(150)


@pytest.fixture
def chip() -> Iterator[Pins]:
    with pins() as made:
        yield made


@pytest.fixture
def stage(tmp_path: Path, chip: Pins, request: pytest.FixtureRequest) -> Iterator[Stage]:
    """A unit on real pins, whose state lies on the disk."""
    with ExitStack() as around:
        mail = around.enter_context(mailbox())
        state = Path(os.environ["STORY_STATE"]) / tmp_path.name
        unit = Unit(tmp_path / "unit", chip, state)
        around.enter_context(closing(unit))
        made = Stage(tmp_path, around, mail, unit)
        made.fault = request.node.name.removeprefix("test_").replace("_", " ")
        yield made
        table.add(*made.rows)


class Follower:
    """What the unit says of itself over its socket, with the boot time at which it was heard."""

    def __init__(self, unit: Unit) -> None:
        self._heard: list[tuple[int, Record]] = []
        self._news = Condition()
        self._socket = unit.run / "control.sock"
        Thread(target=self._follow, daemon=True).start()
        unit.until(lambda: self._asked(unit), "somebody follows")

    def until(self, what: str, seconds: float = 30.0, **body: object) -> int:
        """When it first said that."""

        def found() -> list[int]:
            wanted = {"what": what, **body}.items()
            return [at for at, line in self._heard if wanted <= line.items()]

        with self._news:
            assert self._news.wait_for(lambda: bool(found()), seconds), f"no {what}: {self._heard}"
            return found()[0]

    def _asked(self, unit: Unit) -> bool:
        """Whether it hears by now that a question was refused."""
        try:
            unit.ask("acknowledge", {"panel": "cabin"}, "nobody")
        except Refused:
            return bool(self._heard)
        raise AssertionError("a person that is not in the plan was believed")

    def _follow(self) -> None:
        try:
            for line in client.follow(self._socket):
                with self._news:
                    plain = {key: str(value) for key, value in line.items()}
                    self._heard.append((boottime(), plain))
                    self._news.notify_all()
        except NotReachable:
            return  # the unit has ended


def test_a_disk_that_stalls_for_5_s_while_an_alarm_is_raised(stage: Stage) -> None:
    unit = stage.unit
    stage.begin(stage.site())
    _warm(stage)
    heard = Follower(unit)
    moved = boottime()
    unit.move(LEVEL, "closed")
    heard.until("input", input=LEVEL, reads="closed")
    with frozen(unit.state) as since:
        handed = heard.until("send", STALL, channel="anna.mail", title="HIGH LEVEL - Cabin tank")
        came = stage.mail.until("anna", "HIGH LEVEL", 2, seconds=STALL)
        stands = unit.alarm("high-level")["state"]
        asked = boottime()
        unit.ask("acknowledge", {"panel": "cabin", "act": "seen"}, "anna")
        stage.note("an acknowledgement is answered meanwhile", asked)
    thawed = boottime()
    assert stands == "UNACK"
    due = moved + int(QUICK * SECOND)
    assert since < due < handed < thawed
    assert stage.note("the notice is handed out", due, handed) <= LATEST
    stage.note("Anna's mail is at her server", due, came.at)
    _said_of_the_journal(stage, since, thawed)
    ids = [each.mail.id for each in stage.mail.to("anna")]
    assert len(ids) == len(set(ids))


def _warm(stage: Stage) -> None:
    """One alarm from its begin to its end, so that everything that is slow at first has been done."""
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")
    stage.falls()
    stage.mail.until("anna", "Alarm over")


def _said_of_the_journal(stage: Stage, since: int, thawed: int) -> None:
    unit = stage.unit
    late = unit.said("unit judged", condition="journal-late")
    stage.note(f"journal late: {late['body']['why']}", since, late["up"])
    told = stage.mail.until("anna", "JOURNAL LATE")
    stage.note("Anna is told 'journal late'", since, told.at)
    again = unit.said("unit judged", condition="journal-late", why="well again")
    stage.note("after the thaw: in time again", thawed, again["up"])
    raised, seen = unit.said("raised", 2, condition="high-level"), unit.said("acknowledged")
    assert since < raised["up"] < seen["up"] < thawed


@contextmanager
def frozen(folder: Path) -> Iterator[int]:
    """The disk under the folder takes nothing until STALL is over; gives the boot time of its begin."""
    since = boottime()
    freeze(folder)
    try:
        yield since
        # The stall is what is under test: it lasts as long as it was said to.
        Flag().wait(max(0.0, STALL - (boottime() - since) / SECOND))
    finally:
        thaw(folder)


def test_a_question_about_the_journal_while_its_disk_stalls(stage: Stage) -> None:
    """Who asks for the log is refused, and holds up nobody: neither commands nor alarms."""
    unit = stage.unit
    stage.begin(stage.site())
    _warm(stage)
    occurrence = stage.rises()["body"]["occurrence"]
    with frozen(unit.state):
        unit.move(CIRCUIT, "open")
        unit.until(lambda: unit.ask("status")["unit"]["journal"] != "in time", "late", STALL)
        for patience in (2.5, 0.5):
            asked = boottime()
            with pytest.raises(RelaydError, match="the disk does not answer"):
                unit.ask("log", {"last": 5})
            assert stage.note("'relayd log' is refused", asked) < patience
        asked = boottime()
        unit.ask("acknowledge", {"occurrence": occurrence}, "ben")
        assert stage.note("then an acknowledgement is answered", asked) < 2.0


def test_a_chip_that_vanishes_and_returns(stage: Stage, chip: Pins) -> None:
    unit = stage.unit
    stage.begin(stage.site())
    assert unit.process is not None
    pid = unit.process.pid
    gone = boottime()
    chip.take_out()
    lost = unit.said("input lost", input=LEVEL)
    stage.note(f"input lost: {lost['body']['why']}", gone, lost["up"])
    came = stage.mail.until("anna", "INPUT CANNOT BE READ", seconds=60)
    stage.note("Anna is told 'input cannot be read'", gone, came.at)
    back, mark = boottime(), unit.mark()
    chip.put_back()
    found = unit.said("input found", after=mark, input=LEVEL)
    stage.note("input found again", back, found["up"])
    moved = boottime()
    raised = stage.rises()
    stage.note("the float rises: raised, without a restart", moved, raised["up"])
    assert unit.process.pid == pid
    stage.mail.until("anna", "HIGH LEVEL")
    assert len(unit.found("started")) == 1


def test_a_reload_on_real_pins(stage: Stage) -> None:
    unit = stage.unit
    site = stage.site()
    stage.begin(site)
    assert unit.process is not None
    pid = unit.process.pid
    unit.write_plan(plan(replace(site, name="Elder pond cabins")))
    began = boottime()
    assert unit.relayd("reload").returncode == 0
    unit.await_watching()
    stage.note("watches the same lines again", began)
    assert unit.process.pid == pid
    assert unit.ask("status")["unit"]["name"] == "Elder pond cabins"
    stage.rises()
    stage.mail.until("anna", "HIGH LEVEL")
    assert unit.stop() == 0
