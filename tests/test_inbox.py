"""The queue of the alarm path: in order, bounded by kind, and back in time whatever the time-out."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread

import pytest

from relayd.clock import boottime
from relayd.core.events import (
    AnswerUnused,
    ChannelUp,
    Commanded,
    EdgeSeen,
    Event,
    FaultFound,
    LevelRead,
    Looked,
    Outcome,
    Sent,
    TimePassed,
    Unused,
)
from relayd.core.plan import SECOND
from relayd.inbox import COMMANDS_AT_MOST, EDGES_AT_MOST, Inbox

FOREVER = 30.0


@pytest.fixture
def inbox() -> Inbox:
    return Inbox()


def edge(number: int) -> EdgeSeen:
    return EdgeSeen("cabin.high-level", True, number)


def test_events_come_out_in_the_order_in_which_they_went_in(inbox: Inbox) -> None:
    events: list[Event] = [edge(1), ChannelUp("mqtt"), edge(2), TimePassed()]
    for each in events:
        inbox.put(each)
    assert [inbox.get(FOREVER) for _ in events] == events
    assert inbox.get(0.0) is None


def test_an_event_of_another_thread_ends_the_wait(inbox: Inbox) -> None:
    thread = Thread(target=inbox.put, args=(edge(1),))
    thread.start()
    assert inbox.get(FOREVER) == edge(1)
    thread.join()


def test_an_event_of_a_signal_handler_ends_the_wait(inbox: Inbox) -> None:
    with handled(signal.SIGALRM, inbox):
        signal.setitimer(signal.ITIMER_REAL, 0.01)
        assert inbox.get(FOREVER) == TimePassed()


@pytest.mark.slow
def test_a_handler_that_interrupts_the_loop_itself_waits_for_nothing(inbox: Inbox) -> None:
    with handled(signal.SIGALRM, inbox):
        signal.setitimer(signal.ITIMER_REAL, 0.0001, 0.0001)
        found = [inbox.get(FOREVER) for _ in range(2_000)]
        signal.setitimer(signal.ITIMER_REAL, 0)
    assert found == [TimePassed()] * 2_000


@contextmanager
def handled(number: signal.Signals, inbox: Inbox) -> Iterator[None]:
    before = signal.signal(number, lambda *_: inbox.put(TimePassed()))
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(number, before)


@pytest.mark.slow
def test_a_wait_of_microseconds_comes_back() -> None:
    """In a child: where it does not come back, nothing but a signal ends it.

    With SimpleQueue about one wait in ten thousand does not, after an event that was there at once.
    """
    child = os.fork()
    if child == 0:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.alarm(int(FOREVER))
        inbox = Inbox()
        for number in range(40_000):
            inbox.put(TimePassed())
            inbox.get(0.0)
            inbox.get(number % 20 * 1e-6)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def test_a_wait_lasts_its_time_although_the_bell_has_rung_before(inbox: Inbox) -> None:
    inbox.put(edge(1))
    assert inbox.get(FOREVER) == edge(1)
    begun = boottime()
    assert inbox.get(0.01) is None
    assert boottime() - begun >= SECOND // 100


def test_edges_and_commands_are_bounded_and_what_is_dropped_is_counted(inbox: Inbox) -> None:
    for number in range(EDGES_AT_MOST + 3):
        inbox.put(edge(number))
    for number in range(COMMANDS_AT_MOST + 2):
        inbox.put(Commanded(str(number), Looked("cabin", normal=True), "ben", "test"))
    inbox.put(ChannelUp("mqtt"))
    assert inbox.dropped() == {"EdgeSeen": 3, "Commanded": 2}
    assert inbox.dropped() == {}
    taken = [inbox.get(0.0) for _ in range(EDGES_AT_MOST + COMMANDS_AT_MOST)]
    assert taken[0] == edge(0)
    assert inbox.get(0.0) == ChannelUp("mqtt")
    inbox.put(edge(1))
    assert inbox.get(0.0) == edge(1)


@pytest.mark.parametrize(
    ("event", "most"),
    [
        pytest.param(
            AnswerUnused("mail", next(iter(Unused)), "x"), 256, id="answers that are not used"
        ),
        pytest.param(FaultFound("mqtt", "x"), 256, id="faults"),
        pytest.param(Sent(7, Outcome.TAKEN), 4096, id="ends of sends"),
    ],
)
def test_whoever_shouts_does_not_fill_the_memory(inbox: Inbox, event: Event, most: int) -> None:
    for _ in range(most + 5):
        inbox.put(event)
    level = LevelRead("cabin.high-level", True, 1)
    for _ in range(most + 5):
        inbox.put(level)
    assert inbox.dropped() == {type(event).__name__: 5}
    taken = [inbox.get(0.0) for _ in range(2 * most + 5)]
    assert taken.count(event) == most
    assert taken.count(level) == most + 5, "a level is never dropped"
