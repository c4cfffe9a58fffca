"""A running control socket for each test that asks for one."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.control.fake import FakeDaemon, running


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "control.sock"


@pytest.fixture
def daemon(path: Path) -> Iterator[FakeDaemon]:
    with running(path) as daemon:
        yield daemon
