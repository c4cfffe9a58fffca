"""The asker's side: what it says when nobody, or somebody odd, is at the other end."""

import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from relayd.control import client
from relayd.control.client import ask, follow
from relayd.core.effects import Answer
from relayd.errors import NotReachable, Refused
from tests.control.fake import FakeDaemon


@contextmanager
def answering(path: Path, line: bytes) -> Iterator[None]:
    """Something that is no relayd: sends `line` to its one client, whatever is asked, and closes."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    listener.bind(str(path))
    listener.listen()

    def serve() -> None:
        link, _ = listener.accept()
        with link:
            link.recv(4096)
            link.sendall(line)

    thread = threading.Thread(target=serve)
    thread.start()
    yield
    thread.join()
    listener.close()


def test_a_yes_is_a_dict(daemon: FakeDaemon, path: Path) -> None:
    assert ask(path, "acknowledge", {"panel": "p"}, by="anna")["code"] == "taken"


def test_a_no_is_an_error_with_its_code(daemon: FakeDaemon, path: Path) -> None:
    daemon.says = Answer("", False, "unknown-person", "nobody is called 'zoe'")
    with pytest.raises(Refused, match="nobody is called 'zoe'") as caught:
        ask(path, "acknowledge", {"panel": "p"}, by="zoe")
    assert (caught.value.code, caught.value.exit_code) == ("unknown-person", 1)


def test_no_daemon_is_said(path: Path) -> None:
    with pytest.raises(NotReachable, match="no daemon answers") as caught:
        ask(path, "status")
    assert caught.value.exit_code == 69


def test_a_file_that_a_daemon_left_is_no_daemon(path: Path) -> None:
    left = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    left.bind(str(path))
    left.close()
    with pytest.raises(NotReachable, match="no daemon answers"):
        ask(path, "status")


def test_a_forbidden_socket_says_who_may() -> None:
    refused = PermissionError(13, os.strerror(13))
    assert "become a member of its group" in client._why(Path("/run/x"), refused)


def test_a_silent_daemon_is_given_up(daemon: FakeDaemon, path: Path) -> None:
    daemon.says = None
    with pytest.raises(NotReachable, match="did not answer in time"):
        ask(path, "acknowledge", {"panel": "p"}, by="anna", timeout=0.05)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        pytest.param(b"", "closed the connection", id="nothing"),
        pytest.param(b'{"id":1,"ok"', "closed the connection", id="half a line"),
        pytest.param(b"hello\n", "does not speak as relayd", id="no JSON"),
        pytest.param(b"[]\n", "does not speak as relayd", id="a list"),
        pytest.param(b'{"id":1}\n', "does not speak as relayd", id="neither yes nor no"),
        pytest.param(b'{"id":1,"ok":3}\n', "does not speak as relayd", id="a yes that is a number"),
        pytest.param(b'{"end":{"say":"the daemon stops"}}\n', "the daemon stops", id="the end"),
        pytest.param(b"x" * 80_000, "too long", id="a line without end"),
    ],
)
def test_what_is_no_answer_is_said(path: Path, line: bytes, says: str) -> None:
    with answering(path, line), pytest.raises(NotReachable, match=says):
        ask(path, "status")


def test_following_gives_each_event_until_the_daemon_stops(daemon: FakeDaemon, path: Path) -> None:
    events = follow(path)
    daemon.control.publish({"what": "nobody follows yet"})
    first = threading.Thread(target=lambda: heard.append(next(events)))
    heard: list[dict[str, object]] = []
    first.start()
    while first.is_alive():
        daemon.control.publish({"what": "raised"})
        first.join(0.01)
    daemon.control.close()
    with pytest.raises(NotReachable, match="the daemon stops"):
        heard.extend(events)
    assert {"what": "raised"} in heard
    assert {"what": "nobody follows yet"} not in heard


def test_following_may_be_left(daemon: FakeDaemon, path: Path) -> None:
    events = follow(path)
    with pytest.raises(NotReachable):
        next(follow(path.parent / "nowhere.sock"))
    events.close()  # type: ignore[attr-defined]
    assert ask(path, "status") == daemon.reads
