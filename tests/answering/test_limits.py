"""Five wrong codes a sender and fifty a way within an hour, in simulated time."""

from relayd.answering.limits import BY_SENDER, BY_WAY, SENDERS, Budget, Tries
from relayd.core.plan import HOUR, MINUTE


def test_the_numbers_are_those_that_were_decided() -> None:
    assert (BY_SENDER, BY_WAY) == (5, 50)


def test_a_sender_has_five_wrong_tries_in_an_hour_and_then_waits() -> None:
    tries = Tries()
    for number in range(5):
        assert not tries.shut("eve", number * MINUTE)
        assert not tries.wrong("eve", number * MINUTE)
    assert tries.shut("eve", 5 * MINUTE)
    assert not tries.shut("anna", 5 * MINUTE)
    assert tries.shut("eve", HOUR - 1)
    assert not tries.shut("eve", HOUR)


def test_fifty_wrong_tries_lock_the_way_for_an_hour_and_that_is_news_once() -> None:
    tries = Tries()
    news = [tries.wrong(f"eve{number}", number) for number in range(60)]
    assert news == [False] * 49 + [True] + [False] * 10
    assert tries.locked(60) == HOUR + 49
    assert tries.locked(HOUR + 48)
    assert not tries.locked(HOUR + 49)


def test_fifty_in_more_than_an_hour_lock_nothing() -> None:
    tries = Tries()
    assert not any(tries.wrong(f"eve{number}", number * 75 * MINUTE // 50) for number in range(200))


def test_where_no_sender_is_told_only_the_way_s_own_limit_counts() -> None:
    tries = Tries()
    news = [tries.wrong("", number) for number in range(50)]
    assert news == [False] * 49 + [True]
    assert not tries.shut("", 50)
    assert tries.locked(50)


def test_no_more_senders_are_remembered_than_there_is_room_for() -> None:
    tries = Tries(by_way=10**6)
    for number in range(3 * SENDERS):
        tries.wrong(f"eve{number}", number)
    assert len(tries._senders) == SENDERS


def test_a_budget_is_spent_and_fills_again() -> None:
    budget = Budget(2)
    assert [budget.spend(at) for at in (0, 1, 2, HOUR)] == [True, True, False, True]
    assert budget.spent(HOUR)
    assert budget.again() == HOUR + 1
