"""The loop of the daemon: what goes wrong in one turn is told and does not end it."""

import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from relayd import clock
from relayd.contacts.scripted import ScriptedContacts
from relayd.core.conditions import FAULT
from relayd.core.events import Commanded, Event, FaultFound, Looked, Now, TimePassed
from relayd.core.saying.when import offset_at
from relayd.daemon import Daemon, build
from relayd.errors import RelaydError
from relayd.settings import Places, load

SUMMER = 1_784_116_800 * 10**9
"""2026-07-15 12:00 UTC."""
PLAN = """
[unit]
id = "creek-1"
name = "Creek"
zone = "UTC"
call_list = "night"
chip = "board"
[[panel]]
id = "cabin"
name = "Cabin tank"
kind = "sump"
[[panel.input]]
means = "high-level"
line = 17
in_alarm = "closed"
unpowered = "holds"
contact_follows = "level"
[[person]]
id = "anna"
name = "Anna"
responds = true
[[person.channel]]
name = "hook"
address = "json://127.0.0.1:9/hook"
[[call_list]]
id = "night"
[[call_list.step]]
after = "0 s"
tell = ["anna"]
"""


@pytest.fixture
def unit(tmp_path: Path) -> Iterator[Daemon]:
    """A daemon that is made and not run: its turns are taken by hand."""
    path = tmp_path / "plan.toml"
    path.write_text(PLAN)
    path.chmod(0o600)
    places = Places(plan=path, credentials=tmp_path, state=tmp_path, run=tmp_path)
    loaded = load(path, tmp_path, wall=clock.now(False).wall)
    made = build(places, loaded, ScriptedContacts({"cabin.high-level": False}))
    yield made
    made._journal.close()


def breaks_on(unit: Daemon, kind: type, monkeypatch: pytest.MonkeyPatch) -> None:
    turn = unit.engine.turn

    def broken(event: Event) -> Any:
        if isinstance(event, kind):
            raise KeyError("gone")
        return turn(event)

    monkeypatch.setattr(unit.engine, "turn", broken)


def test_a_command_that_breaks_its_turn_is_told_as_a_fault_and_the_next_event_goes_on(
    unit: Daemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    breaks_on(unit, Commanded, monkeypatch)
    unit._take(Commanded("t", Looked("cabin", True), "anna", "test"))
    told = unit.inbox.get(0.0)
    assert isinstance(told, FaultFound)
    assert (told.where, told.what) == ("Commanded", "KeyError: 'gone'")
    unit._take(told)
    assert unit.engine.state.subjects["unit"].alarms[FAULT].detail == "Commanded: KeyError: 'gone'"


def test_a_deadline_that_breaks_its_turn_ends_the_process_so_that_systemd_starts_it_anew(
    unit: Daemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    breaks_on(unit, TimePassed, monkeypatch)
    with pytest.raises(KeyError):
        unit._take(TimePassed())


@pytest.mark.parametrize("value", ["many", 1.5, True, -1, 2**63, []], ids=str)
@pytest.mark.parametrize("name", ["last", "since"])
def test_a_question_about_the_journal_with_no_number_is_refused(
    unit: Daemon, name: str, value: object
) -> None:
    with pytest.raises(RelaydError, match=f"'{name}' must be a whole number"):
        unit.answers("log", {name: value})


def test_the_journal_is_shown_as_far_as_it_is_asked_for(unit: Daemon) -> None:
    unit._take(FaultFound("a", "first"))
    unit._take(FaultFound("b", "second"))
    shown = unit.answers("log", {"last": 1})["records"]
    assert isinstance(shown, list)
    assert len(shown) == 1


def test_local_time_is_right_though_the_plan_was_loaded_in_1970(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board without a clock begins in 1970; its zone's changes of that time are not today's."""
    path = tmp_path / "plan.toml"
    path.write_text(PLAN.replace('zone = "UTC"', 'zone = "Europe/Vienna"'))
    path.chmod(0o600)
    places = Places(plan=path, credentials=tmp_path, state=tmp_path, run=tmp_path)
    loaded = load(path, tmp_path, wall=0)
    assert offset_at(loaded.plan, SUMMER).label == "CET"
    made = build(places, loaded, ScriptedContacts({"cabin.high-level": False}))
    monkeypatch.setattr(
        clock, "now", lambda trusted: Now(clock.boot_id(), clock.boottime(), SUMMER, trusted)
    )
    made._take(TimePassed())
    assert offset_at(made.engine.plan, SUMMER).label == "CEST"
    made._journal.close()


@pytest.mark.parametrize(("why", "word"), [("reload", b"RELOADING=1"), ("stop", b"STOPPING=1")])
def test_systemd_is_not_told_of_a_stop_where_the_unit_begins_anew(
    unit: Daemon, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: str, word: bytes
) -> None:
    """It kills whoever said so and goes on, 20 s later."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        unit.ask_to_stop(why)
        unit._end()
        assert heard.recv(100).splitlines()[0] == word
