"""The sender that ships for rehearsals keeps the promises of the real one."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

import pytest

from relayd.channels.ledger import CLOSED
from relayd.channels.post import Post
from relayd.channels.recording import RecordingSender
from relayd.core.events import ChannelDown, ChannelUp, Outcome, Sent
from relayd.rig import Secret
from tests.channels.posted import QUICK, Posted, tell
from tests.servers.web import web

FAILED, TAKEN = Outcome.FAILED, Outcome.TAKEN

Sender = Post | RecordingSender
Make = Callable[[Posted], AbstractContextManager[Sender]]


@contextmanager
def recording(posted: Posted) -> Iterator[Sender]:
    yield RecordingSender(posted)


@contextmanager
def real(posted: Posted) -> Iterator[Sender]:
    with web() as server:
        post = Post(posted, {"hook": Secret(server.address())}, pace=QUICK)
        yield post
        post.stop()


@pytest.fixture(params=[recording, pytest.param(real, marks=pytest.mark.slow)])
def make(request: pytest.FixtureRequest) -> Make:
    chosen: Make = request.param
    return chosen


def test_it_says_when_it_is_ready_and_answers_every_send_once(make: Make) -> None:
    posted = Posted()
    with make(posted) as sender:
        sender.tell(tell(1, "hook"))
        sender.start()
        posted.sent(1)
        sender.tell(tell(2, "hook"))
        posted.sent(2)
        assert posted.events == [ChannelUp("sender"), Sent(1, TAKEN), Sent(2, TAKEN)]


def test_before_it_starts_a_send_can_be_taken_back_and_is_in_hand_once(make: Make) -> None:
    posted = Posted()
    with make(posted) as sender:
        for each in (1, 2, 2):
            sender.tell(tell(each, "hook"))
        sender.withdraw(1)
        assert posted.events == []
        sender.start()
        posted.sent(2)
        sender.tell(tell(3, "hook"))
        posted.sent(3)
        assert posted.events == [ChannelUp("sender"), Sent(2, TAKEN), Sent(3, TAKEN)]


def test_it_lives_until_it_is_stopped_and_then_fails_what_is_in_hand(make: Make) -> None:
    posted = Posted()
    with make(posted) as sender:
        sender.start()
        assert sender.alive()
        assert sender.beat() > 0
        sender.stop()
        assert not sender.alive()
        sender.tell(tell(1, "hook"))
        assert posted.outcome(1) == (FAILED, CLOSED)


def test_stopped_before_it_started_it_fails_what_waits(make: Make) -> None:
    posted = Posted()
    with make(posted) as sender:
        sender.tell(tell(1, "hook"))
        sender.stop()
        assert posted.events == [Sent(1, FAILED, CLOSED)]


def test_it_keeps_what_it_was_told() -> None:
    sender = RecordingSender(Posted())
    sender.start()
    sender.tell(tell(1, "hook"))
    sender.withdraw(1)
    assert (sender.told, sender.withdrawn) == ([tell(1, "hook")], [1])


def test_a_send_stays_out_until_it_is_answered() -> None:
    posted = Posted()
    sender = RecordingSender(posted, respond=lambda told: None)
    sender.start()
    sender.tell(tell(1, "hook"))
    sender.tell(tell(1, "hook"))
    sender.answer(2, TAKEN)
    sender.answer(1, Outcome.REFUSED, "550")
    sender.answer(1, TAKEN)
    assert posted.events == [ChannelUp("sender"), Sent(1, Outcome.REFUSED, "550")]
    assert sender.told == [tell(1, "hook")]


def test_fallen_it_loses_what_is_out_and_keeps_what_is_told() -> None:
    posted = Posted()
    sender = RecordingSender(posted, respond=lambda told: None)
    sender.start()
    sender.tell(tell(1, "hook"))
    sender.fall("ended with signal 9")
    sender.tell(tell(2, "hook"))
    sender.start()
    assert posted.events == [
        ChannelUp("sender"),
        ChannelDown("sender", "ended with signal 9"),
        Sent(1, FAILED, "the sender ended"),
        ChannelUp("sender"),
    ]
    assert [each.send for each in sender.told] == [1, 2]
    sender.stop()
    assert posted.events[-1] == Sent(2, FAILED, CLOSED)
