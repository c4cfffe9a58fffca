"""The sends in hand."""

from relayd.channels.ledger import BESIDE, CLOSED, FULL, Ledger
from tests.channels.posted import tell

NOW = 1000


def test_what_is_offered_first_leaves_first() -> None:
    ledger = Ledger()
    assert [ledger.offer(tell(each, f"way{each}")) for each in (2, 1)] == ["", ""]
    assert [ledger.next(NOW) for _ in range(3)] == [tell(2, "way2"), tell(1, "way1"), None]


def test_the_most_urgent_of_a_channel_leaves_first() -> None:
    ledger = Ledger()
    for number, priority in enumerate(("low", "medium", "high", "high")):
        ledger.offer(tell(number, "a", priority=priority))
    left = []
    for _ in range(4):
        each = ledger.next(NOW)
        assert each
        left.append(each.send)
        ledger.done(each.send)
        ledger.settled(each.send)
    assert left == [2, 3, 1, 0]


def test_the_next_of_a_channel_waits_until_what_became_of_the_one_before_is_settled() -> None:
    ledger = Ledger()
    for number, channel in ((1, "a"), (2, "a"), (3, "b")):
        ledger.offer(tell(number, channel))
    assert ledger.next(NOW) == tell(1, "a")
    assert ledger.next(NOW) == tell(3, "b")
    assert ledger.next(NOW + BESIDE - 1) is None
    ledger.done(1)
    assert ledger.next(NOW + BESIDE - 1) is None
    ledger.settled(1)
    assert ledger.next(NOW + 1) == tell(2, "a")


def test_a_slow_one_holds_up_one_other_of_its_channel_for_a_while() -> None:
    ledger = Ledger()
    for number in (1, 2, 3):
        ledger.offer(tell(number, "a"))
    assert ledger.due() == 0
    ledger.next(NOW)
    assert ledger.due() == NOW + BESIDE
    assert ledger.next(NOW + BESIDE) == tell(2, "a")
    assert ledger.due() is None, "two are out, so the third waits for an answer"
    assert ledger.next(NOW + 10 * BESIDE) is None
    ledger.done(1)
    assert ledger.due() == NOW + 2 * BESIDE
    ledger.settled(1)
    ledger.settled(2)
    ledger.done(2)
    assert ledger.next(NOW + BESIDE) == tell(3, "a")


def test_a_send_in_hand_is_not_taken_twice() -> None:
    ledger = Ledger()
    assert ledger.offer(tell(1, "a")) == ledger.offer(tell(1, "a")) == ""
    assert ledger.next(NOW) == tell(1, "a")
    assert ledger.offer(tell(1, "a")) == ""
    assert ledger.next(NOW) is None


def test_what_has_ended_may_come_again() -> None:
    ledger = Ledger()
    ledger.offer(tell(1, "a"))
    ledger.next(NOW)
    assert ledger.done(1)
    assert not ledger.done(1)
    ledger.settled(1)
    ledger.offer(tell(1, "a"))
    assert ledger.next(NOW) == tell(1, "a")


def test_there_is_no_room_for_more_than_agreed_also_while_all_are_out() -> None:
    ledger = Ledger(room=2)
    ledger.offer(tell(1, "a"))
    ledger.offer(tell(2, "a"))
    ledger.next(NOW)
    assert ledger.offer(tell(3, "a")) == FULL
    ledger.done(1)
    assert ledger.offer(tell(3, "a")) == ""


def test_only_what_is_out_must_be_asked_back() -> None:
    ledger = Ledger()
    ledger.offer(tell(1, "a"))
    ledger.offer(tell(2, "a"))
    ledger.next(NOW)
    assert ledger.withdraw(1)
    assert not ledger.withdraw(2)
    assert ledger.next(NOW) is None


def test_what_was_out_is_lost_and_what_waits_stays() -> None:
    ledger = Ledger()
    for each in (1, 2, 3):
        ledger.offer(tell(each, "a"))
    ledger.next(NOW)
    ledger.next(NOW + BESIDE)
    assert ledger.lost() == [1, 2]
    assert ledger.lost() == []
    for each in (1, 2):
        ledger.settled(each)
    assert ledger.next(NOW + BESIDE) == tell(3, "a")


def test_closed_it_gives_up_everything_and_takes_nothing() -> None:
    ledger = Ledger()
    for each in (1, 2):
        ledger.offer(tell(each, "a"))
    ledger.next(NOW)
    assert ledger.close() == [1, 2]
    assert ledger.offer(tell(3, "a")) == CLOSED
    assert ledger.close() == []
