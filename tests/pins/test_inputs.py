"""The real inputs where they differ from a script: what they do when pins or posters misbehave."""

from collections.abc import Iterator

import pytest

from relayd.core.events import EdgeSeen, Event, FaultFound, InputLost, LevelRead
from relayd.pins.inputs import PinContacts
from relayd.rig import Line
from tests.contacts.harness import HIGH, INPUTS, LINES, POLL, POWER, Mock, Posted


@pytest.fixture
def mock() -> Iterator[Mock]:
    made = Mock()
    yield made
    made.close()


@pytest.fixture
def posted() -> Posted:
    return Posted()


@pytest.mark.parametrize("closed", [True, False], ids=["to closed", "to open"])
def test_a_move_without_an_edge_is_put_right_by_the_next_poll(
    mock: Mock, posted: Posted, closed: bool
) -> None:
    mock.move(HIGH, not closed)
    mock.contacts.start(posted)
    mock.pin(HIGH).slip(closed is not LINES[HIGH].closed_when_low)
    _, read = posted.until(HIGH, 2)
    assert isinstance(read, LevelRead)
    assert read.closed is closed


class FailsOnce(Posted):
    """A poster that breaks its own promise once."""

    def __init__(self, kind: type[Event]) -> None:
        super().__init__()
        self._kind: type[Event] | None = kind

    def __call__(self, event: Event) -> None:
        if self._kind and isinstance(event, self._kind):
            self._kind = None
            raise RuntimeError("no room")
        super().__call__(event)


def test_a_fault_in_a_pin_s_callback_is_said_and_the_pins_go_on(mock: Mock) -> None:
    posted = FailsOnce(EdgeSeen)
    mock.contacts.start(posted)
    mock.move(HIGH, True)
    mock.move(HIGH, False)
    (fault,) = posted.until_said(FaultFound)
    assert fault == FaultFound(f"edge of {HIGH}", "RuntimeError: no room")
    assert posted.until_stands(HIGH, False)
    assert mock.contacts.alive()


def test_a_fault_in_the_thread_is_said_and_the_thread_lives(mock: Mock) -> None:
    posted = FailsOnce(InputLost)
    mock.contacts.start(posted)
    mock.lose(HIGH)
    (fault,) = posted.until_said(FaultFound)
    assert fault == FaultFound("contacts", "RuntimeError: no room")
    assert mock.contacts.alive()


def test_a_chip_that_is_not_there_is_said_for_each_of_its_lines(posted: Posted) -> None:
    lines = tuple(Line(name, "no-such-chip", number) for number, name in enumerate(INPUTS))
    contacts = PinContacts(lines, POLL)
    contacts.start(posted)
    contacts.stop()
    whys = {name: [getattr(each, "why", None) for each in posted.about(name)] for name in INPUTS}
    assert whys == {
        HIGH: ["line 0 of no-such-chip: no chip is called no-such-chip"],
        POWER: ["line 1 of no-such-chip: no chip is called no-such-chip"],
    }


def test_a_path_that_is_no_chip_is_said(posted: Posted) -> None:
    contacts = PinContacts((Line(HIGH, "/dev/null", 0),), POLL)
    contacts.start(posted)
    contacts.stop()
    (lost,) = posted.about(HIGH)
    assert isinstance(lost, InputLost)
    assert lost.why.startswith("line 0 of /dev/null: ")


def test_one_pin_wired_twice_is_said_and_the_first_is_watched(mock: Mock, posted: Posted) -> None:
    lines = (LINES[HIGH], Line(POWER, "panel", LINES[HIGH].line))
    contacts = PinContacts(lines, POLL, mock.factory)
    contacts.start(posted)
    contacts.stop()
    assert isinstance(posted.about(HIGH)[0], LevelRead)
    lost = posted.about(POWER)[0]
    assert isinstance(lost, InputLost)
    assert "already in use" in lost.why


def test_contacts_can_be_stopped_before_they_start_and_twice(mock: Mock) -> None:
    mock.contacts.stop()
    mock.contacts.stop()
    assert not mock.contacts.alive()
