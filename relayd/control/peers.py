"""Who is at the other end of a Unix socket, as the kernel tells it (unix(7), socket(7))."""

import socket
import struct
from dataclasses import dataclass

_CREDENTIALS = struct.Struct("3i")
_SO_PEERGROUPS = 59
"""From the kernel's asm-generic/socket.h; Python has no name for it."""
_MOST_GROUPS = 256
"""What Python lets getsockopt return: 1,024 bytes."""


@dataclass(frozen=True, slots=True)
class Peer:
    """The process that connected: its user, its group, and all its groups at that time."""

    uid: int
    gid: int
    groups: frozenset[int]

    def may_act(self, owner: int, group: int) -> bool:
        """Root, the socket's owner, and members of the socket's group may act and name a person."""
        return self.uid in (0, owner) or group in self.groups


def peer_of(client: socket.socket) -> Peer:
    """The peer of a connected Unix socket. Raises OSError where the connection is gone."""
    raw = client.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
    _, uid, gid = _CREDENTIALS.unpack(raw)
    return Peer(uid, gid, frozenset({gid, *_groups(client)}))


def _groups(client: socket.socket) -> tuple[int, ...]:
    width = struct.calcsize("I")
    try:
        raw = client.getsockopt(socket.SOL_SOCKET, _SO_PEERGROUPS, width * _MOST_GROUPS)
    except OSError:
        # A kernel before 4.13 cannot tell, nor can Python beyond its bound: the main group counts.
        return ()
    return struct.unpack(f"{len(raw) // width}I", raw)
