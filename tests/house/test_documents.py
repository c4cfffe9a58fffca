"""The documents do not lie: links lead somewhere, blocks parse, commands exist."""

import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from relayd.settings import load
from tests.house.documents import anchors, blocks, links, prose
from tests.house.plans import secrets_of, whole
from tests.house.tree import ROOT, name, texts

DOCUMENTS = texts(".md")
SHELL = {"sh", "bash", "console", "shell"}


def linked() -> list[tuple[Path, str]]:
    return [(path, target) for path in DOCUMENTS for target in links(path)]


@pytest.mark.parametrize(
    ("path", "target"), linked(), ids=[f"{name(path)} {target}" for path, target in linked()]
)
def test_a_link_leads_somewhere(path: Path, target: str) -> None:
    file, _, anchor = target.partition("#")
    there = (path.parent / file).resolve() if file else path
    assert there.exists()
    assert not anchor or anchor in anchors(there)


def toml_blocks() -> list[tuple[str, str]]:
    return [
        (f"{name(path)}:{block.line}", block.body)
        for path in DOCUMENTS
        for block in blocks(path)
        if block.kind == "toml"
    ]


@pytest.mark.parametrize("block", [pytest.param(body, id=at) for at, body in toml_blocks()])
def test_a_piece_of_a_plan_can_be_used(tmp_path: Path, block: str) -> None:
    plan = tmp_path / "relayd.toml"
    plan.write_text(whole(block))
    secrets_of(block, tmp_path / "credentials")
    loaded = load(plan, tmp_path / "credentials", wall=0)
    assert loaded.plan.panels


def command_lines(path: Path) -> set[str]:
    """Every command line of this project that the document shows, in a block or in a sentence."""
    shown = [
        line.removeprefix("$ ").partition(" #")[0].strip()
        for block in blocks(path)
        if block.kind in SHELL
        for line in block.body.splitlines()
    ]
    spoken = re.findall(r"`((?:relayd|sh) [^`\n]+)`", prose(path))
    return {each for each in [*shown, *spoken] if re.match(r"(?:sudo )?(relayd|sh) \S", each)}


def commands() -> list[str]:
    return sorted(
        {line.removeprefix("sudo ") for path in DOCUMENTS for line in command_lines(path)}
    )


@cache
def help_of(command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "relayd", command, "--help"],
        cwd=ROOT,
        env=os.environ | {"COLUMNS": "250", "NO_COLOR": "1", "TERM": "dumb"},
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize("line", [each for each in commands() if each.startswith("relayd ")])
def test_a_command_exists_with_its_options(line: str) -> None:
    _, command, *words = line.split()
    if command.startswith("-"):
        command, words = "--help", [command, *words]
    shown = help_of(command)
    assert shown.returncode == 0, shown.stderr
    options = {word.partition("=")[0] for word in words if word.startswith("--")}
    assert {each for each in options if each not in shown.stdout} == set()


@pytest.mark.parametrize("line", [each for each in commands() if each.startswith("sh ")])
def test_a_script_is_there(line: str) -> None:
    script = line.split()[1]
    assert (ROOT / script).is_file()
