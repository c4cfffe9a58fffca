"""One process that speaks JSON lines over its standard input and output, held by one thread.

Never waits longer than it is told to, whatever the process does. Knows nothing of sends.
"""

import json
import os
import selectors
import subprocess
from collections.abc import Sequence
from contextlib import suppress
from typing import IO, Any

PIECE = 65536
NOISE = 2048
"""Bytes kept of what the process wrote to its standard error: the end of a traceback."""
LONGEST = 1 << 20
"""Bytes without an end of line after which the process is not believed any more."""


class Pipes:
    """A process just started. Waiting for it also ends when `bell` (an eventfd) rings.

    Raises OSError where the process cannot be started.
    """

    def __init__(self, command: Sequence[str], bell: int) -> None:
        # A session of its own: Ctrl-C at a terminal is for the daemon, which ends it in order.
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            start_new_session=True,
        )
        self._in, self._out, self._err = map(
            _piped, (self._process.stdin, self._process.stdout, self._process.stderr)
        )
        self._bell = bell
        self._rest = self._noise = b""
        self._to_write = bytearray()
        self.closed = False
        self._poll = selectors.DefaultSelector()
        for each in (self._out, self._err, bell):
            self._poll.register(each, selectors.EVENT_READ)

    @property
    def pid(self) -> int:
        """The process's id."""
        return self._process.pid

    def put(self, message: dict[str, object]) -> None:
        """Write a message as soon as the process reads."""
        if not self._to_write:
            self._poll.register(self._in, selectors.EVENT_WRITE)
        self._to_write += json.dumps(message).encode() + b"\n"

    def backlog(self) -> int:
        """Bytes that are still to be written."""
        return len(self._to_write)

    def wait(self, seconds: float) -> list[dict[str, Any]]:
        """What the process said, as soon as it says something, the bell rings, or time is over.

        Raises ValueError where what it said is no JSON.
        """
        said: list[dict[str, Any]] = []
        for key, _ in self._poll.select(seconds):
            if key.fileobj is self._in:
                self._write()
            elif key.fileobj is self._err:
                self._hear()
            elif key.fileobj is self._out:
                said = self._read()
            else:
                os.eventfd_read(self._bell)
        return said

    def part(self) -> None:
        """Close its input: it is to end by itself. What was not written yet is forgotten."""
        if self._to_write:
            self._to_write.clear()
            self._poll.unregister(self._in)
        self._in.close()

    def end(self) -> str:
        """Kill it if it has not ended, and say how it ended."""
        with suppress(subprocess.TimeoutExpired):
            # Its output is closed, so that it is ending; let it, for its own status tells more.
            self._process.wait(1 if self.closed else 0)
        running = self._process.poll() is None
        self._process.kill()
        status = self._process.wait()
        self._hear()
        self._poll.close()
        for each in (self._in, self._out, self._err):
            each.close()
        if running:
            return "did not end by itself"
        words = self._noise.decode(errors="replace").strip().splitlines()[-1:]
        how = f"signal {-status}" if status < 0 else f"status {status}"
        return ": ".join([f"ended with {how}", *words])

    def _write(self) -> None:
        try:
            written = os.write(self._in.fileno(), self._to_write)
        except BrokenPipeError:  # it has ended; its output says so too
            written = len(self._to_write)
        del self._to_write[:written]
        if not self._to_write:
            self._poll.unregister(self._in)

    def _hear(self) -> None:
        piece = _pour(self._err)
        if piece == b"" and self._err in self._poll.get_map():
            self._poll.unregister(self._err)
        self._noise = (self._noise + (piece or b""))[-NOISE:]

    def _read(self) -> list[dict[str, Any]]:
        piece = _pour(self._out)
        if piece == b"":
            self.closed = True
            self._poll.unregister(self._out)
        *lines, self._rest = (self._rest + (piece or b"")).split(b"\n")
        if len(self._rest) > LONGEST:
            raise ValueError("a line without an end")
        return [json.loads(line) for line in lines]


def _piped(file: IO[bytes] | None) -> IO[bytes]:
    if file is None:
        raise TypeError("asked for a pipe and got none")
    os.set_blocking(file.fileno(), False)
    return file


def _pour(file: IO[bytes]) -> bytes | None:
    """What lies in a pipe, b"" at its end, None where it is open and empty."""
    try:
        return os.read(file.fileno(), PIECE)
    except BlockingIOError:
        return None
