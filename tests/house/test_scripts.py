"""The shell scripts: they parse, and they say what is missing."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.house.tree import ROOT, name, tracked

SCRIPTS = [path for path in tracked() if path.read_bytes().startswith(b"#!/")]
NO_PYTHON = "#!/bin/sh\nexit 1\n"
NO_VENV = '#!/bin/sh\ncase "$2" in *ensurepip*) exit 1 ;; esac\nexit 0\n'


@pytest.mark.parametrize("path", SCRIPTS, ids=name)
def test_a_script_parses_and_may_be_run(path: Path) -> None:
    first = path.read_text().splitlines()[0]
    shell = next((each for each in ("bash", "sh") if first.endswith(each)), None)
    if shell is None:
        compile(path.read_text(), str(path), "exec")
    else:
        subprocess.run([shell, "-n", str(path)], check=True)
    assert os.access(path, os.X_OK)


def fake_python(folder: Path, script: str) -> Path:
    program = folder / "python3"
    program.write_text(script)
    program.chmod(0o755)
    return program


@pytest.mark.parametrize(
    ("script", "says"),
    [
        pytest.param(NO_PYTHON, "no Python 3.11 or newer", id="no Python"),
        pytest.param(NO_VENV, "apt-get install python3-venv", id="no venv package"),
    ],
)
def test_try_says_what_is_missing_and_makes_nothing(tmp_path: Path, script: str, says: str) -> None:
    place = tmp_path / "venv"
    environment = os.environ | {
        "PYTHON": str(fake_python(tmp_path, script)),
        "RELAYD_TRY": str(place),
    }
    tried = subprocess.run(
        ["sh", str(ROOT / "deploy" / "try")], env=environment, capture_output=True, text=True
    )
    assert tried.returncode == 1
    assert says in tried.stderr
    assert not place.exists()


@pytest.mark.long
def test_try_tells_the_story_from_a_fresh_copy(tmp_path: Path) -> None:
    copy = tmp_path / "somewhere else"
    for path in tracked():
        target = copy / path.relative_to(ROOT)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(path, target)
    environment = {
        key: value
        for key, value in os.environ.items()
        if not key.startswith(("COVERAGE_", "PYTHON", "RELAYD_", "VIRTUAL_ENV"))
    }
    told = subprocess.run(
        ["sh", str(copy / "deploy" / "try"), "--script"],
        env=environment,
        capture_output=True,
        text=True,
    )
    assert told.returncode == 0, told.stderr
    assert told.stdout.strip()
