"""Prints: in colour for people at a terminal, plainly for everybody else, or as JSON."""

import json
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum


class Tone(StrEnum):
    """What a line is like; the words say it as well, colour never says it alone."""

    PLAIN = ""
    HEAD = "bold"
    QUIET = "dim"
    URGENT = "bold red"
    WARN = "yellow"


@dataclass(frozen=True, slots=True)
class Line:
    """One line for people."""

    text: str
    tone: Tone = Tone.PLAIN


def show(lines: Iterable[Line]) -> None:
    """Print each line as it comes."""
    print_line = _in_colour() if sys.stdout.isatty() else _plainly
    for line in lines:
        print_line(Line(printable(line.text), line.tone))


def show_json(body: Mapping[str, object]) -> None:
    """Print it as JSON, for programs."""
    print(json.dumps(body, indent=2, ensure_ascii=False))


def show_json_line(body: Mapping[str, object]) -> None:
    """Print it as JSON on one line, at once."""
    print(json.dumps(body, ensure_ascii=False), flush=True)


def printable(text: str) -> str:
    """The text without what could move a terminal's cursor."""
    return "".join(each if each.isprintable() else "?" for each in text)


def _plainly(line: Line) -> None:
    print(line.text, flush=True)


class _InColour:
    def __init__(self) -> None:
        from rich.console import Console

        self._console = Console(highlight=False, emoji=False, markup=False, soft_wrap=True)

    def __call__(self, line: Line) -> None:
        self._console.print(line.text, style=line.tone or None)


def _in_colour() -> _InColour:
    return _InColour()
