"""The site on which the clock is moved: one panel and three people for each state of an open alarm.

And the moves: what the clock shows before, what it is set to, and whether the time service says
that it is set. A zone's changes are those of tests/core/dst_table.py, which states the rules by hand.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from relayd.core.plan import SECOND
from tests.core.dst_table import ZONES, utc
from tests.story.plans import channels, high_level

DELAY = 4.0
"""On- and off-delay, in seconds."""
SECOND_STEP, THIRD_STEP = 24.0, 28.0
"""Seconds after the alarm was raised."""
SHELF = 8.0
"""How long the shelf is asked to last, in seconds."""
LATER = 3600.0
"""How long it is taken for, in seconds: far longer than a story."""
STATES = ("pending", "waiting", "seen", "taken", "shelved", "acknowledged", "returned")
LATCHING = "returned"
VIENNA = "Europe/Vienna"
SUMMER, EARLIER = utc("2026-07-15 12:00"), utc("2023-07-15 12:00")
HOUR = 3600
YEARS = 10 * 365 * 86400 + 2 * 86400


@dataclass(frozen=True, slots=True)
class Move:
    """What the wall clock shows at the start and is set to in the middle; UTC in nanoseconds.

    `passes`: it is never set in the middle; it shows `before` a moment before the floats rise.
    """

    name: str
    before: int
    after: int
    zone: str = VIENNA
    trusted: bool = True
    trusted_after: bool = True
    passes: bool = False


def _steps(trusted: bool) -> list[Move]:
    base, word = (SUMMER, "set") if trusted else (EARLIER, "not set")
    by = {"1 h back": -HOUR, "1 h on": HOUR, "10 years back": -YEARS, "10 years on": YEARS}
    return [
        Move(f"{name}, {word}", base, base + far * SECOND, VIENNA, trusted, trusted)
        for name, far in by.items()
    ]


AT_FIRST = Move("from 1970 to now by the time service", 3600 * SECOND, SUMMER, VIENNA, False)
LOST = Move("no longer believed", SUMMER, SUMMER - HOUR * SECOND, trusted_after=False)
STILL = Move("no step", SUMMER, SUMMER)


def _nights(zone: str) -> list[Move]:
    """Both nights of 2026: the clock runs over the change, is set over it, and is set back over it."""
    found = []
    changes = [each.begins for each in ZONES[zone]]
    for at in (
        each for each in changes if utc("2026-01-01 00:00") < each < utc("2027-01-01 00:00")
    ):
        month = "autumn" if _goes_back(zone, at) else "spring"
        early, late = at - HOUR * SECOND, at + HOUR * SECOND
        found += [
            Move(f"{month}, runs over it", at - 10 * SECOND, 0, zone, passes=True),
            Move(f"{month}, set over it", early, late, zone),
            Move(f"{month}, set back over it", late, early, zone),
        ]
    return found


def _goes_back(zone: str, at: int) -> bool:
    before = [each.seconds for each in ZONES[zone] if each.begins < at][-1]
    return before > next(each.seconds for each in ZONES[zone] if each.begins == at)


CAMPAIGNS: Mapping[str, list[Move]] = {
    "steps of a clock that is set": [STILL, *_steps(True), LOST],
    "steps of a clock that is not set": [AT_FIRST, *_steps(False)],
    **{f"nights of {zone}": _nights(zone) for zone in ZONES},
}


def people(state: str) -> tuple[str, str, str]:
    """The three of a panel, in the order of its call list."""
    return f"{state}-a", f"{state}-b", f"{state}-c"


def plan(zone: str, chip: str, lines: Mapping[str, int], addresses: Mapping[str, str]) -> str:
    """The plan file; `addresses` are by person."""
    head = f'[unit]\nid = "clockhouse"\nname = "Alder pond"\nzone = "{zone}"\nchip = "{chip}"\n'
    persons = "".join(_person(name, address) for name, address in addresses.items())
    return (
        f'{head}call_list = "{STATES[0]}"\n\n'
        + persons
        + "".join(_panel(state, lines[f"{state}.high-level"]) for state in STATES)
    )


def _person(name: str, address: str) -> str:
    return f"""\
[[person]]
id = "{name}"
name = "{name.title()}"
responds = true
waking = ["00:00", "24:00"]

{channels({"mail": address})}"""


def _panel(state: str, line: int) -> str:
    steps = "".join(
        f'[[call_list.step]]\nafter = "{after:g} s"\ntell = ["{person}"]\n\n'
        for after, person in zip((0, SECOND_STEP, THIRD_STEP), people(state), strict=True)
    )
    return f"""\
[[panel]]
id = "{state}"
name = "Tank {state}"
kind = "effluent-demand"
call_list = "{state}"

{high_level(line, DELAY)}latch = {str(state == LATCHING).lower()}

[[call_list]]
id = "{state}"

{steps}"""
