"""An IMAP server in this process: one mailbox that keeps the same promises as the real one, or breaks them.

`before` may answer a command in place of the server: how a hostile one is played.
"""

import re
import socket
from base64 import b64decode
from collections.abc import Callable
from contextlib import suppress
from threading import Condition, Thread
from types import TracebackType

from relayd.rig import Mailbox, Secret

DEADLINE = 20.0
Before = Callable[[socket.socket, bytes, bytes], bool]
"""Given the line, the tag and the command: True where it answered by itself."""


class ToldImap:
    """One mailbox behind a port that the kernel gave, without TLS."""

    user, password = "answers", 'Re"ply\\4'

    def __init__(
        self, idle: bool = True, before: Before | None = None, can: bytes = b" AUTH=PLAIN"
    ) -> None:
        self.validity = 7
        self.mails: list[bytes] = []
        self.asked: list[bytes] = []
        self._can = can + (b" IDLE" if idle else b"")
        self._before = before
        self._known = 0
        self._news = Condition()
        self._lines: list[socket.socket] = []
        self._threads: list[Thread] = []

    def __enter__(self) -> "ToldImap":
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._begin(self._accept)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.hang_up()
        for each in self._threads:
            each.join(DEADLINE)

    def box(self, **changes: object) -> Mailbox:
        """The mailbox as a plan would describe it."""
        given: dict[str, object] = {
            **{"host": "127.0.0.1", "port": self.port, "secure": "none"},
            **{"user": self.user, "password": Secret(self.password)},
        }
        return Mailbox(**{**given, **changes})  # type: ignore[arg-type]

    def put(self, raw: bytes) -> None:
        """A mail arrives."""
        with self._news:
            self.mails.append(raw)
            self._news.notify_all()

    def hang_up(self) -> None:
        """End every connection."""
        for each in self._lines:
            try:
                each.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass  # it ended by itself
        with self._news:
            self._news.notify_all()

    def _begin(self, what: Callable[..., None], *words: object) -> None:
        thread = Thread(target=what, args=words, daemon=True)
        thread.start()
        self._threads.append(thread)

    def _accept(self) -> None:
        while True:
            try:
                line, _ = self._listener.accept()
            except OSError:
                return
            self._lines.append(line)
            self._begin(self._serve, line)

    def _serve(self, line: socket.socket) -> None:
        with line, line.makefile("rb") as asked:
            try:
                line.sendall(b"* OK ready\r\n")
                for each in asked:
                    tag, _, command = each.strip().partition(b" ")
                    self.asked.append(command)
                    if self._before is None or not self._before(line, tag, command):
                        self._answer(line, asked.readline, tag, command)
            except OSError:
                return  # the other side has left

    def _answer(
        self, line: socket.socket, read: Callable[[], bytes], tag: bytes, command: bytes
    ) -> None:
        say, words = line.sendall, command.split()
        if words[0] in (b"LOGIN", b"AUTHENTICATE"):
            refused = "" if self._lets_in(line, read, command) else "no such login"
        else:
            refused = "" if command != b'EXAMINE "Elsewhere"' else "no such folder"
        if not refused:
            self._tell(line, read, command)
        say(tag + (f" NO {refused}\r\n".encode() if refused else b" OK done\r\n"))

    def _lets_in(self, line: socket.socket, read: Callable[[], bytes], command: bytes) -> bool:
        if command == b"AUTHENTICATE PLAIN":
            line.sendall(b"+ \r\n")
            return b64decode(read()).split(b"\0") == [b"", *self._login()]
        return command == b'LOGIN "answers" "Re\\"ply\\\\4"'

    def _tell(self, line: socket.socket, read: Callable[[], bytes], command: bytes) -> None:
        say, words, there = line.sendall, command.split(), len(self.mails)
        if words[0] == b"CAPABILITY":
            say(b"* CAPABILITY IMAP4rev1" + self._can + b"\r\n")
        elif words[0] == b"EXAMINE":
            say(b"* %d EXISTS\r\n* OK [UIDVALIDITY %d] y\r\n" % (there, self.validity))
            say(b"* OK [UIDNEXT %d] next\r\n" % (there + 1))
        elif words[0] == b"IDLE":
            say(b"+ idling\r\n")
            self._idles(line, read)
        elif words[:2] == [b"UID", b"SEARCH"]:
            self._known, first = there, int(words[3].partition(b":")[0])
            found = range(min(first, there), there + 1) if there else ()
            say(b"* SEARCH " + b" ".join(b"%d" % each for each in found) + b"\r\n")
        elif words[:2] == [b"UID", b"FETCH"]:
            self._fetch(line, int(words[2]), command)

    def _fetch(self, line: socket.socket, uid: int, command: bytes) -> None:
        most = re.search(rb"<0\.(\d+)>", command)
        assert most is not None
        part = self.mails[uid - 1][: int(most[1])]
        line.sendall(b"* %d FETCH (UID %d BODY[]<0> {%d}\r\n" % (uid, uid, len(part)))
        line.sendall(part + b")\r\n")

    def _idles(self, line: socket.socket, read: Callable[[], bytes]) -> None:
        """Tell of new mail on a thread of its own until the other side says DONE."""
        before, over = self._known, [False]

        def tell() -> None:
            with self._news:
                self._news.wait_for(lambda: over[0] or len(self.mails) > before, DEADLINE)
                if not over[0] and len(self.mails) > before:
                    with suppress(OSError):  # the other side has left
                        line.sendall(b"* %d EXISTS\r\n" % len(self.mails))

        self._begin(tell)
        read()
        with self._news:
            over[0] = True
            self._news.notify_all()

    def _login(self) -> list[bytes]:
        return [self.user.encode(), self.password.encode()]
