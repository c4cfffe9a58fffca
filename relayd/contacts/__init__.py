"""Where edges come from. The real source is relayd/pins/inputs.py, the scripted one is beside this file.

Both keep the promises of `Contacts`, and one suite (tests/contacts) holds both to them.
"""

from collections.abc import Callable
from typing import Protocol

from relayd.core.events import Event

Post = Callable[[Event], None]
"""Takes an event from any thread; never blocks, never raises."""


class Contacts(Protocol):
    """A source of levels and edges for the inputs of one rig.

    Promises: after `start`, one LevelRead or InputLost is posted for every input before `start`
    returns; each later change is posted as EdgeSeen (kernel's time) or, where an edge was missed,
    as LevelRead by the next poll; events of one input come in order of time; an input that can no
    longer be read is said once (InputLost), and once more when it is back (InputFound).
    """

    def start(self, post: Post) -> None:
        """Open all lines, post where each stands, and watch from then on. Raises nothing for a busy line or a missing chip: those are InputLost."""

    def stop(self) -> None:
        """Stop watching and release the lines."""

    def restart(self) -> None:
        """Start the watching thread again after it died; the lines stay open."""

    def beat(self) -> int:
        """Boot time (ns) of the last completed poll of all inputs; the watchdog looks at it."""

    def alive(self) -> bool:
        """Whether the watching thread still runs."""
