"""What a message tells somebody to type can be typed: the command is there, with those options."""

import ast
import re
from collections.abc import Iterator

import pytest
import typer
from typer.core import TyperGroup

from relayd import languages
from relayd.cli.app import app
from tests.house.tree import ROOT

SAID = re.compile(r"\brelayd ([a-z]+(?:-[a-z]+)*)((?: (?!relayd )[^ ;:]+)*)")
OPTION = re.compile(r"--[a-z]+(?:-[a-z]+)*")
PLAIN_WORDS = {"notes", "raises", "begins", "offers", "sees", "knows", "may", "is", "was", "never"}
"""Words that follow the name in a sentence that tells of relayd."""
GROUP = typer.main.get_command(app)


def options() -> dict[str, set[str]]:
    """Command -> its options."""
    assert isinstance(GROUP, TyperGroup)
    return {
        name: {opt for each in command.params for opt in (*each.opts, *each.secondary_opts)}
        for name, command in GROUP.commands.items()
    }


def texts() -> Iterator[str]:
    """Every text of the core that is no docstring, a value in it as `X`; and each translation."""
    for path in sorted((ROOT / "relayd" / "core").rglob("*.py")):
        tree = ast.parse(path.read_text())
        docs = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
        parts = {
            id(part)
            for each in ast.walk(tree)
            if isinstance(each, ast.JoinedStr)
            for part in each.values
        }
        for each in ast.walk(tree):
            if isinstance(each, ast.JoinedStr):
                yield "".join(_part(part) for part in each.values)
            elif isinstance(each, ast.Constant) and isinstance(each.value, str):
                if id(each) not in docs | parts:
                    yield each.value
    for language in languages.LANGUAGES:
        yield from languages.catalogue(language).values()


def _part(part: ast.expr) -> str:
    return str(part.value) if isinstance(part, ast.Constant) else "X"


def said() -> list[tuple[str, str]]:
    """Each command that some text gives, with what follows it, once."""
    found = {(each[1], each[2]) for text in texts() for each in SAID.finditer(text)}
    return sorted(each for each in found if each[0] not in PLAIN_WORDS)


def test_commands_are_found_in_the_texts() -> None:
    assert {"ack", "looked", "later", "settled", "horn-wire", "visit"} <= {
        each for each, _ in said()
    }


@pytest.mark.parametrize(("command", "rest"), said())
def test_a_command_that_a_message_gives_can_be_typed(command: str, rest: str) -> None:
    known = options()
    assert command in known
    assert set(OPTION.findall(rest)) <= known[command], rest
