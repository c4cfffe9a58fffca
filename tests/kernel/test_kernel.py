"""Boots the user-mode kernel and runs, inside it, what needs real pins."""

import os

import pytest

from tests.kernel.guest import NO_KERNEL, program, run

pytestmark = [
    pytest.mark.kernel,
    pytest.mark.slow,
    pytest.mark.skipif(program() is None, reason=NO_KERNEL),
]

PYTEST = ["-m", "pytest", "-p", "no:cacheprovider", "-q", "-s", "--color=no", "-m", ""]


def passes_inside(suite: str, seconds: int, **env: str) -> None:
    """Run one suite in a guest; its output is this test's, and it must pass without a skip."""
    seed = os.environ.get("RELAYD_SEED", "")
    done = run([*PYTEST, suite], seconds, {"RELAYD_REAL_PINS": "1", "RELAYD_SEED": seed, **env})
    print(done.output)
    assert done.status == 0
    assert " passed" in done.output
    assert " skipped" not in done.output


@pytest.mark.timeout(120)
def test_the_contract_of_every_source_of_edges_holds_on_real_pins() -> None:
    passes_inside("tests/contacts/test_contract.py", 90)


@pytest.mark.timeout(150)
def test_pins_that_misbehave() -> None:
    passes_inside("tests/kernel/pins_inside.py", 120)


@pytest.mark.timeout(150)
def test_1000_trains_of_bounce() -> None:
    passes_inside("tests/kernel/bounce_inside.py", 120, RELAYD_TRAINS="1000")


@pytest.mark.long
@pytest.mark.timeout(1000)
def test_20000_trains_of_bounce() -> None:
    passes_inside("tests/kernel/bounce_inside.py", 900, RELAYD_TRAINS="20000")


def test_the_suite_inside_has_the_kernel_s_pins_among_its_sources() -> None:
    listing = run(
        [*PYTEST, "--collect-only", "tests/contacts/test_contract.py"],
        50,
        {"RELAYD_REAL_PINS": "1"},
    )
    assert "[kernel]" in listing.output
