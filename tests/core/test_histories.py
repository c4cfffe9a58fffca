"""Thousands of random histories: nothing spins, nobody is forgotten, no alarm is lost."""

import pytest
from hypothesis import HealthCheck, given, settings

from relayd.core.plan import Plan
from tests.core.histories import Happens, histories, live, plans

ANY = settings(suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


@pytest.mark.untraced
@pytest.mark.slow
@pytest.mark.timeout(400)
@settings(ANY, max_examples=2000)
@given(plans(), histories(12))
def test_every_promise_holds_in_every_history(plan: Plan, history: list[Happens]) -> None:
    live(plan, history)


@pytest.mark.long
@pytest.mark.timeout(0)
@settings(ANY, max_examples=100_000)
@given(plans(), histories(60))
def test_every_promise_holds_in_very_many_long_histories(
    plan: Plan, history: list[Happens]
) -> None:
    live(plan, history)
