"""At the end of a run: the faults, what was said of each, and after how long."""

from tests.story.conftest import pytest_terminal_summary

__all__ = ["pytest_terminal_summary"]
