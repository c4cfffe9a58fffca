"""Sources of edges with a hand that moves their contacts, so that one suite holds all of them."""

from threading import Condition
from typing import Protocol

from gpiozero.pins.mock import MockFactory, MockPin

from relayd.contacts import Contacts
from relayd.contacts.scripted import ScriptedContacts
from relayd.core.events import EdgeSeen, Event, InputFound, InputLost, LevelRead
from relayd.pins.inputs import PinContacts
from relayd.rig import Line
from tests.kernel.inside import Sim

HIGH, POWER = "north.high-level", "north.alarm-power"
INPUTS = (HIGH, POWER)
DEADLINE = 10.0
POLL = 20_000_000

Turned = EdgeSeen | LevelRead
Said = EdgeSeen | LevelRead | InputLost | InputFound


class Posted:
    """Everything that was posted, and a way to wait for more of it."""

    def __init__(self) -> None:
        self._events: list[Event] = []
        self._more = Condition()

    def __call__(self, event: Event) -> None:
        with self._more:
            self._events.append(event)
            self._more.notify_all()

    def all(self) -> list[Event]:
        with self._more:
            return list(self._events)

    def about(self, name: str) -> list[Said]:
        return [each for each in self.all() if isinstance(each, Said) and each.input == name]

    def until(self, name: str, count: int) -> list[Said]:
        """Everything about one input, as soon as it is that many events."""
        with self._more:
            self._more.wait_for(lambda: len(self.about(name)) >= count, DEADLINE)
        return self.about(name)

    def until_said(self, event: type[Event], count: int = 1) -> list[Event]:
        """Every event of one kind, as soon as it is that many."""
        with self._more:
            self._more.wait_for(lambda: len(self._of(event)) >= count, DEADLINE)
        return self._of(event)

    def until_stands(self, name: str, closed: bool) -> list[Said]:
        """Everything about one input, as soon as the last word is that it stands so."""
        with self._more:
            self._more.wait_for(lambda: _stands(self.about(name)) is closed, DEADLINE)
        return self.about(name)

    def _of(self, kind: type[Event]) -> list[Event]:
        return [each for each in self._events if isinstance(each, kind)]


def _stands(events: list[Said]) -> bool | None:
    last = events[-1] if events else None
    return None if last is None or isinstance(last, InputLost) else last.closed


class Hand(Protocol):
    """Moves the contacts of one source."""

    @property
    def contacts(self) -> Contacts: ...
    def move(self, name: str, closed: bool) -> None: ...
    def lose(self, name: str) -> None: ...
    def find(self, name: str, closed: bool) -> None: ...
    def close(self) -> None: ...


class Scripted:
    def __init__(self) -> None:
        self.contacts = ScriptedContacts(dict.fromkeys(INPUTS, False))

    def move(self, name: str, closed: bool) -> None:
        self.contacts.move(name, closed)

    def lose(self, name: str) -> None:
        self.contacts.lose(name, "taken away")

    def find(self, name: str, closed: bool) -> None:
        self.contacts.find(name, closed)

    def close(self) -> None:
        self.contacts.stop()


class LosablePin(MockPin):  # type: ignore[misc]
    """A mock pin that can be taken away, and that can move without an edge."""

    away = False

    def _get_state(self) -> bool:
        if self.away:
            raise OSError("taken away")
        return bool(super()._get_state())

    def slip(self, high: bool) -> None:
        self._change_state(high)


# One of each polarity, so that nothing works by luck.
LINES = {
    HIGH: Line(HIGH, "panel", 17, closed_when_low=True),
    POWER: Line(POWER, "panel", 27, closed_when_low=False),
}


class Mock:
    def __init__(self) -> None:
        self.factory = MockFactory(pin_class=LosablePin)
        for name in INPUTS:
            self.move(name, False)
        self.contacts = PinContacts(tuple(LINES.values()), POLL, self.factory)

    def pin(self, name: str) -> LosablePin:
        pin = self.factory.pin(LINES[name].line)
        assert isinstance(pin, LosablePin)
        return pin

    def move(self, name: str, closed: bool) -> None:
        if _high(LINES[name], closed):
            self.pin(name).drive_high()
        else:
            self.pin(name).drive_low()

    def lose(self, name: str) -> None:
        self.pin(name).away = True

    def find(self, name: str, closed: bool) -> None:
        self.move(name, closed)
        self.pin(name).away = False

    def close(self) -> None:
        self.contacts.stop()
        self.factory.close()


class Kernel:
    """Two simulated chips, one for each input, so that one can go while the other stays."""

    def __init__(self) -> None:
        self._sims = {name: Sim(f"chip-{number}") for number, name in enumerate(INPUTS)}
        self._lines = {
            name: Line(name, self._sims[name].label, line.line, line.closed_when_low)
            for name, line in LINES.items()
        }
        for name in INPUTS:
            self.move(name, False)
        self.contacts = PinContacts(tuple(self._lines.values()), POLL)

    def move(self, name: str, closed: bool) -> None:
        line = self._lines[name]
        self._sims[name].move(line.line, _high(line, closed))

    def lose(self, name: str) -> None:
        self._sims[name].remove()

    def find(self, name: str, closed: bool) -> None:
        self._sims[name].restore()
        self.move(name, closed)

    def close(self) -> None:
        self.contacts.stop()
        for sim in self._sims.values():
            sim.close()


def _high(line: Line, closed: bool) -> bool:
    return closed is not line.closed_when_low
