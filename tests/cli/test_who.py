"""`relayd who`, against the daemon's own answer over its own control server, and a real plan."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from relayd.contacts.scripted import ScriptedContacts
from relayd.core.events import Commanded, GoAway, Now, Started
from relayd.core.plan import HOUR, SECOND
from relayd.daemon import Daemon, build
from relayd.errors import Refused
from relayd.settings import Places, load
from tests.cli.conftest import Relayd

PLAN = """
[unit]
id = "creek-1"
name = "Creek"
zone = "America/New_York"
call_list = "night"
chip = "board"
hours = "office"
[[panel]]
id = "cabin"
name = "Cabin tank"
kind = "sewage-ejector"
low_list = "day"
[[panel.input]]
means = "high-level"
line = 17
in_alarm = "closed"
unpowered = "open"
contact_follows = "level"
[[person]]
id = "anna"
name = "Anna"
responds = true
[[person.channel]]
name = "anna-hook"
address = "json://127.0.0.1:9/hook"
wakes = true
[[person]]
id = "ben"
name = "Ben"
responds = true
[[person.channel]]
name = "ben-hook"
address = "json://127.0.0.1:9/hook"
wakes = true
[[on_call]]
id = "technician"
persons = ["anna", "ben"]
begins = 2027-01-11
[[hours]]
id = "office"
days = ["mon", "tue", "wed", "thu", "fri"]
from = "08:00"
until = "17:00"
[[call_list]]
id = "night"
[[call_list.step]]
after = "0 s"
tell = ["technician"]
[[call_list.step]]
after = "10 min"
tell = ["ben"]
[[call_list]]
id = "day"
[[call_list.step]]
after = "0 s"
tell = ["ben"]
"""
# Saturday, 16 January 2027, 23:00 in New York (five hours behind UTC in winter): Anna's week.
NIGHT = int(datetime(2027, 1, 17, 4, tzinfo=UTC).timestamp()) * SECOND


class Unit:
    """A daemon whose turns are taken by hand, with its control server; `wall` is what its clock shows."""

    def __init__(self, folder: Path) -> None:
        path = folder / "plan.toml"
        path.write_text(PLAN)
        path.chmod(0o600)
        places = Places(plan=path, credentials=folder, state=folder, run=folder)
        self.wall = NIGHT
        self.daemon: Daemon = build(
            places, load(path, folder, wall=NIGHT), ScriptedContacts({"cabin.high-level": False})
        )
        self.daemon._now = self.daemon.engine._now = self.now  # type: ignore[method-assign]
        self.daemon._control.start()
        self.daemon._take(Started(True))

    def now(self) -> Now:
        return Now("boot", 1_000 * SECOND, self.wall, True)

    def close(self) -> None:
        self.daemon._control.close()
        self.daemon._journal.close()


@pytest.fixture
def unit(tmp_path: Path) -> Iterator[Unit]:
    made = Unit(tmp_path)
    yield made
    made.close()


def test_who_shows_every_list_of_a_panel(unit: Unit, relayd: Relayd) -> None:
    assert relayd("who", "cabin").stdout.splitlines() == [
        "a high alarm at Cabin tank that began now",
        "  step 1, now: Anna",
        "  step 2, after 10 min: Ben",
        "a medium alarm at Cabin tank that began now",
        "  step 1, now: Anna (held for Anna until 07:00)",
        "  step 2, after 10 min: Ben (held for Ben until 07:00)",
        "a low alarm at Cabin tank that began now",
        "  step 1, now: Ben (held for Ben until 18 Jan 08:00)",
    ]


def test_who_of_the_unit_itself_and_of_one_priority(unit: Unit, relayd: Relayd) -> None:
    assert relayd("who", "--priority", "high").stdout.splitlines() == [
        "a high alarm at Creek that began now",
        "  step 1, now: Anna",
        "  step 2, after 10 min: Ben",
    ]


def test_who_knows_whose_turn_it_is(unit: Unit, relayd: Relayd) -> None:
    unit.wall += 48 * HOUR
    assert relayd("who", "cabin", "--priority", "high").stdout.splitlines()[1:] == [
        "  step 1, now: Ben",
        "  step 2, after 10 min: Ben",
    ]


def test_who_knows_who_is_away(unit: Unit, relayd: Relayd) -> None:
    unit.daemon._take(Commanded("t", GoAway("anna", within=5 * HOUR), "anna", "test"))
    assert relayd("who", "cabin", "--priority", "high").stdout.splitlines()[1:] == [
        "  step 1, now: nobody on duty",
        "  step 2, after 10 min: Ben",
    ]


def test_who_of_a_panel_that_is_not_there_names_those_that_are(unit: Unit, relayd: Relayd) -> None:
    shown = relayd("who", "cabbin")
    assert isinstance(shown.exception, Refused)
    assert str(shown.exception) == "no panel is called 'cabbin'; the plan knows: cabin"


def test_who_is_away_and_why_it_is_quiet_are_told_together(unit: Unit, relayd: Relayd) -> None:
    unit.daemon._take(Commanded("t", GoAway("anna", within=5 * HOUR), "anna", "test"))
    said = relayd("log", "--why", "--panel", "cabin").stdout.splitlines()
    assert "cabin: Anna is away until 04:00; nobody stands in." in said
