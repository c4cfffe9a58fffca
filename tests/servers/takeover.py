"""A broker of the barest kind (MQTT 5), which gives the first connection to 'another client'.

mosquitto closes such a connection without a word where the session goes on; others say why.
Packets by MQTT 5.0: CONNACK 3.2, PUBACK 3.4, SUBACK 3.9, PINGRESP 3.13, DISCONNECT 3.14.
"""

import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Condition, Thread

CONNECT, PUBLISH, SUBSCRIBE, PINGREQ = 1, 3, 8, 12
SESSION_TAKEN_OVER = b"\xe0\x01\x8e"


class Takeover:
    """Accepts one connection after the other; the first is cut when it says that it is ready."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.thread = Thread(target=self._run, daemon=True)
        self.published: list[bytes] = []
        """The body of each PUBLISH of every connection but the first."""
        self._news = Condition()

    def _run(self) -> None:
        number = 0
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            number += 1
            with client:
                self._serve(client, cut=number == 1)

    def _serve(self, client: socket.socket, cut: bool) -> None:
        stream = client.makefile("rb")
        with stream:
            while head := stream.read(1):
                body = stream.read(_length(stream.read))
                client.sendall(_reply(head[0], body))
                self._note(head[0], body, cut)
                if cut and head[0] >> 4 == PUBLISH and body.endswith(b"ready"):
                    client.sendall(SESSION_TAKEN_OVER)
                    client.shutdown(socket.SHUT_WR)
                    # Closing with something unread would take back what was just sent.
                    stream.read()
                    return

    def _note(self, head: int, body: bytes, cut: bool) -> None:
        with self._news:
            self.published += [body] if head >> 4 == PUBLISH and not cut else []
            self._news.notify_all()

    def hears(self, end: bytes) -> None:
        """Wait until a later connection published something that ends so."""
        with self._news:
            came = self._news.wait_for(
                lambda: any(each.endswith(end) for each in self.published), 15
            )
            assert came, f"no {end!r} in {self.published[-5:]}"

    def close(self) -> None:
        """Stop accepting and drop who is there."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.thread.join(10)


def _length(read: Callable[[int], bytes]) -> int:
    value = shift = 0
    while True:
        byte = read(1)[0]
        value |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            return value


def _reply(head: int, body: bytes) -> bytes:
    kind, qos = head >> 4, head >> 1 & 3
    if kind == CONNECT:
        return b"\x20\x03\x00\x00\x00"
    if kind == SUBSCRIBE:
        return b"\x90\x04" + body[:2] + b"\x00\x01"
    if kind == PUBLISH and qos:
        end = 2 + int.from_bytes(body[:2], "big")
        return b"\x40\x02" + body[end : end + 2]
    return b"\xd0\x00" if kind == PINGREQ else b""


@contextmanager
def takeover() -> Iterator[Takeover]:
    """Such a broker, running."""
    server = Takeover()
    server.thread.start()
    try:
        yield server
    finally:
        server.close()
