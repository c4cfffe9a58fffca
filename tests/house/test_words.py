"""What may stand in no file of this project."""

import re
from pathlib import Path

import pytest

from tests.house.tree import name, tracked

# A letter in brackets keeps this file from finding itself.
FORBIDDEN = {
    "a path of somebody's machine": r"(?<![\w.~>$}])/(w[o]rk|r[o]ot|home/\w+|Users/\w+)/",
    "a package registry": r"pyp[i]\.org|pyth[o]nhosted|npmj[s]\.org|debia[n]\.org",
    "a paper that is not in this tree": r"\b(TRAD[E]|DESIG[N]|DECISION[S]|SOURCE[S]|STYL[E])\b|desig[n] doc",
    "a tracker's number": r"(?i)\bissu[e] #?\d",
    "something left undone": r"\b(TOD[O]|FIXM[E]|XX[X])\b",
    "a real telephone number": r"\+1[- ]?\(?(?!555|\d{3}\)?[- ]555)\d{3}\)?[- ]\d{3}[- ]\d{4}",
}


@pytest.mark.parametrize("pattern", FORBIDDEN.values(), ids=FORBIDDEN.keys())
def test_no_file_holds(pattern: str) -> None:
    found = []
    for path in tracked():
        for number, line in enumerate(path.read_text(errors="replace").splitlines(), 1):
            if re.search(pattern, line):
                found.append(f"{name(path)}:{number}: {line.strip()[:100]}")
    assert found == []


def test_no_file_speaks_of_a_document_that_is_not_there() -> None:
    names = re.compile(r"\b[A-Z]{4,}\.md\b")
    here = {path.name for path in tracked()}
    spoken = {
        (name(path), word)
        for path in tracked()
        for word in names.findall(path.read_text(errors="replace"))
    }
    assert {each for each in spoken if each[1] not in here} == set()


@pytest.mark.parametrize(
    "path",
    [each for each in tracked() if each.suffix not in (".md", ".mo")],
    ids=lambda each: name(each),
)
def test_text_is_utf_8_without_stray_blanks(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "\r" not in text
    assert not text or text.endswith("\n")
    assert [line for line in text.splitlines() if line != line.rstrip()] == []


def test_the_patterns_find_what_they_are_for() -> None:
    # '_' stands for nothing, for the same reason.
    samples = {
        "a path of somebody's machine": "see /roo_t/x",
        "a package registry": "https://pyp_i.org/",
        "a paper that is not in this tree": "as TRAD_E 4.2 says",
        "a tracker's number": "issue_ 12",
        "something left undone": "TOD_O",
        "a real telephone number": "+1_ 212 867 5309",
    }
    assert samples.keys() == FORBIDDEN.keys()
    for kind, text in samples.items():
        assert re.search(FORBIDDEN[kind], text.replace("_", "")), kind
