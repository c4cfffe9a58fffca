"""What systemd is told, by the protocol of sd_notify(3). Nothing happens where it did not ask.

One datagram a message to the socket that NOTIFY_SOCKET names. A message that cannot be handed
over is logged: if it was the watchdog's, systemd will act, and it should be known why.
"""

import logging
import os
import socket

from relayd.clock import boottime, monotonic_to_boot

log = logging.getLogger(__name__)


def ready() -> bool:
    """The loop turns and each input is watched or reported lost; also ends a reload."""
    return _tell("READY=1")


def watchdog() -> bool:
    """All is well at this moment."""
    return _tell("WATCHDOG=1")


def stopping() -> bool:
    """A planned end has begun."""
    return _tell("STOPPING=1")


def reloading() -> bool:
    """A reload has begun; `ready` ends it. systemd wants the time on CLOCK_MONOTONIC beside it."""
    monotonic = (boottime() - monotonic_to_boot()) // 1_000
    return _tell(f"RELOADING=1\nMONOTONIC_USEC={monotonic}")


def status(text: str) -> bool:
    """One line for `systemctl status`."""
    return _tell(f"STATUS={' '.join(text.split())}")


def watchdog_interval() -> int | None:
    """How often to feed the watchdog, in nanoseconds: half of what systemd allows; None where it does not watch this process."""
    allowed = os.environ.get("WATCHDOG_USEC", "")
    pid = os.environ.get("WATCHDOG_PID", "")
    if not allowed.isdecimal() or int(allowed) == 0 or pid not in ("", str(os.getpid())):
        return None
    return int(allowed) * 1_000 // 2


def _tell(message: str) -> bool:
    """Hand a message over; False where nobody asked or it could not be."""
    name = os.environ.get("NOTIFY_SOCKET", "")
    if not name:
        return False
    # '@' stands for the zero byte of a name that is no file (unix(7)).
    address = f"\0{name[1:]}" if name.startswith("@") else name
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as link:
            link.sendto(message.encode(), address)
    except OSError as error:
        log.warning("systemd was not told: %s", error, extra={"tell": message})
        return False
    return True
