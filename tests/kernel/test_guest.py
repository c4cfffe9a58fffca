"""The guest itself: what it promises to those who run stories in it."""

from pathlib import Path

import pytest

from tests.kernel.guest import NO_KERNEL, Disk, Guest, living, make_disk, program, run

pytestmark = [
    pytest.mark.kernel,
    pytest.mark.slow,
    pytest.mark.skipif(program() is None, reason=NO_KERNEL),
]


@pytest.fixture
def disk(tmp_path: Path) -> Disk:
    made = Disk(tmp_path / "disk.img", tmp_path / "mounted")
    made.at.mkdir()
    make_disk(made.image)
    return made


def test_status_and_output_come_back() -> None:
    done = run(["-c", "import os, sys; print('hello', os.getuid()); sys.exit(7)"], 30)
    assert (done.status, done.output) == (7, "hello 0\n")


def test_a_guest_that_hangs_is_ended_and_nothing_of_it_is_left() -> None:
    with Guest(["-c", "import threading; print('up'); threading.Event().wait()"]) as guest:
        guest.until(lambda line: line == "up\n", 30)
        pid = guest.pid
        assert pid in living(pid)
        done = guest.finish(0.1)
    assert (done.status, done.output) == (None, "up\n")
    assert living(pid) == []


def test_a_server_can_be_reached_inside() -> None:
    story = """
import socket
server = socket.create_server(("127.0.0.1", 0))
client = socket.create_connection(server.getsockname(), timeout=5)
server.accept()[0].sendall(b"reached")
print(client.recv(7).decode())
"""
    assert run(["-c", story], 30).output == "reached\n"


def test_what_was_flushed_survives_a_cut_of_power(disk: Disk) -> None:
    story = f"""
import os, threading
with open("{disk.at}/kept", "w") as file:
    file.write("kept")
    file.flush()
    os.fsync(file.fileno())
print("flushed")
threading.Event().wait()
"""
    with Guest(["-c", story], disk=disk) as guest:
        guest.until(lambda line: line == "flushed\n", 30)
        guest.cut_power()
    done = run(["-c", f"print(open('{disk.at}/kept').read())"], 30, disk=disk)
    assert (done.status, done.output) == (0, "kept\n")


def test_a_frozen_disk_stalls_a_write_until_it_is_thawed(disk: Disk) -> None:
    story = f"""
import threading
from pathlib import Path
from tests.kernel.inside import freeze, thaw
at = Path("{disk.at}")
done = threading.Event()
def write():
    (at / "late").write_text("late")
    done.set()
freeze(at)
threading.Thread(target=write, daemon=True).start()
print("frozen", done.wait(0.5))
thaw(at)
print("thawed", done.wait(10))
"""
    done = run(["-c", story], 30, disk=disk)
    assert done.output == "frozen False\nthawed True\n"
