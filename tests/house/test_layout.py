"""The house: what stands at the top, how long a module may be, and that no test sleeps."""

import ast
from pathlib import Path

import pytest

from tests.house.tree import ROOT, name, texts, tracked

TOP = {
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "deploy",
    "hardware_notes",
    "pyproject.toml",
    "relayd",
    "systemd",
    "tests",
}
LONGEST_MODULE = 400
SLEEPS = {("time", "sleep"), ("asyncio", "sleep")}


def test_the_top_level_is_the_one_that_is_drawn() -> None:
    seen = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {each for each in seen if not each.startswith(".")} == TOP


@pytest.mark.parametrize(
    "path", [each for each in texts(".py") if "tests" not in each.parts], ids=name
)
def test_a_module_is_read_in_one_sitting(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= LONGEST_MODULE


def sleeps(path: Path) -> list[int]:
    """The lines on which this module calls a sleep of more than 0 s."""
    calls = [each for each in ast.walk(ast.parse(path.read_text())) if isinstance(each, ast.Call)]
    return [call.lineno for call in calls if _is_sleep(call.func) and not _is_zero(call.args)]


def _is_sleep(called: ast.expr) -> bool:
    return (
        isinstance(called, ast.Attribute)
        and isinstance(called.value, ast.Name)
        and (called.value.id, called.attr) in SLEEPS
    )


def _is_zero(arguments: list[ast.expr]) -> bool:
    return any(isinstance(each, ast.Constant) and each.value == 0 for each in arguments)


@pytest.mark.parametrize("path", [each for each in texts(".py") if "tests" in each.parts], ids=name)
def test_no_test_sleeps(path: Path) -> None:
    assert sleeps(path) == []


def test_a_sleep_would_be_found(tmp_path: Path) -> None:
    module = tmp_path / "sleepy.py"
    module.write_text("import time\ntime.sleep(0)\ntime.sleep(0.1)\n")
    assert sleeps(module) == [3]
