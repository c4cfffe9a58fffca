"""Reads the Markdown files: fenced blocks, links, headings and the anchors they make."""

import re
from dataclasses import dataclass
from pathlib import Path

FENCE = re.compile(
    r"^(?P<fence>```+|~~~+) *(?P<kind>[\w-]*)[^\n]*\n(?P<body>.*?)^(?P=fence)", re.M | re.S
)
LINK = re.compile(r"(?<!!)\[[^\]]*\]\((?P<target>[^)\s]+)\)|!\[[^\]]*\]\((?P<image>[^)\s]+)\)")
HEADING = re.compile(r"^#{1,6} +(?P<text>.+?)(?: #+)?$", re.M)


@dataclass(frozen=True, slots=True)
class Block:
    """A fenced block: its kind ('toml', 'sh'), its text and the line on which it begins."""

    kind: str
    body: str
    line: int


def blocks(path: Path) -> list[Block]:
    """All fenced blocks of one document."""
    text = path.read_text()
    return [
        Block(found["kind"], found["body"], text.count("\n", 0, found.start()) + 1)
        for found in FENCE.finditer(text)
    ]


def prose(path: Path) -> str:
    """The document without its fenced blocks."""
    return FENCE.sub("", path.read_text())


def links(path: Path) -> list[str]:
    """Targets of all links and images that lead to a file or an anchor, not to the network."""
    found = [each["target"] or each["image"] for each in LINK.finditer(prose(path))]
    return [each for each in found if not re.match(r"[a-z][a-z+.-]*:", each)]


def anchors(path: Path) -> set[str]:
    """The anchors that a code host makes of the headings: lower case, blanks to hyphens."""
    made: set[str] = set()
    for heading in HEADING.finditer(prose(path)):
        plain = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", heading["text"])
        base = re.sub(r"[^\w\- ]", "", plain.lower()).replace(" ", "-")
        number = 0
        while (slug := f"{base}-{number}" if number else base) in made:
            number += 1
        made.add(slug)
    return made
