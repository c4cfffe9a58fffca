"""The socket by which a daemon says that it is ready, as systemd would hold it (sd_notify(3))."""

import socket
from pathlib import Path
from threading import Condition, Thread

READY = b"READY=1"


class Bell:
    """Takes every message, so that the daemon never meets a full socket; counts the `READY=1`."""

    def __init__(self, path: Path) -> None:
        path.unlink(missing_ok=True)
        self._path = str(path)
        self._link = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._link.bind(self._path)
        self._news = Condition()
        self._ready = self._awaited = 0
        self._thread = Thread(target=self._hear, daemon=True)
        self._thread.start()

    def rang(self, seconds: float) -> bool:
        """Whether one more `READY=1` came than was awaited before, within that time."""
        with self._news:
            rang = self._news.wait_for(lambda: self._ready > self._awaited, seconds)
            self._awaited += rang
            return rang

    def close(self) -> None:
        """Hear nothing more."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as last:
            last.sendto(b"", self._path)
        self._thread.join()
        self._link.close()

    def _hear(self) -> None:
        while message := self._link.recv(4096):
            with self._news:
                self._ready += message == READY
                self._news.notify_all()
