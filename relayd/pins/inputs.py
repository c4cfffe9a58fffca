"""The real source of edges: gpiozero inputs over our own chip factory, and a poll beneath them.

Levels are the truth, edges are the quicker news: one thread waits for edges with the poll as its
time-out, reads every level itself, and posts a LevelRead wherever a level contradicts what was
posted last. Any other gpiozero factory can be given instead (mock pins, for a demonstration).
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from select import POLLIN, poll
from threading import RLock, Thread

from gpiozero import DigitalInputDevice, Factory

from relayd.clock import boottime, monotonic_to_boot
from relayd.contacts import Post
from relayd.core.events import EdgeSeen, FaultFound, InputFound, InputLost, LevelRead
from relayd.pins.factory import ChipFactory
from relayd.rig import Line

FAST = 250_000_000
"""Nanoseconds between two polls while something moves."""
RESTLESS = 5_000_000_000
"""Nanoseconds for which something counts as moving after its last event."""
PAUSE = 1_000
"""Milliseconds to wait after a fault in the thread itself, so that it cannot spin."""

_PULL_UP = {"none": None, "up": True, "down": False}


@dataclass(slots=True, eq=False)
class _Watched:
    """One line, and what was posted about it last."""

    line: Line
    factory: Factory
    device: DigitalInputDevice | None = None
    hear: Callable[[float, int], None] | None = None
    closed: bool | None = None
    at: int = 0
    """Boot time of the last event posted."""
    read: int = 0
    """When the last level posted began to be read: an edge before that is part of it."""
    ahead: bool = False
    """That level was posted before the edge that led to it, which may still come."""
    lost: str = ""
    edges: int = 0
    missed: int = 0
    """Edges that the kernel dropped and that were not told yet."""


class PinContacts:
    """Watches the lines of a rig. `poll` is nanoseconds between two polls while nothing moves.

    `factory` replaces the chips of the lines by another gpiozero factory, which stays open.
    """

    def __init__(self, lines: tuple[Line, ...], poll: int, factory: Factory | None = None) -> None:
        self._lines = lines
        self._interval = poll
        self._factory = factory
        self._chips: dict[str, ChipFactory] = {}
        self._watched: list[_Watched] = []
        self._post: Post = _nobody
        self._lock = RLock()
        self._thread = Thread(target=self._run, name="contacts", daemon=True)
        self._stop = os.eventfd(0)
        self._beat = self._next = self._restless = self._offset = 0
        self._fault = ""

    def start(self, post: Post) -> None:
        """Open all lines, post where each stands or why it is lost, and start the thread."""
        self._post = post
        if self._factory is None:
            self._chips = _chips(self._lines)
        for line in self._lines:
            each = _Watched(line, self._factory or self._chips[line.chip])
            each.hear = partial(self._heard, each)
            self._watched.append(each)
        self._poll()
        self._thread.start()

    def stop(self) -> None:
        """End the thread and give all lines back; it cannot be started again, but stopped twice."""
        if self._stop < 0:
            return
        os.eventfd_write(self._stop, 1)
        if self._thread.ident is not None:
            self._thread.join()
        with self._lock:
            self._post = _nobody
            for each in self._watched:
                if each.device is not None:
                    each.device.close()
        for chip in self._chips.values():
            chip.close()
        os.close(self._stop)
        self._stop = -1

    def restart(self) -> None:
        """Start the watching thread again after it died; the lines stay open."""
        self._thread = Thread(target=self._run, name="contacts", daemon=True)
        self._thread.start()

    def beat(self) -> int:
        """Boot time (ns) at which every input had last been read or was known to be lost."""
        return self._beat

    def alive(self) -> bool:
        """Whether the watching thread still runs."""
        return self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopped(self._due_in(), self._fds()):
            try:
                self._turn()
                self._fault = ""
            except Exception as error:  # noqa: BLE001  # it is said, and the thread must live
                self._say_fault("contacts", error)
                self._stopped(PAUSE, [])

    def _stopped(self, timeout: int, fds: list[int]) -> bool:
        """Wait that many milliseconds, or until an edge waits; whether to stop."""
        poller = poll()
        for fd in (self._stop, *fds):
            poller.register(fd, POLLIN)
        return any(fd == self._stop for fd, _ in poller.poll(timeout))

    def _due_in(self) -> int:
        return max(0, self._next - boottime()) // 1_000_000 + 1

    def _fds(self) -> list[int]:
        return [fd for chip in self._chips.values() for fd in chip.fds()]

    def _turn(self) -> None:
        """Tell what waits; poll when it is time, or at once when a line has just gone."""
        gone = self._dispatch()
        if gone or boottime() >= self._next:
            self._poll()

    def _dispatch(self) -> bool:
        """Let every chip tell its edges; whether a line went away meanwhile."""
        self._offset = _offset()
        before = sum(len(chip.lost) for chip in self._chips.values())
        for chip in self._chips.values():
            chip.dispatch()
        return sum(len(chip.lost) for chip in self._chips.values()) > before

    def _poll(self) -> None:
        """Look for lost lines, read every level, and post what differs from what was said."""
        with self._lock:
            for chip in self._chips.values():
                chip.find()
            self._dispatch()
            since = boottime()
            reads = [(each, each.edges, _level(each)) for each in self._watched]
            at = boottime()
            # An edge that came while the levels were read may be younger than its level.
            self._dispatch()
            for each, edges, level in reads:
                if each.edges == edges:
                    self._judge(each, level, since, at)
            self._beat = boottime()
            self._next = self._beat + self._pace()

    def _pace(self) -> int:
        return min(self._interval, FAST) if self._beat < self._restless else self._interval

    def _judge(self, each: _Watched, level: bool | str, since: int, at: int) -> None:
        """Post what a level read between two times says that was not said before."""
        if isinstance(level, str):
            if not each.lost:
                each.lost = level
                self._say(InputLost(each.line.input, level), at)
        elif each.lost:
            each.lost = ""
            self._stands(each, level, since, at)
            self._say(InputFound(each.line.input, level, each.at), at)
        elif level is not each.closed:
            self._stands(each, level, since, at)
            self._say(LevelRead(each.line.input, level, each.at), at)

    def _stands(self, each: _Watched, level: bool, since: int, at: int) -> None:
        each.closed, each.ahead, each.read = level, True, since
        each.at = max(each.at, at)

    def _heard(self, each: _Watched, ticks: float, level: int) -> None:
        """A pin moved. Guarded: an exception here would end a library's only thread."""
        try:
            with self._lock:
                self._edge(each, self._boot(ticks), bool(level))
        except Exception as error:  # noqa: BLE001  # it is said, and the pin's thread must live
            self._say_fault(f"edge of {each.line.input}", error)

    def _edge(self, each: _Watched, at: int, level: bool) -> None:
        each.edges += 1
        each.missed += getattr(each.device.pin, "lost", 0) if each.device else 0
        closed = level is not each.line.closed_when_low
        if each.lost or at < each.read:
            return
        told = each.ahead and closed is each.closed and not each.missed
        each.ahead = False
        if told:
            return
        each.closed = closed
        each.at = max(each.at, at)
        missed, each.missed = each.missed, 0
        self._say(EdgeSeen(each.line.input, each.closed, each.at, missed), each.at)

    def _boot(self, ticks: float) -> int:
        """Boot time (ns) of a pin's ticks: ns from our factory, seconds from gpiozero's own."""
        if isinstance(ticks, int):
            return ticks + self._offset
        return round(ticks * 1e9) + _offset()

    def _say(self, event: EdgeSeen | LevelRead | InputLost | InputFound, at: int) -> None:
        self._restless = at + RESTLESS
        self._next = min(self._next, at + FAST)
        self._post(event)

    def _say_fault(self, where: str, error: Exception) -> None:
        """Post a fault of our own; the same one again only after a turn went well."""
        text = f"{type(error).__name__}: {error}"
        if text != self._fault:
            self._fault = text
            self._post(FaultFound(where, text))


def _offset() -> int:
    """Boot time minus monotonic time. A delay between the two readings only makes it too small."""
    return max(monotonic_to_boot() for _ in range(3))


def _chips(lines: tuple[Line, ...]) -> dict[str, ChipFactory]:
    names = dict.fromkeys(line.chip for line in lines)
    return {
        name: ChipFactory(name, {line.line: line.pull for line in lines if line.chip == name})
        for name in names
    }


def _level(each: _Watched) -> bool | str:
    """Whether the contact is closed, or why nobody knows. Makes the device at the first success."""
    try:
        if each.device is None:
            each.device = _device(each)
        return bool(each.device.pin.state) is not each.line.closed_when_low
    except Exception as error:  # noqa: BLE001  # each library has its own; the text is posted
        return str(error) or type(error).__name__


def _device(each: _Watched) -> DigitalInputDevice:
    pull_up = _PULL_UP[each.line.pull]
    active = not each.line.closed_when_low if pull_up is None else None
    device = DigitalInputDevice(
        each.line.line, pull_up=pull_up, active_state=active, pin_factory=each.factory
    )
    # The device's own events carry neither time nor level; the pin's carry both.
    device.pin.when_changed = each.hear
    return device


def _nobody(_event: object) -> None:
    """Where events go before the start and after the stop."""
