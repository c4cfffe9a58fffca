"""Boots the user-mode kernel and sets its wall clock, for real, while a unit has alarms in every state."""

import pytest

from tests.kernel.clocks_site import CAMPAIGNS
from tests.kernel.guest import NO_KERNEL, program, run
from tests.kernel.test_kernel import PYTEST

pytestmark = [
    pytest.mark.kernel,
    pytest.mark.slow,
    # Seven alarms and a call list in real time: more than a minute each.
    pytest.mark.long,
    pytest.mark.timeout(3600),
    pytest.mark.skipif(program() is None, reason=NO_KERNEL),
]
EACH = 240
"""Seconds that one move of the clock may take in a guest on a busy machine."""
SUITE = "tests/kernel/clocks_inside.py"


@pytest.mark.parametrize("campaign", CAMPAIGNS)
def test_a_wall_clock_that_is_set_alters_no_duration_and_loses_or_doubles_no_notice(
    campaign: str,
) -> None:
    moves = len(CAMPAIGNS[campaign])
    places = {"RELAYD_REAL_PINS": "1", "CLOCKS": campaign, "TMPDIR": "/run"}
    done = run([*PYTEST, "--timeout=0", "--basetemp=/run/t", SUITE], EACH * moves, places)
    print(done.output)
    assert done.status == 0
    assert f"{moves} passed" in done.output
