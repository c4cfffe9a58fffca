"""A network of its own for one process: a cable to each place, and each cable can be cut.

Two network namespaces, held by a process each: the unit's, and one where the places are. A cut
cable goes on looking whole: no carrier is lost and no packet comes back; each packet goes to a
hardware address that nobody has. So both ends keep what they take for a connection, which is what
half-open means. Needs root and util-linux and iproute2; `missing()` says what is not there.
"""

import ctypes
import os
import shutil
import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread
from typing import TypeVar

from tests.servers.names import NameServer
from tests.servers.relay import Relay, relay

CLONE_NEWNET = 0x40000000
"""The kernel's number for a network namespace (setns(2))."""
NOBODY = "02:00:00:00:00:ff"
ROOT = Path(__file__).parents[2]
PLACES = ("mail", "hook", "broker", "names")

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class End:
    """One end of a cable. Addresses are of 192.0.2.0/24, which is kept for examples (RFC 5737)."""

    holder: int
    device: str
    address: str
    hardware: str


class Network:
    """The unit's network and, beyond its cables, the places."""

    def __init__(self, around: ExitStack) -> None:
        self._around = around
        self._resolver = Path(around.enter_context(TemporaryDirectory(prefix="net"))) / "resolv"
        self._unit = _held(around, "--net", "--mount", "--propagation", "private")
        self._world = _held(around, "--net")
        self._cables = {name: self._cable(number) for number, name in enumerate(PLACES)}
        for each in (self._unit, self._world):
            _run(each, "ip", "link", "set", "lo", "up")
        self._resolver.write_text(f"nameserver {self.at('names')}\n")
        self._known: dict[str, str] = {}
        _run(self._unit, "mount", "--bind", str(self._resolver), "/etc/resolv.conf")
        self._names: NameServer | None = None
        self.names_begin()
        around.callback(self.names_end)

    @property
    def inside(self) -> tuple[str, ...]:
        """What is written before a command so that it runs in the unit's network."""
        place = ("-t", str(self._unit), "--net", "--mount", f"--wd={ROOT}")
        return ("nsenter", *place, "--")

    def at(self, place: str) -> str:
        """The address of that place, as the unit sees it."""
        return self._cables[place][1].address

    def leads(self, place: str, target: int) -> int:
        """The port at that place behind which is this port of this machine."""
        listener = self._there(lambda: socket.create_server((self.at(place), 0)))
        made: Relay = self._around.enter_context(relay(target, listener))
        return made.port

    def names_begin(self) -> None:
        """Answer what is asked of names."""
        line = self._there(lambda: _bound(self.at("names")))
        self._names = NameServer(line, self._known)

    def names_end(self) -> None:
        """Nobody listens where names are asked for: the network itself says so at once."""
        if self._names is not None:
            self._names.close()
        self._names = None

    def call(self, name: str, place: str) -> None:
        """That place has this name."""
        self._known[name] = self.at(place)

    def forget(self, name: str) -> None:
        """There is no such name any more."""
        del self._known[name]

    def cut(self, place: str) -> None:
        """From now on nothing passes, either way, and neither end is told."""
        for end, far in self._ways(place):
            _neighbour(end, far.address, NOBODY)

    def mend(self, place: str) -> None:
        """From now on everything passes again."""
        for end, far in self._ways(place):
            _neighbour(end, far.address, far.hardware)

    def _ways(self, place: str) -> tuple[tuple[End, End], tuple[End, End]]:
        near, far = self._cables[place]
        return (near, far), (far, near)

    def _cable(self, number: int) -> tuple[End, End]:
        """Both ends, the unit's first, each of which knows where the other one is for good."""
        near, far = (
            End(holder, f"{side}{number}", f"192.0.2.{4 * number + last}", f"02:00:00:00:{number:02x}:0{last}")
            for holder, side, last in ((self._unit, "unit", 1), (self._world, "place", 2))
        )  # fmt: skip
        made = f"ip link add {near.device} address {near.hardware} netns {near.holder} type veth"
        other = f"peer name {far.device} address {far.hardware} netns {far.holder}"
        subprocess.run([*made.split(), *other.split()], check=True)
        for end, peer in ((near, far), (far, near)):
            _run(end.holder, "ip", "addr", "add", f"{end.address}/30", "dev", end.device)
            _run(end.holder, "ip", "link", "set", end.device, "up")
            _neighbour(end, peer.address, peer.hardware)
        return near, far

    def _there(self, make: Callable[[], Value]) -> Value:
        """What `make` makes where the places are; a socket stays where it was made."""
        made: list[Value] = []

        def go() -> None:
            with Path(f"/proc/{self._world}/ns/net").open() as place:
                assert ctypes.CDLL(None).setns(place.fileno(), CLONE_NEWNET) == 0
            made.append(make())

        # Only this thread goes there, and it ends there.
        gone = Thread(target=go)
        gone.start()
        gone.join()
        return made[0]


@contextmanager
def network() -> Iterator[Network]:
    """A network with all its cables whole; nothing of it is left afterwards."""
    with ExitStack() as around:
        yield Network(around)


@cache
def missing() -> str:
    """Why no network can be made here; '' where it can."""
    if os.geteuid() != 0:
        return "a network of its own needs root"
    lacking = [each for each in ("ip", "nsenter", "unshare", "mount") if not shutil.which(each)]
    if lacking:
        return f"not here: {', '.join(lacking)}"
    try:
        with network():
            return ""
    except (OSError, AssertionError, IndexError, subprocess.SubprocessError) as error:
        return f"no network can be made here: {error}"


def _held(around: ExitStack, *kinds: str) -> int:
    """The process that holds new namespaces of these kinds until the block ends."""
    holder = subprocess.Popen(
        ["unshare", *kinds, "sh", "-c", "echo; exec cat"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    around.callback(_end, holder)
    assert holder.stdout is not None
    assert holder.stdout.readline() == b"\n", "no namespace was made"
    return holder.pid


def _end(holder: "subprocess.Popen[bytes]") -> None:
    """Its input ends, so it ends, and its namespaces with it."""
    holder.communicate()


def _run(holder: int, *words: str) -> None:
    subprocess.run(["nsenter", "-t", str(holder), "--net", "--mount", "--", *words], check=True)


def _neighbour(end: End, address: str, hardware: str) -> None:
    words = f"ip neigh replace {address} lladdr {hardware} dev {end.device} nud permanent"
    _run(end.holder, *words.split())


def _bound(address: str) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    made.bind((address, 53))
    return made
