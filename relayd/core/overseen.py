"""What the plan says of watching the watcher: peers, an outside watch, the weekly message.

Values only, in nanoseconds. Addresses and secrets are in the rig.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AllWell:
    """The weekly message that proves every channel: weekday (0 = Monday) and local time of day (ns).

    With a keeper that person alone gets it, over every channel, and everybody each quarter.
    """

    day: int
    at: int
    keeper: str = ""
