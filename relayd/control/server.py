"""The daemon's side of the control socket: one thread, one selector, no waiting on anybody.

In: clients' lines. Out: commands posted to the daemon, whose answers come back through `answer`;
events come through `publish` and go to all that follow. What a line means is requests.py's.
"""

import logging
import socket
import threading
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from queue import SimpleQueue
from selectors import EVENT_READ, EVENT_WRITE, DefaultSelector

from relayd.clock import boottime
from relayd.control import listening, wire
from relayd.control.connection import Connection, LineTooLong
from relayd.control.peers import peer_of
from relayd.control.requests import Act, Post, Read, Requests
from relayd.control.wire import Refusal
from relayd.core.effects import Answer
from relayd.core.plan import SECOND

CLIENTS = 64
TURN = 2.0
"""Seconds after which the thread turns even if nothing happens."""
LINGER = 10 * SECOND
"""How long a client that is being dropped may take to read its last line."""
IDLE = 60 * SECOND
"""How long a client may be connected without asking for anything."""
MAIL = 1_000
"""Events that may wait for the thread; what is more is dropped, counted and said."""

log = logging.getLogger(__name__)


class ControlServer:
    """Listens on `path` (mode 0660) once started.

    `post` takes events and never blocks. `read` answers a question and must be quick; `act` begins
    a reload or a stop and may return what to say. Both are called on this thread with the
    request's values and the asker's `uid` and `gid`; a RelaydError they raise is the answer no.
    """

    def __init__(self, path: Path, post: Post, read: Read, act: Act) -> None:
        self._path = path
        self._requests = Requests(post, read, act)
        self._mail: SimpleQueue[Answer | Mapping[str, object]] = SimpleQueue()
        self._missed = 0
        self._following = 0
        self._stopping = False
        self._beat = 0
        self._thread: threading.Thread | None = None
        self._bell: socket.socket | None = None

    def start(self) -> None:
        """Bind and serve; again after the thread died, too. Raises Locked where another daemon
        answers on the path, RelaydError where it cannot be bound."""
        self._listener, self._owner = listening.bind(self._path)
        self._selector = DefaultSelector()
        self._clients: set[Connection] = set()
        self._deaf = self._stopping = False
        self._ear, self._bell = socket.socketpair()
        self._ear.setblocking(False)
        self._bell.setblocking(False)
        self._selector.register(self._listener, EVENT_READ)
        self._selector.register(self._ear, EVENT_READ)
        self._beat = boottime()
        self._thread = threading.Thread(target=self._run, name="control", daemon=True)
        self._thread.start()

    def answer(self, answer: Answer) -> None:
        """Answer a command; from any thread. Nothing happens where the asker has gone."""
        self._mail.put(answer)
        self._ring()

    def publish(self, line: Mapping[str, object]) -> None:
        """Show an event to all followers; from any thread. It must not change afterwards."""
        if not self._following:
            return
        if self._mail.qsize() >= MAIL:
            self._missed += 1
            return
        self._mail.put(line)
        self._ring()

    def beat(self) -> int:
        """Boot time (ns) of the thread's last turn; well, it is little older than TURN."""
        return self._beat

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def close(self, timeout: float = 5.0) -> None:
        """Tell the clients, stop, remove the socket file; waits at most `timeout` seconds."""
        self._stopping = True
        self._ring()
        if self._thread is not None:
            self._thread.join(timeout)

    def _ring(self) -> None:
        try:
            if self._bell is not None:
                self._bell.send(b"!")
        except OSError as error:
            # Full: it has rung already. Closed: nobody is there to wake.
            log.debug("not woken: %s", error)

    # The thread

    def _run(self) -> None:
        try:
            while not self._stopping:
                self._turn()
            self._farewell()
        except Exception as error:  # noqa: BLE001 - said; `alive` then tells the daemon
            self._requests.fault("control", error)
        finally:
            self._release()

    def _turn(self) -> None:
        ready = self._selector.select(TURN)
        self._beat = boottime()
        self._listen(True)
        for key, mask in ready:
            if isinstance(key.data, Connection):
                self._guarded(key.data, partial(self._serve, mask=mask))
            elif key.fileobj is self._ear:
                self._ear.recv(4096)
        self._deliver()
        # Counted before a new follower learns that it is one: what comes next must reach it.
        self._following = sum(each.follows for each in self._clients)
        for client in list(self._clients):
            self._guarded(client, self._tidy)
        # Last: whoever left in this turn has made room.
        if any(key.fileobj is self._listener for key, _ in ready):
            self._accept()

    def _guarded(self, client: Connection, serve: Callable[[Connection], None]) -> None:
        """Whatever goes wrong with one client ends that client only."""
        try:
            serve(client)
        except OSError as error:
            log.debug("a client went: %s", error)
            self._drop(client)
        except Exception as error:  # noqa: BLE001 - said, told to people, and the others go on
            self._requests.fault("control: a client", error)
            self._drop(client)

    def _accept(self) -> None:
        try:
            link, _ = self._listener.accept()
        except OSError as error:
            # No file descriptors left, say: until the next turn nobody can be let in.
            log.error("no new client: %s", error)
            self._listen(False)
            return
        try:
            client = Connection(link, peer_of(link), self._beat)
        except OSError as error:
            log.debug("a client went at once: %s", error)
            link.close()
            return
        self._let_in(client)

    def _let_in(self, client: Connection) -> None:
        client.link.setblocking(False)
        self._clients.add(client)
        self._selector.register(client.link, EVENT_READ, client)
        if len(self._clients) > CLIENTS:
            say = f"{CLIENTS} clients are connected already: try again later"
            client.finish(wire.no(None, "too-many", say))
            self._guarded(client, self._tidy)

    def _serve(self, client: Connection, mask: int) -> None:
        if not mask & EVENT_READ or client.last:
            return
        client.used = self._beat
        try:
            for line in client.receive():
                self._requests.take(client, line, self._owner)
        except LineTooLong:
            say = f"a line is at most {wire.LONGEST} bytes long"
            client.finish(wire.no(None, "too-long", say))

    def _listen(self, on: bool) -> None:
        if on and self._deaf:
            self._selector.register(self._listener, EVENT_READ)
        elif not on and not self._deaf:
            self._selector.unregister(self._listener)
        self._deaf = not on

    def _deliver(self) -> None:
        for _ in range(self._mail.qsize()):
            mail = self._mail.get_nowait()
            if isinstance(mail, Answer):
                self._requests.answered(mail)
            else:
                self._show(mail)
        if self._missed:
            missed, self._missed = self._missed, 0
            self._show({"missed": missed})

    def _show(self, line: Mapping[str, object]) -> None:
        try:
            encoded = wire.encode(line)
        except Refusal:
            encoded = wire.encode({"missed": 1})
        except (TypeError, ValueError) as error:
            self._requests.fault("control: an event", error)
            return
        for client in self._clients:
            if client.follows:
                client.say(encoded)

    def _tidy(self, client: Connection) -> None:
        """Send what can be sent, close what is over, and listen for what is still to come."""
        if self._beat - client.used > IDLE and not client.follows and not client.pending:
            client.finish(wire.end("idle", "nothing was asked for a minute"))
        client.flush()
        if client.done or self._lingers(client):
            self._drop(client)
            return
        reads = 0 if client.last or client.ended else EVENT_READ
        self._watch(client, reads | (EVENT_WRITE if client.wants_write else 0))

    def _lingers(self, client: Connection) -> bool:
        """Whether it had its time to read its last line."""
        if not client.last:
            return False
        client.finished = client.finished or self._beat
        return self._beat - client.finished > LINGER

    def _watch(self, client: Connection, wanted: int) -> None:
        known = client.link in self._selector.get_map()
        if wanted and known:
            self._selector.modify(client.link, wanted, client)
        elif wanted:
            self._selector.register(client.link, wanted, client)
        elif known:
            self._selector.unregister(client.link)

    def _drop(self, client: Connection) -> None:
        self._watch(client, 0)
        client.link.close()
        self._clients.discard(client)
        self._requests.forget(client)

    def _farewell(self) -> None:
        """Hand out what is there, and tell everybody that this is the end."""
        self._deliver()
        for client in list(self._clients):
            client.say(wire.end("stopping", "the daemon stops"))
            self._guarded(client, Connection.flush)

    def _release(self) -> None:
        for client in self._clients:
            client.link.close()
        self._following = 0
        self._selector.close()
        for each in (self._ear, self._bell, self._listener):
            if each is not None:
                each.close()
        listening.remove(self._path, self._owner)
