"""One daemon a state directory: a lock that the kernel takes back when the process ends."""

import errno
import fcntl
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from relayd.errors import Locked, RelaydError

NAME = "lock"


@dataclass(frozen=True, slots=True)
class Lock:
    """The held lock; it is not passed on to processes that are started."""

    fd: int

    def release(self) -> None:
        """Let another daemon have the directory."""
        os.close(self.fd)


def take(directory: Path) -> Lock:
    """Make the directory ours alone (0700) and lock it.

    Raises Locked with the process that holds it, RelaydError where the directory is not ours.
    """
    make_private(directory)
    fd = opened(directory)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        holder = signed(fd)
        os.close(fd)
        raise Locked(f"{directory} is in use by another relayd (process {holder})") from error
    sign(fd)
    return Lock(fd)


def opened(directory: Path) -> int:
    """The lock file; on a read-only disk as it is, or the directory itself: alarms must start there too."""
    path, how = directory / NAME, os.O_NOFOLLOW | os.O_CLOEXEC
    try:
        try:
            return os.open(path, os.O_RDWR | os.O_CREAT | how, 0o600)
        except OSError as error:
            if error.errno != errno.EROFS:
                raise
        return os.open(path if path.exists() else directory, os.O_RDONLY | how)
    except OSError as error:
        raise RelaydError(f"{path}: the lock cannot be made: {error.strerror}") from error


def sign(fd: int) -> None:
    """Write our process id into the lock, for whoever is refused."""
    try:
        os.ftruncate(fd, 0)
        os.pwrite(fd, f"{os.getpid()}\n".encode(), 0)
    except OSError:
        # The lock holds all the same; a full disk must not keep the alarms from starting.
        return


def signed(fd: int) -> str:
    """The process id in the lock, or that it is not known."""
    try:
        return os.pread(fd, 20, 0).decode("ascii", "replace").strip() or "not known"
    except IsADirectoryError:
        return "not known"


def make_private(directory: Path) -> None:
    """Make the directory, or see to it that nobody else can read it. Raises RelaydError."""
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = directory.stat()
        if found.st_uid != os.geteuid():
            raise RelaydError(f"{directory} belongs to user {found.st_uid}, not to us: refused")
        if stat.S_IMODE(found.st_mode) & 0o077 and not is_read_only(directory):
            directory.chmod(0o700)
    except OSError as error:
        raise RelaydError(f"{directory}: {error.strerror}") from error


def is_read_only(directory: Path) -> bool:
    """Whether the disk takes no changes (one that broke is noticed by the journal instead)."""
    return bool(os.statvfs(directory).f_flag & os.ST_RDONLY)
