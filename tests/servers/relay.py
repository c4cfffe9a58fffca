"""A relay between clients and a server: it brings what comes, or swallows it, as it is told.

Swallowed, both ends keep a connection on which nothing comes: what a dead router or a cut cable
looks like. New connections are taken and nothing comes of them.
"""

import selectors
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Event, Thread


class Relay:
    """One port in front of another; `swallows` may be set from any thread."""

    def __init__(self, target: int, listener: socket.socket | None = None) -> None:
        """`listener`: where it listens, if not at a port of 127.0.0.1 that the kernel gives."""
        self._target = target
        self._listener = listener or socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self.swallows = Event()
        self._ear, self._bell = socket.socketpair()
        self._pairs: dict[socket.socket, socket.socket | None] = {}
        self._lossy: set[socket.socket] = set()
        self._selector = selectors.DefaultSelector()
        self._thread = Thread(target=self._run, name="relay", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._bell.send(b"x")
        self._thread.join()
        for each in [*self._pairs, self._listener, self._ear, self._bell]:
            each.close()
        self._selector.close()

    def _run(self) -> None:
        self._selector.register(self._listener, selectors.EVENT_READ)
        self._selector.register(self._ear, selectors.EVENT_READ)
        while True:
            for key, _ in self._selector.select():
                if key.fileobj is self._ear:
                    return
                if key.fileobj is self._listener:
                    self._take()
                elif isinstance(key.fileobj, socket.socket) and key.fileobj in self._pairs:
                    self._bring(key.fileobj)

    def _take(self) -> None:
        near, _ = self._listener.accept()
        self._add(near, None)
        if self.swallows.is_set():
            return
        try:
            far = socket.create_connection(("127.0.0.1", self._target), timeout=5)
        except OSError:
            self._drop(near)
            return
        self._add(far, near)
        self._pairs[near] = far

    def _add(self, link: socket.socket, other: socket.socket | None) -> None:
        self._pairs[link] = other
        self._selector.register(link, selectors.EVENT_READ)

    def _bring(self, link: socket.socket) -> None:
        try:
            piece = link.recv(65536)
        except OSError:
            piece = b""
        other = self._pairs.get(link)
        if self.swallows.is_set():
            self._lossy.add(link)
            if not piece:
                self._forget(link)
            return
        # What was swallowed is missing in the stream: such a connection cannot go on.
        if not piece or other is None or {link, other} & self._lossy:
            self._drop(link)
            return
        try:
            other.sendall(piece)
        except OSError:
            self._drop(link)

    def _forget(self, link: socket.socket) -> None:
        """One end has gone; the other one is not told."""
        other = self._pairs.pop(link, None)
        if other is not None and other in self._pairs:
            self._pairs[other] = None
        with suppress(KeyError):
            self._selector.unregister(link)
        link.close()

    def _drop(self, link: socket.socket) -> None:
        other = self._pairs.get(link)
        self._forget(link)
        if other is not None and other in self._pairs:
            self._forget(other)


@contextmanager
def relay(target: int, listener: socket.socket | None = None) -> Iterator[Relay]:
    """A relay in front of that port of this machine."""
    made = Relay(target, listener)
    try:
        yield made
    finally:
        made.stop()
