"""The socket file: made with the right mode, never taken from a daemon that still answers on it."""

import errno
import grp
import os
import socket
import stat
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from relayd.errors import Locked, RelaydError

MODE = 0o660
_WAITING = 16
_ANSWERS_IN = 2.0


@dataclass(frozen=True, slots=True)
class Owner:
    """Whose the socket file is, and which file it is."""

    uid: int
    gid: int
    inode: int

    @property
    def group(self) -> str:
        """The group's name, or its number where it has none."""
        try:
            return grp.getgrgid(self.gid).gr_name
        except KeyError:
            return str(self.gid)


def bind(path: Path) -> tuple[socket.socket, Owner]:
    """A listening socket at `path`, mode 0660. Raises Locked where somebody answers there, RelaydError where it cannot be made."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        _clear(path)
        # Closed to everybody until the mode is right; a umask would be the whole process's.
        os.fchmod(listener.fileno(), 0o600)
        listener.bind(str(path))
        path.chmod(MODE)
        listener.listen(_WAITING)
        listener.setblocking(False)
        found = path.stat()
    except OSError as error:
        listener.close()
        raise RelaydError(f"{path}: cannot listen here: {error.strerror or error}") from error
    except RelaydError:
        listener.close()
        raise
    return listener, Owner(found.st_uid, found.st_gid, found.st_ino)


def remove(path: Path, owner: Owner) -> None:
    """Remove the socket file, unless another one stands there by now."""
    with suppress(FileNotFoundError):  # somebody has removed it already: that was the aim
        if path.stat().st_ino == owner.inode:
            path.unlink()


def _clear(path: Path) -> None:
    """Remove a file that a daemon left behind; refuse where it is none, or somebody answers."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise RelaydError(f"{path}: this is no socket, and it is not removed; move it away")
    if _answers(path):
        raise Locked(f"{path}: another relayd answers here")
    path.unlink()


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(_ANSWERS_IN)
        code = probe.connect_ex(str(path))
    # Anything but a refusal (a full queue, a time-out) means that somebody holds it.
    return code not in (errno.ECONNREFUSED, errno.ENOENT)
