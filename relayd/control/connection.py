"""One client's socket: what came in so far, and what still has to go out. Never waits.

Knows nothing of what a line means, but for the one that ends a stream.
"""

import socket
from collections import deque
from collections.abc import Iterator

from relayd.control import wire
from relayd.control.peers import Peer

BACKLOG = 4 * wire.LONGEST
"""Bytes that may wait for one client before it counts as too slow."""


class LineTooLong(Exception):
    """More than a line's worth of bytes came without a line end."""


class Connection:
    """A client. `last` is set once its last line is queued: nothing more is read or queued."""

    def __init__(self, link: socket.socket, peer: Peer, now: int) -> None:
        self.link = link
        self.peer = peer
        self.follows = False
        self.ended = False
        """The client has closed its side."""
        self.last = False
        self.pending: set[str] = set()
        """Tokens of commands that are not answered yet."""
        self.used = now
        """Boot time (ns) of the last sign of life."""
        self.finished: int | None = None
        """Boot time (ns) since which it is being dropped."""
        self._in = bytearray()
        self._out: deque[bytes] = deque()
        self._sent = 0
        self._waiting = 0

    @property
    def wants_write(self) -> bool:
        """Whether something waits to go out."""
        return bool(self._out)

    @property
    def done(self) -> bool:
        """Whether nothing is left to do for this client."""
        over = self.last or (self.ended and (self.follows or not self.pending))
        return over and not self.wants_write

    def receive(self) -> Iterator[bytes]:
        """Read once and give each whole line. Raises LineTooLong; OSError where the link broke."""
        got = self.link.recv(wire.LONGEST)
        self._in += got
        self.ended = not got
        while (cut := self._in.find(b"\n")) >= 0:
            line = bytes(self._in[:cut])
            del self._in[: cut + 1]
            yield line
        if len(self._in) >= wire.LONGEST:
            raise LineTooLong
        if self.ended and self._in:
            yield bytes(self._in)

    def say(self, line: bytes) -> None:
        """Let a line go out; a client for whom too much waits is told so and dropped."""
        if self.last:
            return
        self._out.append(line)
        self._waiting += len(line)
        if self._waiting > BACKLOG:
            self.finish(wire.end("slow", "you read too slowly and are dropped: connect again"))

    def finish(self, line: bytes) -> None:
        """Make this the last line: what waits is dropped, except a line that is half out."""
        if self.last:
            return
        half = self._out.popleft() if self._sent else None
        self._out = deque(each for each in (half, line) if each is not None)
        self.last = True

    def flush(self) -> None:
        """Send what the socket takes now. Raises OSError where the link broke."""
        while self._out:
            try:
                self._sent += self.link.send(memoryview(self._out[0])[self._sent :])
            except BlockingIOError:
                return
            if self._sent == len(self._out[0]):
                self._waiting -= self._sent
                self._sent = 0
                self._out.popleft()
