"""A real mosquitto on a port that the kernel gave, for as long as a `with` block lasts."""

import os
import selectors
import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from time import monotonic

from tests.servers.certificates import Authority

DEADLINE = 10.0


class Mosquitto:
    """One broker in one directory; it can be killed and started again on the same port, empty."""

    def __init__(self, directory: Path, options: list[str], port: int = 0) -> None:
        self.port = port or free_port()
        self._process: subprocess.Popen[bytes] | None = None
        self._config = directory / "mosquitto.conf"
        # Started by root it would become another user, who may not read this directory.
        user = ["user root"] if os.geteuid() == 0 else []
        listener = [f"listener {self.port} 127.0.0.1"]
        # Its own limit is 1,000: a test that sends more would lose some without a word.
        queue = ["max_queued_messages 10000"]
        kept = any(each.startswith("persistence") for each in options)
        store = [] if kept else ["persistence false"]
        lines = [*user, *listener, *queue, *store, "log_dest stderr", *options]
        self._config.write_text("\n".join(lines) + "\n")

    def configure(self, text: str) -> None:
        """Use this configuration instead; as root it would become a user who may not read it."""
        user = "user root\n" if os.geteuid() == 0 else ""
        self._config.write_text(f"{user}log_dest stderr\n{text}")

    def start(self) -> None:
        """Start, and wait until it says that it runs."""
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        self._process = subprocess.Popen(
            [program, "-c", str(self._config)], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL
        )
        _await_text(self._process, b" running")
        # What it says later is read and dropped, or it would stop at a full pipe.
        self._reader = Thread(target=_drain, args=(self._process,), daemon=True)
        self._reader.start()

    def suspend(self) -> None:
        """Let it hang: connections stand, and nothing is taken."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def resume(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def kill(self) -> None:
        """End it as a power cut would; what it held in memory is gone."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            self._reader.join(DEADLINE)


@contextmanager
def mosquitto(
    directory: Path,
    login: tuple[str, str] | None = None,
    tls: "Certificates | None" = None,
    access: list[str] | None = None,
) -> Iterator[Mosquitto]:
    """A running broker. `access`: lines of an access list; without it everybody may do all."""
    options = [f"allow_anonymous {'false' if login else 'true'}"]
    if login:
        passwords = directory / "passwords"
        passwords.touch(mode=0o600)
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), *login], check=True)
        options.append(f"password_file {passwords}")
    if tls:
        options += [f"cafile {tls.ca}", f"certfile {tls.certificate}", f"keyfile {tls.key}"]
    if access is not None:
        rules = directory / "access"
        rules.write_text("\n".join(access) + "\n")
        rules.chmod(0o600)
        options.append(f"acl_file {rules}")
    broker = Mosquitto(directory, options)
    broker.start()
    try:
        yield broker
    finally:
        broker.kill()


class Certificates:
    """An authority of our own and a certificate for 'localhost'."""

    def __init__(self, directory: Path) -> None:
        authority = Authority(directory)
        server = authority.issue("server")
        self.ca, self.certificate, self.key = authority.file, server.certificate, server.key


def free_port() -> int:
    """A port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _drain(process: subprocess.Popen[bytes]) -> None:
    assert process.stderr is not None
    with process.stderr as said:
        for _ in said:
            pass


def _await_text(process: subprocess.Popen[bytes], wanted: bytes) -> None:
    """Read what a process says until `wanted` comes; fails with all it said at the deadline."""
    assert process.stderr is not None
    said, until = b"", monotonic() + DEADLINE
    with selectors.DefaultSelector() as selector:
        selector.register(process.stderr, selectors.EVENT_READ)
        while wanted not in said:
            ready = selector.select(max(0.0, until - monotonic()))
            piece = os.read(process.stderr.fileno(), 4096) if ready else b""
            if not piece:
                process.kill()
                process.wait()
                raise AssertionError(f"no {wanted!r} within {DEADLINE} s: {said.decode()}")
            said += piece
