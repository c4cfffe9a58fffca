"""A name service that answers as it is told: with an address, that there is no such name, or never.

The form of a message is RFC 1035's, section 4; only what a resolver asks for is understood.
"""

import socket
from collections.abc import Mapping
from contextlib import suppress
from threading import Thread

ADDRESS = 1
"""The type of a record with an IPv4 address (RFC 1035, 3.2.2)."""
FINE, NO_SUCH_NAME = 0x8180, 0x8183
"""An answer's flags: response, recursion wanted and available, and its code (RFC 1035, 4.1.1)."""
HEAD = 12
LASTS = 0
"""Seconds for which an answer may be kept: none, so that each send asks anew."""


class NameServer:
    """Answers at a bound UDP socket, on a thread of its own, until it is closed."""

    def __init__(self, line: socket.socket, known: Mapping[str, str]) -> None:
        """`known`: name -> IPv4 address, as it is at each question; another name does not exist."""
        self._line, self._known = line, known
        self._thread = Thread(target=self._run, name="names", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Answer nobody more; who asks is told by the network that nobody listens."""
        # It wakes the thread that waits; the error is that the socket is connected to nobody.
        with suppress(OSError):
            self._line.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._line.close()

    def _run(self) -> None:
        while True:
            question, whose = self._line.recvfrom(512)
            if not question:
                return
            self._line.sendto(self._answer(question), whose)

    def _answer(self, question: bytes) -> bytes:
        name, end = _name(question)
        address = self._known.get(name)
        kind = int.from_bytes(question[end : end + 2])
        found = address is not None and kind == ADDRESS
        flags = NO_SUCH_NAME if address is None else FINE
        counts = b"\0\1" + int(found).to_bytes(2) + bytes(4)
        asked = question[HEAD : end + 4]
        record = b""
        if found and address is not None:
            # The name again, as a pointer to where it stands in the question.
            record = b"\xc0\x0c\0\1\0\1" + LASTS.to_bytes(4) + b"\0\4" + socket.inet_aton(address)
        return question[:2] + flags.to_bytes(2) + counts + asked + record


def _name(question: bytes) -> tuple[str, int]:
    """The name that is asked for, in small letters, and where what follows it begins."""
    labels, at = list[str](), HEAD
    while length := question[at]:
        labels.append(question[at + 1 : at + 1 + length].decode().lower())
        at += 1 + length
    return ".".join(labels), at + 1
