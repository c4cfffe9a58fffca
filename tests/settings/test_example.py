"""The example file is a plan that loads, and what it says about defaults is true."""

import re
from pathlib import Path

import pytest

from relayd.settings import Loaded, load
from relayd.settings.schema import TABLES
from tests.settings.plans import WALL, written

EXAMPLE = Path(__file__).parents[2] / "deploy" / "relayd.example.toml"
CREDENTIALS = ("anna-mail", "anna-push", "ben-mail", "broker")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in CREDENTIALS:
        (tmp_path / name).write_text("json://127.0.0.1\n")
        (tmp_path / name).chmod(0o600)
    return tmp_path


def example(folder: Path, text: str) -> Loaded:
    return load(written(folder, text), folder, wall=WALL)


def test_the_example_loads_without_a_warning(folder: Path) -> None:
    found = example(folder, EXAMPLE.read_text())
    assert found.warnings == ()
    assert list(found.plan.people) == ["anna", "ben"]


def test_what_the_example_calls_a_default_is_the_default(folder: Path) -> None:
    plain = EXAMPLE.read_text()
    (folder / "ca.pem").write_text("a certificate")
    shown = re.compile(r"^# (\w+ = (?:\"[^\"]*\"|\w+)) ", re.MULTILINE)
    given = shown.sub(r"\1 ", re.sub(r"^# (port|ca) = .*\n", "", plain, flags=re.MULTILINE))
    assert given.count("\n# ") < plain.count("\n# ")
    before, after = example(folder, plain), example(folder, given)
    assert (after.plan, after.rig) == (before.plan, before.rig)


def test_the_example_shows_every_key_but_a_few() -> None:
    text = EXAMPLE.read_text()
    keys = {key for table in TABLES.values() for key in table.model_fields}
    missing = {key for key in keys if not re.search(rf"\b{key}\b", text)}
    assert missing == set()
