"""A sound plan that the tests break one piece at a time, and how they load it."""

from pathlib import Path
from typing import NamedTuple

import pytest

from relayd.errors import PlanRefused
from relayd.settings import Loaded, load

WALL = 1_764_028_800 * 1_000_000_000
"""25 November 2025, 00:00 UTC."""

SOUND = """\
[unit]
id = "cabin"
name = "Cabin"
zone = "America/New_York"
call_list = "all"
chip = "board"

[[panel]]
id = "tank"
name = "Tank"
kind = "sewage-ejector"

[[panel.input]]
means = "high-level"
line = 17
in_alarm = "open"
unpowered = "open"
contact_follows = "lamp"

[[panel.input]]
means = "alarm-power"
line = 27

[[person]]
id = "anna"
name = "Anna"
responds = true

[[person.channel]]
name = "mail"
address = "mailto://mail.example.org"

[[person]]
id = "ben"
name = "Ben"
channel = [{ name = "push", address = "json://push.example.org", wakes = true }]

[[call_list]]
id = "all"

[[call_list.step]]
after = "0 s"
tell = ["anna"]

[[call_list.step]]
after = "8 min"
tell = ["anna", "ben"]

[mqtt]
host = "broker.example.org"

[[panel.input]]
means = "pump-running"
line = 5

[[unit.input]]
means = "unit-power"
line = 6

[[unit.input]]
means = "wetting-supply"
line = 7
"""


class Case(NamedTuple):
    """One mistake: what of the sound plan is replaced by what, and what is said against it."""

    name: str
    old: str
    new: str
    says: list[str]


def changed(*pairs: tuple[str, str]) -> str:
    """The sound plan with the first of each text replaced."""
    text = SOUND
    for old, new in pairs:
        assert old in text, f"the sound plan does not say {old!r}"
        text = text.replace(old, new, 1)
    return text


def written(folder: Path, text: str, mode: int = 0o600) -> Path:
    """A plan file of that text."""
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def loaded(folder: Path, text: str) -> Loaded:
    """What the loader makes of that text; the folder holds the credentials too."""
    return load(written(folder, text), folder, wall=WALL)


def refusals(folder: Path, text: str) -> list[str]:
    """What the loader says against that text, the folder's name left out."""
    path = written(folder, text)
    with pytest.raises(PlanRefused) as refused:
        load(path, folder, wall=WALL)
    return [each.replace(f"{folder}/", "") for each in refused.value.problems]


def warnings(folder: Path, text: str) -> list[str]:
    """What the loader doubts in that text, the folder's name left out."""
    return [each.replace(f"{folder}/", "") for each in loaded(folder, text).warnings]
