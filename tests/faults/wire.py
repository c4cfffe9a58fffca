"""A mail server that misbehaves as it is told: it says lines, says them slowly, or says nothing.

The words are those of RFC 5321; nothing of a mail library takes part, so that anything can be said.
"""

import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread

LINE_END = b"\r\n"


class Wire:
    """One connection, seen from the server."""

    def __init__(self, line: socket.socket, over: Event) -> None:
        self._line, self._over = line, over
        self._rest = b""
        self.gone = False
        """Whether the client hung up."""

    def says(self, text: str) -> None:
        """A whole line at once."""
        self._line.sendall(text.encode() + LINE_END)

    def drips(self, text: str) -> None:
        """A byte a second, for as long as anybody listens."""
        for each in text.encode():
            self._line.sendall(bytes([each]))
            if self._over.wait(1):
                return

    def hears(self) -> str:
        """The next line of the client; '' where it has gone."""
        while LINE_END not in self._rest:
            piece = self._line.recv(4096)
            if not piece:
                self.gone = True
                return ""
            self._rest += piece
        line, _, self._rest = self._rest.partition(LINE_END)
        return line.decode()

    def waits(self) -> None:
        """Say nothing until the test is over."""
        self._over.wait()

    def secures(self, how: ssl.SSLContext) -> None:
        """Speak TLS from now on. Raises OSError where the client does not like what it is shown."""
        self._line = how.wrap_socket(self._line, server_side=True)

    def closes(self) -> None:
        """Hang up."""
        self._line.close()


Manners = Callable[[Wire], None]
"""What the server does with one connection; it is closed at the end of it."""


def answers(refusing: dict[str, str], keep: Callable[[str], None] = lambda text: None) -> Manners:
    """Takes mail, but answers a verb of `refusing` ('RCPT', 'DATA', '.') with that line.

    `keep` is given each mail before the server says that it has taken it.
    """

    def manners(wire: Wire) -> None:
        wire.says(refusing.get("", "220 here"))
        while said := wire.hears():
            verb = said[:4].upper().rstrip()
            if verb == "QUIT":
                wire.says("221 bye")
                return
            wire.says(refusing.get(verb, "354 go on" if verb == "DATA" else "250 fine"))
            if verb == "DATA" and verb not in refusing:
                if (text := _mail(wire)) is None:
                    return
                if "." not in refusing:
                    keep(text)
                wire.says(refusing.get(".", "250 taken"))

    return manners


def _mail(wire: Wire) -> str | None:
    """The lines of a mail up to its end; None where the client has gone before."""
    lines = list[str]()
    while (line := wire.hears()) != ".":
        lines.append(line.removeprefix("."))
        if line == "" and wire.gone:
            return None
    return "\n".join(lines)


def secured(how: ssl.SSLContext, manners: Manners) -> Manners:
    """The same over TLS from the first byte, with the certificate of `how`."""

    def first_tls(wire: Wire) -> None:
        wire.secures(how)
        manners(wire)

    return first_tls


def hangs(wire: Wire) -> None:
    """Takes the connection and never says a word: so does a half-open one after its begin."""
    wire.waits()


def trickles(wire: Wire) -> None:
    """Greets with a byte a second: no read ever times out, and no line ever ends."""
    wire.drips("220 " + "x" * 500)


def falls_silent(wire: Wire) -> None:
    """Answers the first command and nothing after it, as where the path dies under way."""
    wire.says("220 here")
    wire.hears()
    wire.says("250 fine")
    wire.waits()


def mid_session(cut: Callable[[], None]) -> Manners:
    """Has the path die after the sender was named; what it says then reaches nobody."""

    def dies(wire: Wire) -> None:
        wire.says("220 here")
        while wire.hears()[:4].upper() not in ("MAIL", ""):
            wire.says("250 fine")
        cut()
        wire.says("250 fine")
        wire.waits()

    return dies


def hangs_up(wire: Wire) -> None:
    """Closes the connection in the middle of the message."""
    wire.says("220 here")
    while wire.hears()[:4].upper() not in ("DATA", ""):
        wire.says("250 fine")
    wire.says("354 go on")
    wire.hears()


@contextmanager
def server(manners: Manners) -> Iterator[int]:
    """The port of a server of those manners; each connection has a thread of its own."""
    over = Event()
    listener = socket.create_server(("127.0.0.1", 0))
    threads: list[Thread] = []

    def serve(line: socket.socket) -> None:
        wire = Wire(line, over)
        with suppress(OSError):  # the client may go at any time
            manners(wire)
        wire.closes()

    def accept() -> None:
        with suppress(OSError):  # closed
            while True:
                line, _ = listener.accept()
                threads.append(Thread(target=serve, args=(line,), daemon=True))
                threads[-1].start()

    taker = Thread(target=accept, daemon=True)
    taker.start()
    try:
        yield listener.getsockname()[1]
    finally:
        over.set()
        with suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        taker.join(10)
