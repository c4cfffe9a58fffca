"""The daemon's side, on a real socket."""

import errno
import json
import os
import resource
import socket
import stat
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from relayd.control import connection, server, wire
from relayd.control.client import ask
from relayd.control.peers import Peer
from relayd.control.server import ControlServer
from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, Commanded, FaultFound, Looked
from relayd.errors import Locked, NotReachable, RelaydError
from tests.control.fake import DEADLINE, Client, FakeDaemon, Line, refused, running


def test_an_acknowledgement_reaches_the_daemon_and_its_answer_the_asker(
    daemon: FakeDaemon, path: Path
) -> None:
    with Client(path) as client:
        heard = client.ask("acknowledge", panel="creek-1", act="taken", within=5)
    assert heard == {
        "id": 7,
        "ok": {"code": "taken", "say": "Anna has it until 14:00; told: Bert"},
    }
    posted = daemon.happened()
    assert isinstance(posted, Commanded)
    assert posted.command == Acknowledge(panel="creek-1", act=Act.TAKEN, within=5)
    assert (posted.by, posted.way) == ("anna", "command line")
    assert posted.token.startswith("control:")


def test_what_somebody_saw_at_the_panel_reaches_the_daemon(daemon: FakeDaemon, path: Path) -> None:
    with Client(path) as client:
        assert "ok" in client.ask("looked", panel="creek-1", level="normal")
    posted = daemon.happened()
    assert isinstance(posted, Commanded)
    assert posted.command == Looked("creek-1", True)


def test_a_no_of_the_daemon_s_comes_back_with_its_words(daemon: FakeDaemon, path: Path) -> None:
    daemon.says = Answer("", False, "not-active", "nothing to acknowledge at 'creek-1'")
    with Client(path) as client:
        heard = client.ask("acknowledge", panel="creek-1")
    assert heard == {
        "id": 7,
        "no": {"code": "not-active", "say": "nothing to acknowledge at 'creek-1'"},
    }


def test_answers_find_their_askers_in_any_order(daemon: FakeDaemon, path: Path) -> None:
    daemon.says = None
    with Client(path) as one, Client(path) as two:
        one.say("acknowledge", id=1, panel="a")
        first = daemon.happened()
        two.say("acknowledge", id=1, panel="b")
        second = daemon.happened()
        assert isinstance(first, Commanded)
        assert isinstance(second, Commanded)
        daemon.control.answer(Answer(second.token, True, "taken", "for two"))
        daemon.control.answer(Answer(first.token, True, "taken", "for one"))
        assert one.hear()["ok"] == {"code": "taken", "say": "for one"}
        assert two.hear()["ok"] == {"code": "taken", "say": "for two"}


def test_an_answer_whose_asker_has_gone_harms_nobody(daemon: FakeDaemon, path: Path) -> None:
    daemon.says = None
    with Client(path) as client:
        client.say("acknowledge", panel="creek-1")
        posted = daemon.happened()
    assert isinstance(posted, Commanded)
    daemon.control.answer(Answer(posted.token, True, "taken", "too late"))
    daemon.control.answer(Answer("mqtt:1", True, "taken", "not ours"))
    assert ask(path, "status") == daemon.reads


def test_a_client_that_closed_its_side_still_hears_the_answer(
    daemon: FakeDaemon, path: Path
) -> None:
    daemon.says = None
    with Client(path) as client:
        # Its line end is missing, too: the end of the stream ends the line.
        client.send(b'{"v":1,"id":3,"do":"acknowledge","with":{"panel":"p"},"by":"anna"}')
        client.link.shutdown(socket.SHUT_WR)
        posted = daemon.happened()
        assert isinstance(posted, Commanded)
        daemon.control.answer(Answer(posted.token, True, "seen", "noted"))
        assert client.hear() == {"id": 3, "ok": {"code": "seen", "say": "noted"}}
        assert client.hear() == {}


@pytest.mark.parametrize("do", wire.READS)
def test_a_question_is_answered_by_the_daemon_s_function(
    daemon: FakeDaemon, path: Path, do: str
) -> None:
    assert ask(path, do, {"panel": "creek-1"}) == daemon.reads
    asked, what = daemon.asked.get(timeout=DEADLINE)
    assert (asked, what["panel"]) == (do, "creek-1")


def test_the_daemon_is_told_whose_process_asks(daemon: FakeDaemon, path: Path) -> None:
    with Client(path) as client:
        # What the asker says of itself does not count.
        client.ask("status", uid=4711)
    _, what = daemon.asked.get(timeout=DEADLINE)
    assert (what["uid"], what["gid"]) == (os.getuid(), os.getgid())


def test_a_reload_is_begun_and_said(daemon: FakeDaemon, path: Path) -> None:
    assert ask(path, "reload") == {"say": "reload has begun"}
    assert daemon.acts.get(timeout=DEADLINE)[0] == "reload"


def test_a_refused_reload_says_why(daemon: FakeDaemon, path: Path) -> None:
    refused(daemon, ["line 3: no such key", "line 9: no such panel"])
    with Client(path) as client:
        heard = client.ask("reload")
    say = "line 3: no such key\nline 9: no such panel"
    assert heard["no"] == {"code": "plan-refused", "say": say}


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        pytest.param(b"status\n", "malformed", id="no JSON"),
        pytest.param(b"\n", "malformed", id="an empty line"),
        pytest.param(b'{"v":3,"id":7,"do":"status"}\n', "version", id="another version"),
        pytest.param(b'{"v":1,"id":7,"do":"dance"}\n', "unknown", id="an odd wish"),
        pytest.param(
            b'{"v":1,"id":7,"do":"acknowledge","with":{"panel":"p"}}\n', "nobody", id="by nobody"
        ),
    ],
)
def test_a_bad_line_is_answered_and_the_next_one_works(
    daemon: FakeDaemon, path: Path, sent: bytes, code: str
) -> None:
    with Client(path) as client:
        client.send(sent)
        assert client.code() == code
        assert client.ask("status")["ok"] == daemon.reads
    assert daemon.events.empty()


def test_a_line_without_end_is_refused_and_the_client_dropped(
    daemon: FakeDaemon, path: Path
) -> None:
    with Client(path) as client:
        client.send(b"x" * wire.LONGEST)
        assert client.code() == "too-long"
        assert client.hear() == {}
    assert ask(path, "status") == daemon.reads


def test_the_longest_line_is_still_read(daemon: FakeDaemon, path: Path) -> None:
    sent = b'{"v":1,"id":7,"do":"status"}'
    with Client(path) as client:
        client.send(sent + b" " * (wire.LONGEST - 1 - len(sent)) + b"\n")
        assert client.hear()["ok"] == daemon.reads


def test_an_answer_longer_than_a_line_is_a_clear_no(daemon: FakeDaemon, path: Path) -> None:
    daemon.reads = {"records": ["x" * 1000] * 70}
    with Client(path) as client:
        client.say("log")
        assert client.code() == "too-large"


@pytest.mark.parametrize(
    ("fails", "code", "fault"),
    [
        pytest.param(RelaydError("no such panel"), "refused", False, id="a user's mistake"),
        pytest.param(KeyError("panel"), "fault", True, id="a fault of ours"),
    ],
)
def test_a_question_that_fails_is_a_no(
    daemon: FakeDaemon, path: Path, fails: Exception, code: str, fault: bool
) -> None:
    daemon.reads = fails
    with Client(path) as client:
        client.say("status")
        assert client.code() == code
        daemon.reads = {"fine": True}
        assert client.ask("status")["ok"] == {"fine": True}
    # A fault is an alarm: the daemon hears of it.
    assert daemon.events.empty() != fault
    assert not fault or daemon.happened() == FaultFound("control: status", "KeyError: 'panel'")


def test_an_answer_that_cannot_be_written_down_is_a_fault_and_not_the_end(
    daemon: FakeDaemon, path: Path
) -> None:
    daemon.says = Answer("", True, "taken", "Anna has it", {"odd": object()})
    with Client(path) as client:
        client.say("acknowledge", panel="p")
        assert client.code() == "fault"
        assert client.ask("status")["ok"] == daemon.reads


def test_more_clients_than_allowed_are_told_so(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "CLIENTS", 2)
    with Client(path) as one, Client(path) as two:
        assert "ok" in one.ask("status")
        assert "ok" in two.ask("status")
        with Client(path) as three:
            assert three.code() == "too-many"
            assert three.hear() == {}
        assert "ok" in one.ask("status")
    with Client(path) as four:
        assert "ok" in four.ask("status")


def test_a_client_whose_peer_is_not_known_is_closed(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(_link: socket.socket) -> Peer:
        raise OSError(errno.ENOTCONN, os.strerror(errno.ENOTCONN))

    with monkeypatch.context() as patch:
        patch.setattr(server, "peer_of", gone)
        with pytest.raises(NotReachable):
            ask(path, "status")
    assert ask(path, "status") == daemon.reads


def test_without_descriptors_the_others_are_served_and_the_next_one_is_let_in_later(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "TURN", 0.01)
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    with Client(path) as served, Client(path) as waiting:
        assert "ok" in served.ask("status")
        assert "ok" in waiting.ask("status")
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as late:
            late.settimeout(DEADLINE)
            lowest = os.dup(late.fileno())
            os.close(lowest)
            # From here on this process can open no more files than it has.
            resource.setrlimit(resource.RLIMIT_NOFILE, (lowest, hard))
            try:
                late.connect(str(path))
                late.sendall(b'{"v":1,"id":1,"do":"status"}\n')
                assert [served.ask("status")["ok"] for _ in range(3)] == [daemon.reads] * 3
            finally:
                resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
            assert b'"ok"' in late.recv(4096)


def test_a_thread_that_dies_is_said_and_can_be_started_again(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_server: ControlServer) -> None:
        raise ZeroDivisionError("odd")

    with monkeypatch.context() as patch:
        patch.setattr(ControlServer, "_deliver", fail)
        with Client(path) as client, suppress(OSError):
            client.say("status")
            client.hear()
        assert daemon.happened() == FaultFound("control", "ZeroDivisionError: odd")
        daemon.control.close()
    assert not daemon.control.alive()
    daemon.control.start()
    assert ask(path, "status") == daemon.reads


def test_a_client_with_too_many_open_commands_is_told_to_wait(
    daemon: FakeDaemon, path: Path
) -> None:
    daemon.says = None
    with Client(path) as client:
        for number in range(17):
            client.say("acknowledge", id=number, panel="p")
        heard = client.hear()
    assert heard["id"] == 16
    assert "busy" in str(heard["no"])


def test_an_idle_client_is_dropped_with_a_word(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "TURN", 0.01)
    ask(path, "status")  # so that the thread turns once more, by its new time
    monkeypatch.setattr(server, "IDLE", -1)
    with Client(path) as client:
        assert client.hear()["end"] == {"code": "idle", "say": "nothing was asked for a minute"}
        assert client.hear() == {}


def test_followers_hear_what_happens_and_others_do_not(daemon: FakeDaemon, path: Path) -> None:
    with Client(path) as follower, Client(path) as other:
        assert follower.ask("follow") == {"id": 7, "ok": {}}
        daemon.control.publish({"what": "raised", "subject": "panel:creek-1"})
        assert follower.hear() == {"what": "raised", "subject": "panel:creek-1"}
        assert other.ask("status")["ok"] == daemon.reads


def heard_by(client: Client) -> list[Line]:
    """Every line until the stream ends."""
    return list(iter(client.hear, {}))


def test_a_slow_follower_is_dropped_with_a_last_line_and_a_quick_one_misses_nothing(
    daemon: FakeDaemon, path: Path
) -> None:
    event = {"what": "raised", "text": "x" * 8_000}
    enough = 4 * connection.BACKLOG // 8_000
    with Client(path) as slow, Client(path) as quick:
        slow.link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        slow.ask("follow")
        quick.ask("follow")
        for number in range(enough):
            daemon.control.publish({**event, "n": number})
            assert quick.hear()["n"] == number
        heard = heard_by(slow)
    assert 0 < len(heard) < enough
    assert [each.get("n") for each in heard[:-1]] == list(range(len(heard) - 1))
    assert heard[-1]["end"] == {
        "code": "slow",
        "say": "you read too slowly and are dropped: connect again",
    }


def test_a_client_that_never_reads_is_closed_after_a_while(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "LINGER", 0)
    enough = 4 * connection.BACKLOG // 8_000
    with Client(path) as stuck:
        stuck.ask("follow")
        for _ in range(enough):
            daemon.control.publish({"text": "x" * 8_000})
            assert ask(path, "status") == daemon.reads
        # Its last line could not be handed over any more: the stream just ends.
        heard = heard_by(stuck)
    assert 0 < len(heard) < enough
    assert not [each for each in heard if "end" in each]


def test_events_beyond_the_bound_are_counted_and_said(
    daemon: FakeDaemon, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Client(path) as client:
        client.ask("follow")
        with monkeypatch.context() as patch:
            patch.setattr(server, "MAIL", 0)
            daemon.control.publish({"what": "lost"})
            daemon.control.publish({"what": "lost"})
        daemon.control.publish({"what": "kept"})
        assert client.hear() == {"what": "kept"}
        assert client.hear() == {"missed": 2}


@pytest.mark.parametrize(
    "spoilt",
    [
        pytest.param({"odd": object()}, id="no JSON"),
        pytest.param({"text": "x" * wire.LONGEST}, id="too long"),
    ],
)
def test_an_event_that_fits_no_line_does_not_stop_the_others(
    daemon: FakeDaemon, path: Path, spoilt: dict[str, object]
) -> None:
    with Client(path) as client:
        client.ask("follow")
        daemon.control.publish(spoilt)
        daemon.control.publish({"what": "next"})
        heard = [client.hear()]
        if "missed" in heard[0]:
            heard.append(client.hear())
        assert heard[-1] == {"what": "next"}


def test_a_stopping_daemon_says_so_and_takes_its_file_away(daemon: FakeDaemon, path: Path) -> None:
    with Client(path) as client:
        client.ask("follow")
        daemon.control.close()
        assert client.hear()["end"] == {"code": "stopping", "say": "the daemon stops"}
        assert client.hear() == {}
    assert not path.exists()
    assert not daemon.control.alive()
    daemon.control.publish({"what": "nobody hears it"})
    daemon.control.answer(Answer("control:1", True, "taken", "nobody hears it"))


def test_the_thread_shows_that_it_lives(daemon: FakeDaemon, path: Path) -> None:
    before = daemon.control.beat()
    assert daemon.control.alive()
    ask(path, "status")
    assert daemon.control.beat() > before


def test_it_can_be_started_again(path: Path) -> None:
    with running(path) as daemon:
        daemon.control.close()
        daemon.control.start()
        assert ask(path, "status") == daemon.reads


def test_the_socket_is_for_owner_and_group_only(daemon: FakeDaemon, path: Path) -> None:
    assert stat.S_IMODE(path.stat().st_mode) == 0o660


def test_a_socket_left_behind_is_taken_over(path: Path) -> None:
    left = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    left.bind(str(path))
    left.close()
    with running(path) as daemon:
        assert ask(path, "status") == daemon.reads


def test_a_socket_that_answers_is_left_alone(daemon: FakeDaemon, path: Path) -> None:
    with pytest.raises(Locked, match="another relayd answers here") as caught:
        FakeDaemon(path).control.start()
    assert caught.value.exit_code == 75
    assert ask(path, "status") == daemon.reads


def test_a_file_that_is_no_socket_is_left_alone(path: Path) -> None:
    path.write_text("somebody's")
    with pytest.raises(RelaydError, match="this is no socket"):
        FakeDaemon(path).control.start()
    assert path.read_text() == "somebody's"


@pytest.mark.parametrize(
    "name", [pytest.param("x" * 120, id="too long"), pytest.param("gone/c.sock", id="no folder")]
)
def test_a_path_that_cannot_be_bound_is_said(tmp_path: Path, name: str) -> None:
    with pytest.raises(RelaydError, match="cannot listen here"):
        FakeDaemon(tmp_path / name).control.start()


def test_a_new_file_at_the_path_is_not_removed_by_the_old_daemon(
    daemon: FakeDaemon, path: Path
) -> None:
    path.unlink()
    path.write_text("a new one")
    daemon.control.close()
    assert path.read_text() == "a new one"


PIECES = st.lists(
    st.binary(max_size=80)
    | st.sampled_from([b"\n", b'{"v":1,"id":1,"do":"status"}\n', b'{"v":1,"id":', b"\0\n"]),
    max_size=6,
)


@settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(PIECES)
def test_no_garbage_stops_it(daemon: FakeDaemon, path: Path, pieces: list[bytes]) -> None:
    with Client(path) as client:
        for piece in pieces:
            client.send(piece)
        client.link.shutdown(socket.SHUT_WR)
        while line := client.hear():
            assert {"ok", "no"} & line.keys()
    assert ask(path, "status") == daemon.reads
    assert daemon.control.alive()
    assert daemon.events.empty()


def test_requests_in_one_piece_and_in_many_are_all_answered(daemon: FakeDaemon, path: Path) -> None:
    lines = [json.dumps({"v": 1, "id": n, "do": "status"}).encode() + b"\n" for n in range(3)]
    with Client(path) as client:
        client.send(b"".join(lines[:2]) + lines[2][:9])
        assert [client.hear()["id"] for _ in range(2)] == [0, 1]
        client.send(lines[2][9:])
        assert client.hear()["id"] == 2
