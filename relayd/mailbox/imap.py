"""A small IMAP client (RFC 3501, IDLE of RFC 2177): what one reader needs, each answer bounded.

The standard library's client has no IDLE before Python 3.14, and takes whatever a server sends.
Here a line, a literal, an answer and a command have each a limit, so that a hostile server costs
one connection. It only ever looks: EXAMINE and BODY.PEEK change nothing in the mailbox.
"""

import re
import select
import socket
import ssl
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from relayd.clock import boottime
from relayd.core.plan import SECOND

LINE = 64 * 1024
"""Bytes of a line."""
LITERAL = 256 * 1024
"""Bytes of a literal; more is never asked for."""
ANSWER = 1024 * 1024
"""Bytes of everything that answers one command."""
PATIENCE = 30.0
"""Seconds for a whole command, however its bytes trickle."""
PIECE = 65536
_LITERAL = re.compile(rb"\{(\d{1,12})\}$")


class Broken(Exception):
    """The connection, or what came over it, cannot be used any more."""


class Refused(Exception):
    """The server said no to a command."""


@dataclass(frozen=True, slots=True)
class Said:
    """One untagged answer: its text without the literals, and these."""

    line: bytes
    literals: tuple[bytes, ...] = ()


class Imap:
    """One connection; every method raises Broken or Refused, nothing else."""

    def __init__(self, line: socket.socket) -> None:
        self._socket, self._buffer, self._number, self._read = line, bytearray(), 0, 0
        self._end = _now() + PATIENCE
        self._news = False
        """Mail has come since the last search began, as any answer may say (RFC 3501, 7.3.1)."""

    def greeted(self) -> None:
        """Wait for the server's first line."""
        first = self._line()
        if not first.startswith((b"* OK", b"* PREAUTH")):
            raise Broken(f"it greets with: {shown(first)}")

    def secured(self, context: ssl.SSLContext, host: str) -> None:
        """From now on TLS; what came before it counts for nothing (RFC 3501, 6.2.1)."""
        try:
            self._socket.settimeout(PATIENCE)
            self._socket = context.wrap_socket(self._socket, server_hostname=host)
        except (OSError, ValueError) as problem:
            raise Broken(reason(problem)) from problem
        self._buffer.clear()

    def starttls(self, context: ssl.SSLContext, host: str) -> None:
        """Ask for TLS, and begin it."""
        self.ask(b"STARTTLS")
        self.secured(context, host)

    def can(self) -> frozenset[bytes]:
        """What the server says it can do."""
        said = self.ask(b"CAPABILITY")
        words = (each.line.upper().split() for each in said)
        return frozenset(word for line in words if line[1:2] == [b"CAPABILITY"] for word in line)

    def login(self, user: str, password: str, can: frozenset[bytes]) -> None:
        """Log in, by SASL PLAIN (RFC 4616) where it is offered."""
        if b"LOGINDISABLED" in can:
            raise Refused("it takes no password on a connection that others can read")
        if b"AUTH=PLAIN" in can:
            whole = b64encode(f"\0{user}\0{password}".encode())
            tag = self._send(b"AUTHENTICATE PLAIN")
            self._go_ahead(tag)
            self._write(whole + b"\r\n")
            self._answered(tag)
            return
        self.ask(b"LOGIN " + quoted(user) + b" " + quoted(password))

    def examine(self, folder: str) -> tuple[int, int]:
        """Open a folder to look only: its UIDVALIDITY and its UIDNEXT."""
        said = b" ".join(each.line for each in self.ask(b"EXAMINE " + quoted(folder)))
        validity = re.search(rb"\[UIDVALIDITY (\d{1,10})\]", said, re.I)
        following = re.search(rb"\[UIDNEXT (\d{1,10})\]", said, re.I)
        if validity is None or following is None:
            raise Broken("the server gives this folder no UIDVALIDITY and UIDNEXT (RFC 3501)")
        return int(validity[1]), int(following[1])

    def newer(self, than: int) -> list[int]:
        """The UIDs above `than`, in order."""
        self._news = False
        found = [
            int(word)
            for each in self.ask(b"UID SEARCH UID %d:*" % (than + 1))
            if each.line[:8].upper() == b"* SEARCH"
            for word in each.line.split()[2:]
            if re.fullmatch(rb"\d{1,10}", word)
        ]
        # `n:*` always names the last one, also where it is older (RFC 3501, section 9).
        return sorted({uid for uid in found if uid > than})

    def begin_of(self, uid: int, most: int) -> bytes:
        """The first `most` bytes of that mail; empty where it is gone."""
        said = self.ask(b"UID FETCH %d (BODY.PEEK[]<0.%d>)" % (uid, most))
        mine = (each for each in said if re.search(rb"\bUID %d\b" % uid, each.line))
        return next((part[:most] for each in mine for part in each.literals), b"")

    def idle(self, beside: int, seconds: float) -> None:
        """Wait until mail comes, the descriptor `beside` can be read, or time is over."""
        if self._news:
            return
        tag = self._send(b"IDLE")
        self._go_ahead(tag)
        end = _now() + seconds
        while not self._news and (left := end - _now()) > 0:
            while (line := self._ready_line()) is not None:
                self._note(line)
                if line.upper().startswith(b"* BYE"):
                    raise Broken(f"the server ends it: {shown(line)}")
            if self._news or not self._awaited(beside, left):
                break
        self._end = _now() + PATIENCE
        self._write(b"DONE\r\n")
        self._answered(tag)

    def ask(self, command: bytes) -> list[Said]:
        """What the server answers, without the last line. Raises Refused where that is not OK."""
        return self._answered(self._send(command))

    def close(self) -> None:
        """Leave without a word: nothing was changed."""
        self._socket.close()

    # ---- the wire

    def _send(self, command: bytes) -> bytes:
        self._number, self._read, self._end = self._number + 1, 0, _now() + PATIENCE
        tag = b"r%d" % self._number
        self._write(tag + b" " + command + b"\r\n")
        return tag

    def _answered(self, tag: bytes) -> list[Said]:
        said: list[Said] = []
        while True:
            one = self._response()
            if one.line.startswith(tag + b" "):
                rest = one.line[len(tag) + 1 :]
                if rest[:2].upper() != b"OK":
                    raise Refused(shown(rest))
                return said
            self._note(one.line)
            said.append(one)

    def _note(self, line: bytes) -> None:
        self._news = self._news or bool(re.match(rb"\* \d+ EXISTS$", line, re.I))

    def _go_ahead(self, tag: bytes) -> None:
        while not (line := self._line()).startswith(b"+"):
            if line.startswith(tag + b" "):
                raise Refused(shown(line[len(tag) + 1 :]))

    def _response(self) -> Said:
        line, literals = self._line(), []
        while found := _LITERAL.search(line):
            size = int(found[1])
            if size > LITERAL:
                raise Broken(f"the server sends a piece of {size} bytes; at most {LITERAL}")
            literals.append(self._exactly(size))
            line = line[: found.start()] + self._line()
        return Said(line, tuple(literals))

    def _line(self) -> bytes:
        while (line := self._ready_line()) is None:
            if len(self._buffer) > LINE:
                raise Broken(f"the server sends a line of more than {LINE} bytes")
            self._fill(self._end - _now())
        return line

    def _ready_line(self) -> bytes | None:
        line, end, rest = self._buffer.partition(b"\n")
        if not end:
            return None
        self._buffer = rest
        return bytes(line.rstrip(b"\r"))

    def _exactly(self, size: int) -> bytes:
        while len(self._buffer) < size:
            self._fill(self._end - _now())
        piece = bytes(self._buffer[:size])
        del self._buffer[:size]
        return piece

    def _fill(self, left: float) -> None:
        """More bytes within `left` seconds."""
        if left <= 0:
            raise Broken(f"the server takes longer than {PATIENCE:g} s")
        try:
            self._socket.settimeout(left)
            piece = self._socket.recv(PIECE)
        except OSError as problem:
            raise Broken(reason(problem)) from problem
        if not piece:
            raise Broken("the server closed the connection")
        self._read += len(piece)
        if self._read > ANSWER:
            raise Broken(f"the server answers with more than {ANSWER} bytes")
        self._buffer += piece

    def _write(self, data: bytes) -> None:
        try:
            self._socket.settimeout(PATIENCE)
            self._socket.sendall(data)
        except OSError as problem:
            raise Broken(reason(problem)) from problem

    def _awaited(self, beside: int, seconds: float) -> bool:
        """Wait for bytes and take them; False where `beside` can be read or time is over."""
        waits: Sequence[int | socket.socket] = (self._socket, beside)
        hidden = isinstance(self._socket, ssl.SSLSocket) and self._socket.pending() > 0
        ready = select.select(waits, [], [], 0.0 if hidden else seconds)[0]
        if hidden or self._socket in ready:
            self._read = 0
            self._end = _now() + PATIENCE
            self._fill(PATIENCE)
            return True
        return False


def _now() -> float:
    return boottime() / SECOND


def connected(host: str, port: int) -> socket.socket:
    """A connection to that server. Raises Broken."""
    try:
        return socket.create_connection((host, port), PATIENCE)
    except OSError as problem:
        raise Broken(reason(problem)) from problem


def context(ca: Path | None) -> ssl.SSLContext:
    """What checks the server's certificate and its name. Raises Broken for an authority's file."""
    try:
        return ssl.create_default_context(cafile=None if ca is None else str(ca))
    except (OSError, ValueError) as problem:
        raise Broken(f"the authority's file: {reason(problem)}") from problem


def reason(problem: BaseException) -> str:
    """Why, in a few words."""
    if isinstance(problem, ssl.SSLCertVerificationError):
        return f"its certificate is not good: {problem.verify_message}"
    if isinstance(problem, TimeoutError):
        return f"no answer within {PATIENCE:g} s"
    if isinstance(problem, OSError) and problem.strerror:
        return problem.strerror
    return str(problem) or type(problem).__name__


def quoted(text: str) -> bytes:
    """A text as a quoted string (RFC 3501, section 9); what could end the line is not let through."""
    plain = "".join(each for each in text if each not in "\r\n\0")
    return b'"' + plain.replace("\\", "\\\\").replace('"', '\\"').encode() + b'"'


def shown(line: bytes) -> str:
    """A server's line, made harmless: one short line of plain characters."""
    return "".join(chr(each) if 32 <= each < 127 else "?" for each in line[:200])
