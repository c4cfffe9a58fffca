"""The sends in hand."""

from relayd.channels.ledger import CLOSED, FULL, Ledger
from tests.channels.posted import tell


def test_what_is_offered_first_leaves_first() -> None:
    ledger = Ledger()
    assert [ledger.offer(tell(each, "a")) for each in (2, 1)] == ["", ""]
    assert [each and each.send for each in (ledger.next(), ledger.next(), ledger.next())] == [
        2,
        1,
        None,
    ]


def test_a_send_in_hand_is_not_taken_twice() -> None:
    ledger = Ledger()
    assert ledger.offer(tell(1, "a")) == ledger.offer(tell(1, "a")) == ""
    assert ledger.next() == tell(1, "a")
    assert ledger.offer(tell(1, "a")) == ""
    assert ledger.next() is None


def test_what_has_ended_may_come_again() -> None:
    ledger = Ledger()
    ledger.offer(tell(1, "a"))
    ledger.next()
    assert ledger.done(1)
    assert not ledger.done(1)
    ledger.offer(tell(1, "a"))
    assert ledger.next() == tell(1, "a")


def test_there_is_no_room_for_more_than_agreed_also_while_all_are_out() -> None:
    ledger = Ledger(room=2)
    ledger.offer(tell(1, "a"))
    ledger.offer(tell(2, "a"))
    ledger.next()
    assert ledger.offer(tell(3, "a")) == FULL
    ledger.done(1)
    assert ledger.offer(tell(3, "a")) == ""


def test_only_what_is_out_must_be_asked_back() -> None:
    ledger = Ledger()
    ledger.offer(tell(1, "a"))
    ledger.offer(tell(2, "a"))
    ledger.next()
    assert ledger.withdraw(1)
    assert not ledger.withdraw(2)
    assert ledger.next() is None


def test_what_was_out_is_lost_and_what_waits_stays() -> None:
    ledger = Ledger()
    for each in (1, 2, 3):
        ledger.offer(tell(each, "a"))
    ledger.next()
    ledger.next()
    assert ledger.lost() == [1, 2]
    assert ledger.lost() == []
    assert ledger.next() == tell(3, "a")


def test_closed_it_gives_up_everything_and_takes_nothing() -> None:
    ledger = Ledger()
    for each in (1, 2):
        ledger.offer(tell(each, "a"))
    ledger.next()
    assert ledger.close() == [1, 2]
    assert ledger.offer(tell(3, "a")) == CLOSED
    assert ledger.close() == []
