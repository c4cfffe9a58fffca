"""Who may act is the kernel's word, not the asker's."""

import os
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from relayd.control.peers import Peer, peer_of
from tests.control.fake import DEADLINE, FakeDaemon

OWNER, GROUP = 900, 901
NOBODY = 65534

root = pytest.mark.skipif(os.getuid() != 0, reason="only root can be somebody else")


@pytest.mark.parametrize(
    ("peer", "may"),
    [
        pytest.param(Peer(0, 0, frozenset({0})), True, id="root"),
        pytest.param(Peer(OWNER, 5, frozenset({5})), True, id="the socket's owner"),
        pytest.param(Peer(7, GROUP, frozenset({GROUP})), True, id="the group as main group"),
        pytest.param(Peer(7, 5, frozenset({5, GROUP})), True, id="a member of the group"),
        pytest.param(Peer(7, 5, frozenset({5, 6})), False, id="somebody else"),
    ],
)
def test_who_may_act(peer: Peer, may: bool) -> None:
    assert peer.may_act(OWNER, GROUP) is may


def test_the_kernel_names_the_other_end() -> None:
    one, other = socket.socketpair()
    with one, other:
        peer = peer_of(one)
    assert (peer.uid, peer.gid) == (os.getuid(), os.getgid())
    assert peer.groups >= {os.getgid(), *os.getgroups()}


ASK = """
import os, socket, sys
os.setgroups([int(each) for each in sys.argv[3].split(',') if each])
os.setgid(int(sys.argv[2])); os.setuid(int(sys.argv[2]))
link = socket.socket(socket.AF_UNIX); link.connect(sys.argv[1])
link.sendall(sys.argv[4].encode() + b'\\n'); print(link.makefile().readline())
"""
ACKNOWLEDGE = '{"v":1,"id":1,"do":"acknowledge","with":{"panel":"p"},"by":"anna"}'
STATUS = '{"v":1,"id":1,"do":"status"}'


@pytest.fixture
def path() -> Iterator[Path]:
    """A socket in a folder that any user of this machine may enter."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder) / "control.sock"


def ask_as(path: Path, groups: str, line: str) -> str:
    """What another user with these groups hears; the file's mode is opened for the test's sake."""
    path.chmod(0o666)
    asked = subprocess.run(
        [sys.executable, "-c", ASK, str(path), str(NOBODY), groups, line],
        capture_output=True,
        text=True,
        timeout=DEADLINE,
        check=True,
    )
    return asked.stdout


@root
def test_a_stranger_may_look_but_not_speak_for_a_person(daemon: FakeDaemon, path: Path) -> None:
    assert '"ok"' in ask_as(path, "", STATUS)
    assert '"not-allowed"' in ask_as(path, "", ACKNOWLEDGE)
    assert '"not-allowed"' in ask_as(path, "", STATUS.replace("status", "stop"))
    assert daemon.events.empty()
    assert daemon.acts.empty()


@root
def test_a_member_of_the_socket_s_group_may_speak_for_a_person(
    daemon: FakeDaemon, path: Path
) -> None:
    group = path.stat().st_gid
    assert '"ok"' in ask_as(path, f"4242,{group}", ACKNOWLEDGE)
