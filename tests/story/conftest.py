"""At the end of a run: the faults, what was said of each, and after how long."""

import pytest

from tests.story import table


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if table.lines:
        terminalreporter.section("fault: what was said, after how long")
        for line in table.lines:
            terminalreporter.write_line(line)
        table.lines.clear()
