"""What the trade knows can hurt somebody, fail in silence or lie: each has a test, or a reason.

The numbers are those of the trade's own list of corrections, which the tests carry in their names
or docstrings. K: can hurt somebody. S: fails silently. L: tells a lie.
"""

import re
from dataclasses import dataclass
from functools import cache

import pytest

from tests.house.tree import ROOT


@dataclass(frozen=True, slots=True)
class Item:
    """One correction of the trade; `page` and `phrase` where a page holds it and no code can."""

    number: str
    marks: str
    about: str
    page: str = ""
    phrase: str = ""
    not_yet: str = ""


NOTES = "hardware_notes/isolated-input.md"
ITEMS = (
    Item("1.1", "SL", "a contact that opens on alarm says nothing of a dead alarm circuit"),
    Item("1.2", "SL", "a contact that follows the horn goes back when somebody presses Silence"),
    Item("1.3", "S", "no slow flutter starves an on-delay"),
    Item("1.4", "S", "a chattering level contact is no low alarm"),
    Item("1.5", "S", "a dead wetting supply makes every closing contact read normal"),
    Item("1.6", "L", "one contact is usually a common alarm"),
    Item(
        "1.7",
        "KS",
        "dry contacts that are not",
        page=NOTES,
        phrase="With the panel alive, before any wire of ours is connected",
    ),
    Item("1.11", "SL", "alarm circuit and control circuit are two"),
    Item("1.12", "S", "an outage swallows no lost pump circuit and no high level"),
    Item(
        "1.14",
        "S",
        "the router dies with the power",
        page="hardware_notes/pump-and-horn.md",
        phrase="silent as one that is dead",
        not_yet="paths with what they need at the site come with the run through all failures",
    ),
    Item("1.17", "K", "no text says 'breaker off' without saying which"),
    Item(
        "1.18",
        "S",
        "a tap that senses the alarm circuit can kill it",
        page=NOTES,
        phrase="must not be able to kill the circuit that it watches",
    ),
    Item("1.20", "L", "called is not running, running is not moving water"),
    Item("1.23", "S", "the pump has not run, and nothing else speaks"),
    Item("1.24", "S", "short high levels that clear themselves, again and again"),
    Item("1.27", "K", "an open lid is a drowning hazard"),
    Item("1.28", "KL", "Hand advice by kind of system"),
    Item("1.29", "K", "the cautions before every water alarm"),
    Item("1.30", "K", "the horn's wire: the cap, and the breaker that is left off"),
    Item("1.34", "S", "seen is not taken"),
    Item("1.35", "S", "people answer texts with 'OK'"),
    Item("1.38", "", "a high level is paused for 4 h at most, and never unseen"),
    Item(
        "1.39",
        "L",
        "the reserve counts from the level that the facts prove",
        not_yet="volumes between the floats come with the pump's arithmetic",
    ),
    Item(
        "1.40",
        "L",
        "what pessimistic means for a reserve",
        not_yet="it is a declared time until inflow is learned from the pump's cycles",
    ),
    Item("1.44", "K", "no owner is asked to lift a float"),
)


@cache
def sources() -> str:
    """Every test's text but this one's."""
    own = ROOT / "tests" / "house" / "test_trade.py"
    return "\n".join(
        path.read_text() for path in sorted((ROOT / "tests").rglob("*.py")) if path != own
    )


def carries(number: str, text: str) -> bool:
    """Whether a test of that number is there, by its name or in its docstring."""
    dotted, under = re.escape(number), number.replace(".", "_")
    return bool(re.search(rf"def test_\w*trade_{under}(?!\d)|Trade[^\n]*\b{dotted}(?!\d)", text))


@pytest.mark.parametrize("item", ITEMS, ids=[each.number for each in ITEMS])
def test_what_the_trade_corrected_has_a_test_or_a_page_or_a_reason(item: Item) -> None:
    if item.page:
        page = " ".join((ROOT / item.page).read_text().split())
        assert item.phrase in page
    elif not item.not_yet:
        assert carries(item.number, sources()), f"no test carries {item.number}: {item.about}"


def test_a_number_is_found_only_where_it_stands() -> None:
    assert carries("1.2", "def test_trade_1_2_a_guest_presses_silence")
    assert carries("1.2", '"""Trade 1.2: a guest presses Silence."""')
    assert not carries("1.2", "def test_trade_1_24_again_and_again")
    assert not carries("1.2", '"""Trade 1.24 again."""')
    assert not carries("1.2", "nothing of the kind")
