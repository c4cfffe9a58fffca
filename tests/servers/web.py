"""A web server that answers as it is told, and a server that takes connections and says nothing."""

import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any


@dataclass
class Web:
    """What a web server got, and how it answers: '/gets-401' gets 401, other paths 200.

    '/gets-429-after-30' asks to be left alone for 30 s.
    """

    port: int = 0
    bodies: list[dict[str, Any]] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)

    def address(self, path: str = "hook") -> str:
        return f"json://127.0.0.1:{self.port}/{path}"

    def titles(self) -> list[str]:
        return [body["title"] for body in self.bodies]


@contextmanager
def web() -> Iterator[Web]:
    """A web server on a port that the kernel gave."""
    seen = Web()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            seen.bodies.append(json.loads(body))
            seen.headers.append(dict(self.headers.items()))
            _, _, asked = self.path.partition("/gets-")
            status, _, after = asked.partition("-after-")
            self.send_response(int(status or 200))
            if after:
                self.send_header("Retry-After", after)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    seen.port = server.server_address[1]
    thread = Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    try:
        yield seen
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def silent() -> Iterator[int]:
    """The port of a server whose connections are made, by the kernel, and never answered."""
    with socket.create_server(("127.0.0.1", 0), backlog=64) as listener:
        yield listener.getsockname()[1]


def refusing_port() -> int:
    """A port where nobody listens: bound and never listened at, so that nobody else gets it."""
    global _bound
    if _bound is None:
        _bound = socket.socket()
        _bound.bind(("127.0.0.1", 0))
    port: int = _bound.getsockname()[1]
    return port


_bound: socket.socket | None = None
