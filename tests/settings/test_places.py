"""The files lie where the command says, else the environment, else the usual places."""

from pathlib import Path

import pytest

from relayd.errors import Usage
from relayd.settings import places

NAMES = ("PLAN", "CREDENTIALS", "STATE", "RUN")


@pytest.fixture(autouse=True)
def empty_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    for name in NAMES:
        monkeypatch.delenv(f"RELAYD_{name}", raising=False)


def test_the_usual_places() -> None:
    found = places()
    assert [str(each) for each in (found.plan, found.credentials, found.state, found.run)] == [
        "/etc/relayd/relayd.toml",
        "/etc/relayd/credentials",
        "/var/lib/relayd",
        "/run/relayd",
    ]


@pytest.mark.parametrize("name", NAMES)
def test_the_environment_moves_a_place(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    monkeypatch.setenv(f"RELAYD_{name}", "/elsewhere")
    assert getattr(places(), name.lower()) == Path("/elsewhere")


def test_an_empty_value_moves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RELAYD_STATE", "")
    assert places().state == Path("/var/lib/relayd")


def test_what_is_given_wins_over_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RELAYD_PLAN", "/elsewhere")
    monkeypatch.setenv("RELAYD_CREDENTIALS", "/elsewhere")
    found = places(plan=Path("/given"), credentials=Path("/given-too"), state=None)
    assert (found.plan, found.credentials) == (Path("/given"), Path("/given-too"))


def test_the_service_manager_s_credentials_come_after_our_own_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", "/loaded")
    assert places().credentials == Path("/loaded")
    monkeypatch.setenv("RELAYD_CREDENTIALS", "/own")
    assert places().credentials == Path("/own")


def test_a_misspelt_name_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RELAYD_PLNA", "/elsewhere")
    with pytest.raises(Usage) as refused:
        places()
    assert str(refused.value) == "RELAYD_PLNA: there is no such setting; did you mean RELAYD_PLAN?"


@pytest.mark.parametrize(
    "name", ["RELAYD_SEED", "RELAYD_TRY", "RELAYD_CACHE", "RELAYD_VENV", "PLNA", "CREDENTIALS"]
)
def test_a_name_of_another_program_is_left_alone(
    monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv(name, "/elsewhere")
    assert places().plan == Path("/etc/relayd/relayd.toml")
    assert places().credentials == Path("/etc/relayd/credentials")
