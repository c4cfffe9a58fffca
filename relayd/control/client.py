"""The other side of the control socket: ask the daemon one thing, or follow what happens."""

import errno
import json
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from relayd.clock import boottime
from relayd.control import wire
from relayd.core.plan import SECOND, seconds
from relayd.errors import NotReachable, Refused

_PIECE = 16 * 1024


def ask(
    path: Path,
    do: str,
    with_: Mapping[str, object] | None = None,
    by: str | None = None,
    timeout: float = 10.0,
) -> dict[str, object]:
    """The daemon's answer. Raises Refused where it is no, NotReachable where none comes within `timeout` seconds."""
    deadline = boottime() + seconds(timeout)
    with _connected(path, deadline) as link:
        _send(link, _request(do, with_, by))
        answer = _body(path, _line(link, bytearray(), deadline))
    return _unpacked(path, answer)


def follow(path: Path, timeout: float = 10.0) -> Iterator[dict[str, object]]:
    """Each event as it comes, for ever. Raises NotReachable or Refused when it ends, or if it does not begin within `timeout` seconds."""
    deadline = boottime() + seconds(timeout)
    with _connected(path, deadline) as link:
        _send(link, _request(wire.FOLLOW, None, None))
        kept = bytearray()
        _unpacked(path, _body(path, _line(link, kept, deadline)))
        while True:
            body = _body(path, _line(link, kept, None))
            if "end" in body:
                _unpacked(path, body)
            yield body


def _request(do: str, with_: Mapping[str, object] | None, by: str | None) -> bytes:
    return wire.encode({"v": wire.VERSION, "id": 1, "do": do, "with": dict(with_ or {}), "by": by})


def _send(link: socket.socket, line: bytes) -> None:
    # A daemon that closes at once has said why: that is still to be read.
    with suppress(BrokenPipeError, ConnectionResetError):
        link.sendall(line)


@contextmanager
def _connected(path: Path, deadline: int) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
        try:
            link.settimeout(_left(deadline))
            link.connect(str(path))
            yield link
        except TimeoutError:
            raise NotReachable(f"the daemon did not answer in time on {path}") from None
        except OSError as error:
            raise NotReachable(_why(path, error)) from error


def _why(path: Path, error: OSError) -> str:
    if error.errno in (errno.ENOENT, errno.ECONNREFUSED):
        return f"no daemon answers on {path}: is it running?"
    if error.errno in (errno.EACCES, errno.EPERM):
        return f"{path} may not be used by you: become a member of its group, or root"
    return f"the daemon on {path} was lost: {error.strerror or error}"


def _left(deadline: int) -> float:
    return max(0.001, (deadline - boottime()) / SECOND)


def _line(link: socket.socket, kept: bytearray, deadline: int | None) -> bytes:
    """The next line; what came after it stays in `kept`. Raises TimeoutError, OSError."""
    while (cut := kept.find(b"\n")) < 0:
        if len(kept) > wire.LONGEST:
            raise OSError(errno.EPROTO, "it sent a line that is too long")
        link.settimeout(None if deadline is None else _left(deadline))
        got = link.recv(_PIECE)
        if not got:
            raise OSError(errno.EPIPE, "it closed the connection without an answer")
        kept += got
    line = bytes(kept[:cut])
    del kept[: cut + 1]
    return line


def _body(path: Path, line: bytes) -> dict[str, object]:
    try:
        body = json.loads(line)
    except (ValueError, RecursionError):
        body = None
    if not isinstance(body, dict):
        raise NotReachable(f"what answers on {path} does not speak as relayd does")
    return body


def _unpacked(path: Path, body: dict[str, object]) -> dict[str, object]:
    """What an answer says. Raises Refused for a no, NotReachable for the end or for anything else."""
    said = next((body[key] for key in ("ok", "no", "end") if key in body), None)
    if not isinstance(said, dict):
        raise NotReachable(f"what answers on {path} does not speak as relayd does")
    if "no" in body:
        raise Refused(str(said.get("say", "refused")), str(said.get("code", "refused")))
    if "end" in body:
        raise NotReachable(str(said.get("say", "the daemon ended the connection")))
    return said
