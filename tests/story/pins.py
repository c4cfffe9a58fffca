"""The wires of a unit: scripted on this machine, simulated pins inside the user-mode kernel."""

import subprocess
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from threading import Lock

from tests.kernel.inside import LABEL, Sim
from tests.story.plans import AT_REST
from tests.story.unit import Scripted, Wires

_numbers = count()
_one = Lock()


class Pins:
    """A chip of its own for a unit; every line is closed when low. `lost` takes the whole chip out."""

    module = "relayd"

    def __init__(self, stand: Mapping[str, str]) -> None:
        with _one:
            self.chip = f"{LABEL}-{next(_numbers)}"
            self.sim = Sim(self.chip)
        self._lines = {name: number for number, name in enumerate(stand, 17)}
        self._stand = dict(stand)
        self._put()

    def environment(self) -> dict[str, str]:
        return {}

    def lines(self) -> Mapping[str, int]:
        return self._lines

    def stands(self, input: str) -> str:
        return self._stand[input]

    def move(self, input: str, stands: str, process: "subprocess.Popen[bytes] | None") -> None:
        self._stand[input] = stands
        self.sim.move(self._lines[input], stands == "open")

    def take_out(self) -> None:
        """The chip is gone from the machine."""
        self.sim.remove()

    def put_back(self) -> None:
        """The chip is there again, with the contacts as they stand."""
        self.sim.restore()
        self._put()

    def _put(self) -> None:
        for name, stands in self._stand.items():
            self.sim.move(self._lines[name], stands == "open")


@contextmanager
def wires(folder: Path, real: bool) -> Iterator[Wires]:
    """Wires with both contacts at rest."""
    if not real:
        yield Scripted(folder / "wires.json", AT_REST)
        return
    with pins() as made:
        yield made


@contextmanager
def pins() -> Iterator[Pins]:
    """Pins with both contacts at rest."""
    made = Pins(AT_REST)
    try:
        yield made
    finally:
        made.sim.close()
