"""Where a horn stands in its alarm, at the corners that a story does not reach."""

from relayd.core.plan import HOUR
from relayd.core.state import Horn
from relayd.core.upkeep.horn_senses import Senses
from relayd.core.upkeep.horn_trials import _stopped, silence_over
from tests.core.build import panel

SENSES = Senses(None, None, None, None, None, 0, False)


def test_a_horn_that_is_not_watched_has_not_stopped() -> None:
    assert _stopped(Horn(undriven=5), SENSES) is None


def test_an_output_that_went_dead_before_the_alarm_was_not_silenced_in_it() -> None:
    made = panel("cabin", silence_time=HOUR)
    assert silence_over(Horn(watch=10, undriven=5), made) is None
    assert silence_over(Horn(watch=10, undriven=15), made) == 15 + HOUR * 5 // 4
