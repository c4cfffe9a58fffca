"""The daemon with all of it: the watchdog's food, dead threads, its last word, a copied card.

systemd is a datagram socket of the test's; no real one is asked.
"""

import json
import os
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from threading import Thread

import pytest

from relayd import clock, daemon
from relayd.channels.post import Post
from relayd.contacts.scripted import ScriptedContacts
from relayd.core.conditions import COPIED, UNWATCHED
from relayd.core.events import TimePassed
from relayd.core.plan import SECOND
from relayd.core.unit_words import CAUSES
from relayd.daemon import Daemon, build
from relayd.errors import RelaydError
from relayd.journal import reader
from relayd.settings import Places, load
from relayd.supervision import identity
from tests.servers.web import refusing_port
from tests.test_daemon import PLAN

pytestmark = pytest.mark.slow
LEVEL = "cabin.high-level"
PEER = '[[supervision.peer]]\nid = "mill"\n'


def made(folder: Path, contacts: ScriptedContacts | None = None) -> Daemon:
    """A daemon on that directory; what was there before is remembered."""
    path = folder / "plan.toml"
    broker = f'[mqtt]\nhost = "127.0.0.1"\nport = {refusing_port()}\n'
    path.write_text(PLAN + broker + PEER)
    path.chmod(0o600)
    places = Places(plan=path, credentials=folder, state=folder, run=folder)
    loaded = load(path, folder, wall=clock.now(False).wall)
    return build(places, loaded, contacts or ScriptedContacts({LEVEL: False}))


@pytest.fixture
def unit(tmp_path: Path) -> Iterator[Daemon]:
    """A daemon that is made and not run: its turns are taken by hand."""
    found = made(tmp_path)
    yield found
    found._journal.close()


@pytest.fixture
def systemd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    name = str(tmp_path / "notify")
    with closing(socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)) as listener:
        listener.bind(name)
        listener.settimeout(10)
        monkeypatch.setenv("NOTIFY_SOCKET", name)
        yield listener


def heard(systemd: socket.socket, wanted: bytes) -> None:
    """Wait for that word."""
    while systemd.recv(256) != wanted:
        pass


def waiting(systemd: socket.socket) -> list[bytes]:
    """What has come and was not heard yet."""
    systemd.setblocking(False)
    found = []
    try:
        while True:
            found.append(systemd.recv(256))
    except BlockingIOError:
        return found


def test_the_watchdog_is_fed_while_the_loop_turns_and_stops_with_it(
    tmp_path: Path, systemd: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", "400000")
    monkeypatch.setenv("WATCHDOG_PID", str(os.getpid()))
    unit = made(tmp_path)
    runs = Thread(target=unit.run, daemon=True)
    runs.start()
    heard(systemd, b"READY=1")
    for _ in range(5):
        heard(systemd, b"WATCHDOG=1")
    unit.ask_to_stop()
    heard(systemd, b"STOPPING=1")
    runs.join(20)
    assert not runs.is_alive()


class Stale(ScriptedContacts):
    """Contacts whose thread lives and no longer reads."""

    late = 0

    def beat(self) -> int:
        return clock.boottime() - self.late


@pytest.mark.parametrize(("late", "fed"), [(1.9, True), (3.2, False)])
def test_it_is_not_fed_where_the_inputs_were_not_read_within_two_polls(
    tmp_path: Path, systemd: socket.socket, late: float, fed: bool
) -> None:
    contacts = Stale({LEVEL: False})
    unit = made(tmp_path, contacts)
    unit._begin(None)
    waiting(systemd)
    contacts.late = round(late * SECOND)
    unit._look()
    assert (b"WATCHDOG=1" in waiting(systemd)) is fed
    unit._end()


def died(unit: Daemon) -> int:
    """Run until it ends by itself."""
    status = unit.run()
    assert unit._stop
    return status


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_dies_is_started_again_once_then_the_process_ends_with_70_and_says_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(self: Post, pipes: object) -> None:
        pipes.end()  # type: ignore[attr-defined]
        raise KeyError("gone")

    monkeypatch.setattr(Post, "_live", fails)
    monkeypatch.setattr(daemon, "ROUND", 0.05)
    assert died(made(tmp_path)) == 70
    found = reader.records(tmp_path / "journal.db")
    judged = [each["body"]["why"] for each in found if each["kind"] == "unit judged"]
    assert "sender: its thread died; started again" in judged
    monkeypatch.undo()
    anew = made(tmp_path)
    assert anew._journal.meta_get("ended") == "dead: sender"
    anew._begin(None)
    for _ in range(40):
        anew._once(0.05)
    gap = anew.engine.state.subjects["unit"].alarms[UNWATCHED]
    assert gap.detail.endswith(CAUSES["thread"])
    anew._end()


def test_a_fault_in_the_loop_itself_is_the_last_word(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit = made(tmp_path)
    unit.ask_to_stop()
    unit._stop = ""

    def broken(event: object) -> None:
        if isinstance(event, TimePassed):
            raise KeyError("gone")

    monkeypatch.setattr(unit, "_begin", lambda refused: None)
    monkeypatch.setattr(unit, "_take", broken)
    with pytest.raises(KeyError):
        unit.run()
    anew = made(tmp_path)
    assert anew._journal.meta_get("ended") == "fault: KeyError: 'gone'"
    anew._journal.close()


def test_a_client_that_died_is_replaced_by_another_one(unit: Daemon) -> None:
    unit._begin(None)
    before = unit._brokers
    unit._connect_anew()
    assert unit._brokers is not before
    assert unit._brokers.alive()
    assert not before.alive()
    unit._end()


def foreign(folder: Path) -> None:
    """The identity of another board lies there."""
    root = folder / "another board"
    (root / "etc").mkdir(parents=True)
    for kind in ("sys/firmware/devicetree/base/serial-number", "etc/machine-id"):
        path = root / kind
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("another")
    assert identity.adopt(folder, root)
    # What tells this machine is known of that one too, and differs.
    said = json.loads((folder / identity.NAME).read_text())
    said["board"] = {kind: ["00"] for kind in identity.KINDS}
    (folder / identity.NAME).write_text(json.dumps(said))


def _stands_closed(unit: Daemon) -> bool:
    bounce = unit.engine.state.live["panel:cabin"].inputs[LEVEL].filter
    return bounce is not None and bounce.closed is True


def test_a_copied_card_watches_and_tells_and_stays_off_mqtt_until_it_is_adopted(
    tmp_path: Path,
) -> None:
    if not identity._marks(Path("/")):
        pytest.skip("nothing tells this machine from others")
    foreign(tmp_path)
    unit = made(tmp_path)
    assert unit._brokers.ways == ()
    unit._begin(None)
    alarms = unit.engine.state.subjects["unit"].alarms
    assert alarms[COPIED].process == "UNACK"
    assert alarms[COPIED].told == ("anna",)
    contacts = unit._contacts
    assert isinstance(contacts, ScriptedContacts)
    contacts.move(LEVEL, True)
    while not _stands_closed(unit):
        unit._once(0.05)
    assert unit._asked("adopt", {}) == (
        "this card belongs to this board from now on: the unit begins anew"
    )
    assert unit._stop == "reload"
    unit._end()
    anew = made(tmp_path)
    assert anew._brokers.ways == ("mqtt",)
    anew._journal.close()


def test_an_identity_that_cannot_be_written_is_no_adoption(
    unit: Daemon, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(daemon, "adopt", lambda state: False)
    with pytest.raises(RelaydError, match="see to the disk first"):
        unit._asked("adopt", {})
    assert unit._stop == ""


def test_an_ordinary_start_makes_an_identity_and_connects(tmp_path: Path, unit: Daemon) -> None:
    assert (tmp_path / identity.NAME).exists()
    assert unit._brokers.ways == ("mqtt",)
