"""Every English text that can be said to a person: the tables, and the calls in the sources."""

from collections.abc import Iterator, Mapping
from pathlib import Path

from babel.messages.extract import extract_from_file

from relayd.core.saying import cautions, first_steps, said, sentences
from tests.house.tree import ROOT

SPOKEN = (
    *("texts", "texts_other", "texts_horn", "letter", "short", "hand", "cautions", "advice"),
    *("first_steps", "sentences", "said", "when", "language", "pump_rows", "brief", "fresh"),
    *("replying", "texts_afar"),
    "texts_well",
)
"""The modules of the core that speak to people in their language."""
TABLES: tuple[Mapping[str, str], ...] = (
    *(said.NAMES, said.LEVEL_ROWS, said.LEVEL_NOW, said.COMMON_ROWS),
    *(said.WHAT, said.OVER, said.LOOSE, *sentences.TABLES.values()),
    first_steps.SHORTEST,
)
STEPS: tuple[Mapping[str, tuple[str, ...]], ...] = (first_steps.SAID, cautions.CAUTIONS)
KEYWORDS = {"say": None, "marked": None}


def english() -> list[str]:
    """Each text once, in the order in which it is found."""
    return list(dict.fromkeys(_all()))


def _all() -> Iterator[str]:
    for table in TABLES:
        yield from table.values()
    for steps in STEPS:
        yield from (text for texts in steps.values() for text in texts)
    yield from said.DETAILS
    for name in SPOKEN:
        yield from in_calls(next((ROOT / "relayd" / "core").rglob(f"{name}.py")))


def in_calls(path: Path) -> Iterator[str]:
    """The texts that a source gives to `say` or `marked` as they are."""
    for _, text, _, _ in extract_from_file("python", str(path), keywords=KEYWORDS):
        if isinstance(text, str):
            yield text
