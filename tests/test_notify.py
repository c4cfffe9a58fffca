"""What systemd hears, on a real datagram socket."""

import logging
import os
import secrets
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from relayd import notify
from relayd.clock import boottime, monotonic_to_boot


@pytest.fixture(params=["file", "no file"])
def systemd(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[socket.socket]:
    """The socket on which systemd listens, by either kind of name."""
    name = str(tmp_path / "notify") if request.param == "file" else f"@{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(name.replace("@", "\0", 1))
        listener.settimeout(5)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield listener


@pytest.mark.parametrize(
    ("tell", "heard"),
    [
        pytest.param(notify.ready, b"READY=1", id="ready"),
        pytest.param(notify.watchdog, b"WATCHDOG=1", id="watchdog"),
        pytest.param(notify.stopping, b"STOPPING=1", id="stopping"),
        pytest.param(
            lambda: notify.status("4 inputs\n1 alarm"), b"STATUS=4 inputs 1 alarm", id="status"
        ),
    ],
)
def test_systemd_hears(systemd: socket.socket, tell: Callable[[], bool], heard: bytes) -> None:
    assert tell()
    assert systemd.recv(4096) == heard


def test_a_reload_carries_the_time_on_systemd_s_clock(systemd: socket.socket) -> None:
    before = (boottime() - monotonic_to_boot()) // 1_000
    assert notify.reloading()
    first, second = systemd.recv(4096).decode().split("\n")
    key, _, value = second.partition("=")
    assert (first, key) == ("RELOADING=1", "MONOTONIC_USEC")
    assert before - 1_000 <= int(value) <= before + 60_000_000


def test_nobody_is_told_where_nobody_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not notify.ready()


@pytest.mark.parametrize("name", ["/nowhere/at/all", "vsock:2:1234"])
def test_what_cannot_be_told_is_logged(
    name: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", name)
    with caplog.at_level(logging.WARNING):
        assert not notify.watchdog()
    assert "systemd was not told" in caplog.text


def test_a_systemd_that_does_not_read_holds_nobody_up(systemd: socket.socket) -> None:
    told = [notify.watchdog() for _ in range(5_000)]
    assert told[0]
    assert not told[-1]


@pytest.mark.parametrize(
    ("environment", "every"),
    [
        pytest.param({}, None, id="no watchdog"),
        pytest.param({"WATCHDOG_USEC": "30000000"}, 15_000_000_000, id="30 s"),
        pytest.param({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "me"}, 15_000_000_000, id="us"),
        pytest.param({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None, id="not us"),
        pytest.param({"WATCHDOG_USEC": "0"}, None, id="off"),
        pytest.param({"WATCHDOG_USEC": "soon"}, None, id="no number"),
    ],
)
def test_the_watchdog_is_fed_at_half_its_time(
    environment: dict[str, str], every: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    for key in ("WATCHDOG_USEC", "WATCHDOG_PID"):
        monkeypatch.delenv(key, raising=False)
    for key, value in environment.items():
        monkeypatch.setenv(key, str(os.getpid()) if value == "me" else value)
    assert notify.watchdog_interval() == every
