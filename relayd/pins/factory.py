"""A gpiozero pin factory over gpiod: the lines of one gpiochip, found by its label.

gpiozero's own factories stop at the pins of one board's header and lose edges without a word.
This one takes any chip, keeps the kernel's time of each edge, counts what the kernel dropped,
leaves out a line that another program holds, and survives a chip that goes away and comes back
under another number: the request is changed beneath the pins, and no device is ever closed.

It has no thread: whoever owns it waits on `fds()` and calls `dispatch()`, and calls `find()` now
and then. All of it belongs to that one thread. Ticks are whole nanoseconds of CLOCK_MONOTONIC,
as the kernel stamps edges.
"""

import errno
import os
import time
from collections.abc import Callable, Iterator, Mapping
from select import POLLERR, POLLHUP, POLLIN, POLLNVAL, poll

import gpiod
from gpiod.line import Bias, Clock, Direction, Edge, Value
from gpiozero import Factory, Pin, PinInfo
from gpiozero.exc import (
    PinEdgeDetectUnsupported,
    PinFixedPull,
    PinInvalidBounce,
    PinInvalidFunction,
    PinInvalidPin,
)

from relayd.pins.chips import find_chip

CONSUMER = "relayd"
BUFFER = 1024
"""Edges that the kernel keeps for one request before it drops the oldest."""
READS = 32
"""Reads of 64 edges in one turn at most: one chattering line must not keep the thread."""

Changed = Callable[[int, int], None]
_BIAS = {"none": Bias.DISABLED, "up": Bias.PULL_UP, "down": Bias.PULL_DOWN}
_PULL = {"none": "floating", "up": "up", "down": "down"}


class LineLost(OSError):
    """The line cannot be read; the text says why."""


class ChipPin(Pin):  # type: ignore[misc]  # gpiozero ships no types
    """One line of the chip as gpiozero sees it: an input whose pull is fixed when it is made."""

    def __init__(self, factory: "ChipFactory", line: int, pull: str) -> None:
        self.line = line
        self.lost = 0
        """Edges dropped by the kernel just before the one that is being told."""
        self._factory = factory
        self._pull = _PULL[pull]
        self._when_changed: Changed | None = None
        names = frozenset({line, f"GPIO{line}"})
        self._info = PinInfo(line, f"GPIO{line}", names, "", 0, 0, frozenset({"gpio"}))

    def __repr__(self) -> str:
        return f"<line {self.line} of {self._factory.chip}>"

    def changed(self, ticks: int, level: int, lost: int) -> None:
        """Tell whoever listens that the line moved."""
        self.lost = lost
        if self._when_changed is not None:
            self._when_changed(ticks, level)

    def close(self) -> None:
        """Stop telling; the line itself stays with the factory until that is closed."""
        self._when_changed = None

    def _get_info(self) -> PinInfo:
        return self._info

    def _get_function(self) -> str:
        return "input"

    def _set_function(self, value: str) -> None:
        if value != "input":
            raise PinInvalidFunction(f"{self!r} is an input")

    def _get_state(self) -> int:
        return self._factory.level(self.line)

    def _get_pull(self) -> str:
        return self._pull

    def _set_pull(self, value: str) -> None:
        if value != self._pull:
            raise PinFixedPull(f"{self!r} was requested with the pull {self._pull!r}")

    def _set_bounce(self, value: float | None) -> None:
        if value is not None:
            raise PinInvalidBounce("bounce is filtered elsewhere")

    def _get_edges(self) -> str:
        return "both"

    def _set_edges(self, value: str) -> None:
        if value != "both":
            raise PinEdgeDetectUnsupported("both edges are always watched")

    def _get_when_changed(self) -> Changed | None:
        return self._when_changed

    def _set_when_changed(self, value: Changed | None) -> None:
        self._when_changed = value


class _Board:
    """As much of a board as gpiozero asks for: which pin has which name."""

    def __init__(self, pins: Mapping[int, ChipPin]) -> None:
        self._pins = pins

    def find_pin(self, name: int | str) -> Iterator[tuple[None, PinInfo]]:
        for pin in self._pins.values():
            if name in pin.info.names:
                yield None, pin.info


class ChipFactory(Factory):  # type: ignore[misc]  # gpiozero ships no types
    """The lines of one chip. `chip` is its label or a path under /dev; `lines` is line -> pull.

    `lost` holds line -> why, for each line that cannot be read now.
    """

    def __init__(self, chip: str, lines: Mapping[int, str]) -> None:
        super().__init__()
        self.chip = chip
        self.lost: dict[int, str] = dict.fromkeys(lines, "not opened yet")
        self._lines = dict(lines)
        self._pins = {line: ChipPin(self, line, pull) for line, pull in lines.items()}
        self._requests: dict[int, gpiod.LineRequest] = {}
        self._seen: dict[int, int] = {}
        self.find()

    def find(self) -> None:
        """Request every line that is lost and can be had; `lost` says what is still missing."""
        if not self.lost:
            return
        try:
            with gpiod.Chip(find_chip(self.chip)) as chip:
                self._request(chip)
        except OSError as error:
            self._lose(list(self.lost), str(error.strerror or error))

    def fds(self) -> list[int]:
        """What to wait on: readable when an edge is waiting, in error when the chip is gone."""
        return list(self._requests)

    def dispatch(self) -> None:
        """Tell the pins all edges that wait, oldest first for each line; never blocks."""
        for fd, request in list(self._requests.items()):
            turns = 0
            while turns < READS and self._turn(fd, request):
                turns += 1

    def level(self, line: int) -> int:
        """The line as it is: 0 low, 1 high. Raises LineLost."""
        request = next((r for r in self._requests.values() if line in r.offsets), None)
        if request is None:
            raise LineLost(self.lost[line])
        try:
            return int(request.get_value(line) is Value.ACTIVE)
        except OSError as error:
            self._drop(request.fd, error.strerror or str(error))
            raise LineLost(self.lost[line]) from error

    def pin(self, name: int | str) -> ChipPin:
        """The pin of that line number or name; the same object each time."""
        for pin in self._pins.values():
            if name in pin.info.names:
                return pin
        raise PinInvalidPin(f"{self.chip} has no line {name} here")

    def close(self) -> None:
        """Give all lines back."""
        for fd in list(self._requests):
            self._drop(fd, "closed")

    def ticks(self) -> int:
        """CLOCK_MONOTONIC in nanoseconds: the clock that the kernel stamps edges with."""
        return time.clock_gettime_ns(time.CLOCK_MONOTONIC)  # noqa: TID251  # gpiozero asks for it

    def ticks_diff(self, later: int, earlier: int) -> float:
        """Seconds between two ticks."""
        return (later - earlier) / 1e9

    def _get_board_info(self) -> _Board:
        return _Board(self._pins)

    def _request(self, chip: gpiod.Chip) -> None:
        """Ask for all free lines at once: one busy line would refuse the whole request."""
        free = [line for line in self.lost if self._is_free(chip, line)]
        try:
            self._take(chip, free)
        except OSError:
            # A line can be refused though it looked free (a pin that has another function).
            for line in free:
                self._take_one(chip, line)

    def _take_one(self, chip: gpiod.Chip, line: int) -> None:
        try:
            self._take(chip, [line])
        except OSError as error:
            self._lose([line], error.strerror or str(error))

    def _take(self, chip: gpiod.Chip, lines: list[int]) -> None:
        if not lines:
            return
        request = chip.request_lines(
            {line: _settings(self._lines[line]) for line in lines}, CONSUMER, BUFFER
        )
        self._requests[request.fd] = request
        for line in lines:
            del self.lost[line]
            self._seen[line] = 0

    def _is_free(self, chip: gpiod.Chip, line: int) -> bool:
        count = chip.get_info().num_lines
        if line >= count:
            self.lost[line] = f"line {line} does not exist: {self.chip} has {count} lines"
            return False
        info = chip.get_line_info(line)
        if info.used:
            self.lost[line] = f"line {line} of {self.chip} is used by {info.consumer or '?'}"
        return not info.used

    def _turn(self, fd: int, request: gpiod.LineRequest) -> bool:
        """One read of one request; whether another may be worth while."""
        ready = _ready(fd)
        if not ready:
            return False
        if ready & (POLLERR | POLLHUP | POLLNVAL):
            self._drop(fd, os.strerror(errno.ENODEV))
            return False
        try:
            events = request.read_edge_events()
        except OSError as error:
            self._drop(fd, error.strerror or str(error))
            return False
        for event in events:
            self._tell(event)
        return True

    def _tell(self, event: gpiod.EdgeEvent) -> None:
        line = event.line_offset
        lost = event.line_seqno - self._seen[line] - 1
        self._seen[line] = event.line_seqno
        level = int(event.event_type is gpiod.EdgeEvent.Type.RISING_EDGE)
        self._pins[line].changed(event.timestamp_ns, level, lost)

    def _drop(self, fd: int, why: str) -> None:
        request = self._requests.pop(fd)
        self._lose(request.offsets, why)
        request.release()

    def _lose(self, lines: list[int], why: str) -> None:
        for line in lines:
            self.lost[line] = f"line {line} of {self.chip}: {why}"


def _settings(pull: str) -> gpiod.LineSettings:
    return gpiod.LineSettings(
        direction=Direction.INPUT,
        edge_detection=Edge.BOTH,
        bias=_BIAS[pull],
        event_clock=Clock.MONOTONIC,
    )


def _ready(fd: int) -> int:
    """What the descriptor has to say now, as poll's bits; 0 for nothing."""
    poller = poll()
    poller.register(fd, POLLIN)
    return next((bits for _, bits in poller.poll(0)), 0)
