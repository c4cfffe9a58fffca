"""Exit codes, errors as people meet them, and a help that costs nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from relayd import __version__, demo
from relayd.cli import main
from relayd.cli.app import app
from relayd.cli.asking import RUN
from relayd.control import meanings
from relayd.errors import Locked, PlanRefused
from relayd.settings import Places
from tests.control.fake import FakeDaemon

COMMANDS = ["run", "check", "status", "ack", "looked", "log", "reload", "demo"]
COMMANDS += ["shelve", "unshelve", "out-of-service", "in-service", "reset", "horn-wire", "later"]
COMMANDS += ["settled", "visit", "away", "back", "who", "backup", "restore"]
# Typer brings pydantic along by itself; nothing of ours may bring the rest.
HEAVY = [
    *("apprise", "gpiod", "gpiozero", "paho", "pydantic_settings", "rich", "structlog"),
    *("relayd.daemon", "relayd.demo", "relayd.settings"),
]
LOADED = f"print(sorted(set({HEAVY}) & sys.modules.keys()))"


def relayd(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "relayd", *arguments],
        capture_output=True,
        text=True,
        env=os.environ | environment,
        timeout=30,
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        pytest.param(["--help"], 0, id="help"),
        pytest.param(["--version"], 0, id="version"),
        pytest.param([], 2, id="nothing asked"),
        pytest.param(["dance"], 2, id="an odd command"),
        pytest.param(["status", "--run", "/nowhere"], 69, id="no daemon"),
        pytest.param(["ack", "p", "--by", "", "--run", "/nowhere"], 2, id="nobody asks"),
    ],
)
def test_a_process_ends_with(arguments: list[str], code: int) -> None:
    ended = relayd(*arguments, RELAYD_PERSON="")
    assert ended.returncode == code
    assert "Traceback" not in ended.stderr


@pytest.mark.slow
def test_a_yes_and_a_no_of_the_daemon_s_end_with_0_and_1(
    daemon: FakeDaemon, tmp_path: Path
) -> None:
    said = relayd("ack", "creek-1", "--by", "anna", "--run", str(tmp_path))
    assert (said.returncode, said.stdout) == (0, "Anna has it until 14:00; told: Bert\n")
    refused = relayd("ack", "creek\n-1", "--by", "anna", "--run", str(tmp_path))
    assert refused.returncode == 1
    assert refused.stderr.startswith("relayd: ")
    assert len(refused.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    ("error", "code", "says"),
    [
        pytest.param(
            Locked("another daemon\nholds it"), 75, "relayd: another daemon holds it\n", id="locked"
        ),
        pytest.param(
            PlanRefused(["a: bad", "b: bad"]), 78, "relayd: a: bad\nrelayd: b: bad\n", id="plan"
        ),
    ],
)
def test_an_error_of_the_user_s_is_a_line_without_traceback(
    error: Exception,
    code: int,
    says: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(demo, "main", failing(error))
    assert main(["demo"]) == code
    assert capsys.readouterr().err == says


def test_a_bug_looks_like_one(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "main", failing(ZeroDivisionError("odd")))
    assert main(["demo"]) == 70
    shown = capsys.readouterr().err
    assert "Traceback" in shown
    assert "ZeroDivisionError: odd" in shown
    assert "this is a bug in relayd" in shown.splitlines()[-1]


def failing(error: Exception) -> object:
    def fail(_script: bool) -> int:
        raise error

    return fail


@pytest.mark.parametrize("code", [0, 3])
def test_demo_ends_as_the_story_does(code: int, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []

    def play(script: bool) -> int:
        asked.append(script)
        return code

    monkeypatch.setattr(demo, "main", play)
    assert main(["demo", "--script"]) == code
    assert asked == [True]


def test_run_gives_the_daemon_its_places(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from relayd import daemon

    given: list[Places] = []

    def watch(places: Places) -> int:
        given.append(places)
        return 70

    monkeypatch.setattr(daemon, "main", watch)
    monkeypatch.setenv("RELAYD_STATE", str(tmp_path / "state"))
    assert main(["run", "--plan", str(tmp_path / "plan"), "--run", str(tmp_path / "run")]) == 70
    assert given[0].plan == tmp_path / "plan"
    assert given[0].state == tmp_path / "state"
    assert given[0].run == tmp_path / "run"


def test_the_usual_place_of_the_socket_is_the_loader_s(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("RELAYD_RUN", raising=False)
    assert Places().run == RUN


def test_the_version_is_the_package_s() -> None:
    assert CliRunner().invoke(app, ["--version"]).stdout == f"relayd {__version__}\n"


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_says_what_it_does(command: str) -> None:
    shown = CliRunner().invoke(app, [command, "--help"], env={"COLUMNS": "200"})
    assert shown.exit_code == 0
    sentence = shown.stdout.splitlines()[2].strip()
    assert sentence.endswith(".")
    # The list of commands shows it whole.
    listed = CliRunner().invoke(app, ["--help"], env={"COLUMNS": "80"}).stdout
    assert f"{command:<14}  {sentence}" in listed


@pytest.mark.slow
def test_help_loads_nothing_heavy() -> None:
    script = f"import sys; from relayd.cli import main; main(['ack', '--help']); {LOADED}"
    shown = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert shown.stdout.splitlines()[-1] == "[]"


@pytest.mark.slow
def test_speaking_to_the_daemon_loads_no_library_of_the_daemon_s(
    daemon: FakeDaemon, tmp_path: Path
) -> None:
    status = f"main(['status', '--run', {str(tmp_path)!r}])"
    script = f"import sys; from relayd.cli import main; {status}; {LOADED}"
    shown = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert shown.stdout.splitlines()[-1] == "[]"


def test_the_levels_one_may_say_are_the_ones_the_daemon_knows() -> None:
    from relayd.cli.app import Level

    assert [each.value for each in Level] == [each.value for each in meanings.Level]
