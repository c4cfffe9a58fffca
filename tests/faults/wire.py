"""A mail server that misbehaves as it is told: it says lines, says them slowly, or says nothing.

The words are those of RFC 5321; nothing of a mail library takes part, so that anything can be said.
"""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread

LINE_END = b"\r\n"


class Wire:
    """One connection, seen from the server."""

    def __init__(self, line: socket.socket, over: Event) -> None:
        self._line, self._over = line, over
        self._rest = b""

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
                return ""
            self._rest += piece
        line, _, self._rest = self._rest.partition(LINE_END)
        return line.decode()

    def waits(self) -> None:
        """Say nothing until the test is over."""
        self._over.wait()


Manners = Callable[[Wire], None]
"""What the server does with one connection; it is closed at the end of it."""


def answers(refusing: dict[str, str]) -> Manners:
    """Takes mail, but answers a verb of `refusing` ('RCPT', 'DATA', '.') with that line."""

    def manners(wire: Wire) -> None:
        wire.says(refusing.get("", "220 here"))
        while said := wire.hears():
            verb = said[:4].upper().rstrip()
            if verb == "QUIT":
                wire.says("221 bye")
                return
            wire.says(refusing.get(verb, "354 go on" if verb == "DATA" else "250 fine"))
            if verb == "DATA" and verb not in refusing:
                while wire.hears() != ".":
                    pass
                wire.says(refusing.get(".", "250 taken"))

    return manners


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
        with line, suppress(OSError):  # the client may go at any time
            manners(Wire(line, over))

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
