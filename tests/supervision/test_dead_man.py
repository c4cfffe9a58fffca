"""The outside watch: visited while the loop lives, its failures told without the address."""

import json
import ssl
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest

from relayd.core.events import Event, UnitSensed
from relayd.core.plan import SECOND
from relayd.rig import DeadMan, Secret
from relayd.supervision import visit
from relayd.supervision.dead_man import Visits
from tests.channels.watcher import Posted
from tests.servers.broker import Certificates
from tests.servers.web import refusing_port, silent

SECRET = "k3y-of-mine"


@contextmanager
def outside(
    statuses: list[int], paper: Certificates | None = None
) -> Iterator[tuple[int, list[str]]]:
    """A service that answers with these statuses in turn, the last one for ever; and who asked."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(statuses.pop(0) if len(statuses) > 1 else statuses[0])
            self.send_header("Location", "http://127.0.0.1:9/elsewhere")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if paper:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(paper.certificate, paper.key)
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    try:
        yield server.server_address[1], asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def rig(port: int, scheme: str = "http", host: str = "127.0.0.1", **more: object) -> DeadMan:
    address = Secret(f"{scheme}://{host}:{port}/{SECRET}?n=1")
    return DeadMan(address, **more)  # type: ignore[arg-type]


def visits(
    rig_: DeadMan, post: Callable[[Event], None] = lambda _event: None, **more: object
) -> Visits:
    return Visits(rig_, post, lambda: True, **more)  # type: ignore[arg-type]


@pytest.mark.slow
def test_a_visit_asks_for_the_whole_address_and_says_nothing_where_it_is_taken() -> None:
    with outside([204]) as (port, asked):
        assert visits(rig(port)).once() == ""
    assert asked == [f"/{SECRET}?n=1"]


@pytest.mark.slow
@pytest.mark.parametrize("status", [301, 404, 500])
def test_another_status_is_a_failure_and_no_redirection_is_followed(status: int) -> None:
    with outside([status]) as (port, asked):
        assert visits(rig(port)).once() == f"refused with status {status}"
    assert len(asked) == 1


@pytest.mark.slow
def test_nobody_there_is_said_without_the_address() -> None:
    why = visits(rig(refusing_port())).once()
    assert why == "not reached: connection refused"


@pytest.mark.slow
def test_a_service_that_says_nothing_is_given_up_in_time() -> None:
    with silent() as port:
        assert visits(rig(port), limit=SECOND // 2).once() == "no answer in time"


def test_a_process_that_hangs_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    from relayd.supervision import dead_man

    monkeypatch.setattr(dead_man, "PARTING", SECOND // 10)
    hangs = (sys.executable, "-c", "import signal; signal.pause()")
    made = visits(rig(9), command=hangs, limit=SECOND // 10)
    assert made.once() == "no answer in time"


@pytest.mark.parametrize("command", [("/nowhere/python",), (sys.executable, "-c", "print('what')")])
def test_a_process_that_cannot_begin_or_speaks_nonsense_is_a_failure(command: tuple[str]) -> None:
    assert visits(rig(9), command=command).once() == "not reached"


@pytest.mark.slow
def test_an_authority_of_ones_own_is_believed_and_no_other(tmp_path: Path) -> None:
    paper = Certificates(tmp_path)
    with outside([200], paper) as (port, asked):
        mine = rig(port, "https", "localhost", ca=paper.ca)
        assert visits(mine).once() == ""
        assert "certificate verify failed" in visits(rig(port, "https", "localhost")).once()
    assert len(asked) == 1


def test_the_address_is_in_no_command_line_and_no_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    ran: list[object] = []
    really = subprocess.run

    def run(command: object, **how: object) -> object:
        ran.append(command)
        return really(command, **how)  # type: ignore[call-overload]

    monkeypatch.setattr(subprocess, "run", run)
    why = visits(rig(refusing_port())).once()
    assert SECRET not in f"{ran}{why}"


def test_what_the_library_does_not_know_is_an_answer_too() -> None:
    for address in ("http://[::1", "http://127.0.0.1:99999/x"):
        said = visit.asked(json.dumps({"address": address, "ca": None, "limit": 1.0}))
        assert "why" in said


@pytest.mark.slow
def test_two_failures_in_a_row_are_told_and_the_first_visit_that_is_taken_again() -> None:
    posted = Posted()
    with outside([500, 200, 500, 500, 500, 204]) as (port, asked):
        made = visits(rig(port, every=SECOND // 50), posted, again=SECOND // 50)
        made.start()
        posted.awaited(UnitSensed, 3)
        made.stop()
    told = [(each.condition, each.why) for each in posted.of(UnitSensed)]
    assert told == [
        ("dead-man-url", ""),
        ("dead-man-url", "refused with status 500"),
        ("dead-man-url", ""),
    ]
    assert len(asked) >= 6


@pytest.mark.slow
def test_while_the_loop_hangs_nobody_is_visited() -> None:
    lives, posted = [False], Posted()
    with outside([204]) as (port, asked):
        made = Visits(rig(port, every=SECOND // 50), posted, lambda: lives[0])
        made.start()
        first = made.beat()
        while made.beat() < first + SECOND // 5:
            assert made.alive()
        assert asked == []
        lives[0] = True
        posted.awaited(UnitSensed)
        made.stop()
    assert asked
