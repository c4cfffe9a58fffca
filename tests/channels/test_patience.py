"""When the daemon asks its sender whether it lives, and when it gives it up."""

import pytest

from relayd.channels.patience import Pace, Patience
from relayd.core.plan import SECOND

PACE = Pace()


@pytest.mark.parametrize(
    ("deaths", "seconds"),
    [(0, 0), (1, 0), (2, 1), (3, 2), (4, 4), (5, 8), (6, 16), (7, 30), (8, 30), (10_000, 30)],
)
def test_the_pause_before_the_next_start_doubles(deaths: int, seconds: int) -> None:
    assert PACE.pause(deaths) == seconds * SECOND


def test_one_that_does_not_get_ready_is_given_up() -> None:
    patience = Patience(PACE, now=7)
    assert patience.due() == 7 + PACE.load
    assert patience.overdue(patience.due() - 1) == ""
    assert patience.overdue(patience.due()) == "does not get ready within 120 s"


def test_one_that_is_ready_is_asked_and_given_up_without_an_answer() -> None:
    patience = Patience(PACE, now=0)
    patience.heard_ready(now=SECOND)
    assert patience.question(SECOND) is None
    asked = patience.due()
    assert asked == SECOND + PACE.ping
    assert patience.question(asked) == 1
    assert patience.question(asked) is None
    assert patience.overdue(asked + PACE.answer - 1) == ""
    assert patience.overdue(asked + PACE.answer) == "does not answer within 10 s"


def test_an_answer_is_good_until_the_next_question() -> None:
    patience = Patience(PACE, now=0)
    patience.heard_ready(now=0)
    assert patience.question(PACE.ping) == 1
    patience.heard_beat(1, now=PACE.ping + 1)
    assert patience.overdue(PACE.ping + PACE.answer) == ""
    assert patience.due() == 2 * PACE.ping + 1


def test_an_answer_to_an_older_question_counts_for_nothing() -> None:
    patience = Patience(PACE, now=0)
    patience.heard_ready(now=0)
    patience.question(PACE.ping)
    patience.heard_beat(0, now=PACE.ping + 1)
    assert patience.overdue(PACE.ping + PACE.answer) != ""
