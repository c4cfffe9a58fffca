"""Words that are right in the code, or in a standard, and wrong in front of a person.

A panel man's ladder is the wiring diagram in the door, a flood is water in somebody's basement, an
owner shelves books. On screens there are call lists and steps, alarm bursts, pauses, an on-call
schedule; an alarm is 'not shown because', and 'stays until it is reset'.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.core
import typer.main

import relayd
from relayd.channels import homie
from relayd.cli import records
from relayd.cli.app import app
from tests.channels import shown
from tests.cli.test_status_texts import TEXTS
from tests.core.showing.test_quietness import SILENCES
from tests.house.english import english

PACKAGE = Path(relayd.__path__[0])
WRONG = re.compile(
    r"\b(un)?shel(f|ves?|ved|ving)\b|\bsuppress\w*|\bfloods?\b|\brungs?\b|\bladders?\b|\brotas?\b"
    r"|\b(un)?latch\w*|\bstand-down\b|\bproof test|\bvolt-free\b",
    re.IGNORECASE,
)
NAMES = ("shelve", "unshelve")
"""What must be typed is what it is called; its help says 'pause'."""


def wrong(text: str) -> list[str]:
    """The words of a text that no person should read; a command's name is no word."""
    return [each[0] for each in WRONG.finditer(text) if each[0] not in NAMES]


def commands() -> dict[str, Any]:
    """relayd itself and each of its commands, as the library that reads the command line has them."""
    group = typer.main.get_command(app)
    assert isinstance(group, typer.core.TyperGroup)
    return {"relayd": group, **group.commands}


COMMANDS = commands()


@pytest.mark.parametrize("name", COMMANDS)
def test_no_help_text_holds_a_wrong_word(name: str) -> None:
    command = COMMANDS[name]
    helps = [command.help or "", command.get_short_help_str(200)]
    for each in command.params:
        helps += [*each.opts, str(getattr(each, "help", "") or ""), str(each.metavar or "")]
    assert any(helps)
    assert [word for text in helps for word in wrong(text)] == []


@pytest.mark.parametrize("kind", records.SENTENCES)
def test_no_line_of_the_log_holds_a_wrong_word(kind: str) -> None:
    said = re.sub(r"\{\w+\}", "", records.SENTENCES[kind])
    assert wrong(said) == []
    body = {"condition": "high-level", "code": "shelved", "why": "w", "by": "ben", "way": "mqtt"}
    assert wrong(records.line({"kind": kind, "subject": "panel:p", "body": body}).text) == []


def test_no_text_that_is_sent_to_a_person_holds_a_wrong_word() -> None:
    said = english()
    assert len(said) > 300
    assert {text: wrong(text) for text in said if wrong(text)} == {}


@pytest.mark.parametrize("case", TEXTS)
def test_no_status_holds_a_wrong_word(case: str) -> None:
    assert [word for line in TEXTS[case][1] for word in wrong(line)] == []


@pytest.mark.parametrize("case", SILENCES)
def test_no_reason_for_silence_holds_a_wrong_word(case: str) -> None:
    assert [word for line in SILENCES[case][1] for word in wrong(line)] == []


def test_no_name_on_the_broker_s_tree_holds_a_wrong_word() -> None:
    whole = homie.tree(shown.quiet(), shown.plan(), shown.NOW)
    values = {topic: wrong(text) for topic, text in whole.items()}
    assert {topic: found for topic, found in values.items() if found} == {}


# Every sentence in the sources that speak to people, whatever becomes of it.


def unspoken(node: ast.AST) -> list[ast.expr | None]:
    """The parts of a source that nobody reads as they are: docstrings, keys, kinds of records."""
    match node:
        case ast.Expr():
            return [node.value]
        case ast.Dict():
            return list(node.keys)
        case ast.Call(func=ast.Attribute(attr="record")):
            return [*node.args[:1]]
        case ast.Call(func=ast.Name(id="_set")):
            return [node.args[1]]
    return []


def sentences(path: Path) -> Iterator[str]:
    """The texts of more than one word in a source that somebody may read."""
    nodes = list(ast.walk(ast.parse(path.read_text())))
    skipped = {id(each) for node in nodes for each in unspoken(node)}
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            if " " in node.value.strip() and id(node) not in skipped:
                yield node.value


# alarm.py holds the states of the standard by their own names; what people read of them is in status.py.
SOURCE_FILES = sorted(
    path
    for folder in ("core", "cli", "control", "channels")
    for path in (PACKAGE / folder).rglob("*.py")
    if path.name != "alarm.py"
)


@pytest.mark.parametrize("path", SOURCE_FILES, ids=lambda each: f"{each.parent.name}/{each.name}")
def test_no_sentence_in_a_source_that_speaks_to_people_holds_a_wrong_word(path: Path) -> None:
    assert {text: wrong(text) for text in sentences(path) if wrong(text)} == {}


@pytest.mark.parametrize(
    "text",
    [
        "it was shelved until 08:00",
        "Shelving ended",
        "an alarm flood",
        "the next rung of the ladder",
        "suppressed by design",
        "the rota",
        "a latched alarm",
    ],
)
def test_a_wrong_word_is_found(text: str) -> None:
    assert wrong(text) != []


@pytest.mark.parametrize(
    "text", ["a flooded basement", "relayd unshelve cabin", "a schedule that rotates", "wrung out"]
)
def test_a_right_word_is_not(text: str) -> None:
    assert wrong(text) == []
