"""What holds for all tests: how hard Hypothesis looks, and which files begin first."""

import pytest
from hypothesis import settings

# Machines that run tests are slow at times: how long one example takes is no property of relayd.
settings.register_profile("run", deadline=None, print_blob=True)
# tests/long: the campaigns. A failing history is printed with the seed that repeats it.
settings.register_profile("long", deadline=None, print_blob=True, max_examples=10_000)
settings.load_profile("run")

FIRST = ("story", "demo", "mailbox", "faults", "channels", "supervision", "test_histories.py")
"""What waits for processes, and what is long in one piece: the rest is done beside it."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put that first; else one long file at the end keeps a single worker."""
    items.sort(key=lambda each: not any(name in FIRST for name in each.path.parts))
