"""Why a start was not planned: by the last word, the boot it was said in, and the board's own watchdog."""

from pathlib import Path

import pytest

from relayd.core.unit_words import CAUSES
from relayd.supervision.causes import cause


def bootstatus(root: Path, text: str) -> Path:
    path = root / "sys/class/watchdog/watchdog0/bootstatus"
    path.parent.mkdir(parents=True)
    path.write_text(text)
    return root


@pytest.mark.parametrize(
    ("last", "before", "why"),
    [
        (None, "", ""),
        ("clean", "one", ""),
        ("clean", "two", ""),
        ("no", "two", "ended"),
        ("no", "", "ended"),
        ("no", "one", "power"),
        ("dead: contacts", "two", "thread"),
        ("dead: contacts", "one", "thread"),
        ("fault: KeyError: 3", "two", "fault"),
        ("something of a later version", "two", "ended"),
    ],
)
def test_the_last_word_and_the_boot_tell_why(
    tmp_path: Path, last: str | None, before: str, why: str
) -> None:
    assert cause(last, before, "two", tmp_path) == (CAUSES[why] if why else "")


@pytest.mark.parametrize(
    ("status", "why"), [("32", "board"), ("0x20", "board"), ("0", "power"), ("none", "power")]
)
def test_the_boards_own_watchdog_is_named_where_its_driver_says_so(
    tmp_path: Path, status: str, why: str
) -> None:
    # Documentation/watchdog/watchdog-api: WDIOF_CARDRESET, 0x0020, "Card previously reset the CPU".
    assert cause("no", "one", "two", bootstatus(tmp_path, status)) == CAUSES[why]
