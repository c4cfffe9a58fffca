"""A fake daemon on a real socket, and the commands that are spoken to it."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from relayd.cli.app import app
from tests.control.fake import FakeDaemon, running

Relayd = Callable[..., Result]


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[FakeDaemon]:
    with running(tmp_path / "control.sock") as daemon:
        yield daemon


@pytest.fixture
def relayd(tmp_path: Path) -> Relayd:
    """Runs a command in this process, as Anna, with the fake daemon's folder."""

    def run(*arguments: str, **environment: str) -> Result:
        usual = {"RELAYD_RUN": str(tmp_path), "RELAYD_PERSON": "anna", "COLUMNS": "200"}
        return CliRunner().invoke(app, arguments, env=usual | environment)

    return run
