"""Plans of an invented site, with shorter times than anybody should use at a real panel."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

LEVEL, CIRCUIT = "cabin.high-level", "cabin.alarm-power"
AT_REST = {LEVEL: "open", CIRCUIT: "closed"}
ON_DELAY = 6.0
REAL = bool(os.environ.get("RELAYD_REAL_PINS"))
"""Whether this runs inside the user-mode kernel: what starts there needs several seconds for it."""
SECOND_STEP, THIRD_STEP = (12.0, 20.0) if REAL else (8.0, 16.0)
"""Seconds after the alarm was raised."""
UNIT = "pumphouse"


@dataclass(frozen=True, slots=True)
class Site:
    """What a plan is made from. `channels`: person -> channel -> address."""

    channels: Mapping[str, Mapping[str, str]]
    chip: str
    lines: Mapping[str, int]
    broker: tuple[int, str] | None = None
    """Port and MQTT version."""
    steps: Sequence[tuple[float, Sequence[str]]] = field(
        default=((0, ("anna",)), (SECOND_STEP, ("ben",)), (THIRD_STEP, ("cleo",)))
    )
    unpowered: str = "open"
    delay: float = ON_DELAY
    """On- and off-delay of both inputs, in seconds."""
    name: str = "Alder pond cabins"
    host: str = "127.0.0.1"
    """Where the broker is."""


def plan(site: Site) -> str:
    """The plan file."""
    people = "".join(_person(name, ways) for name, ways in site.channels.items())
    steps = "".join(
        f'[[call_list.step]]\nafter = "{after:g} s"\ntell = {list(persons)!r}\n\n'
        for after, persons in site.steps
    )
    return f"""\
[unit]
id = "{UNIT}"
name = "{site.name}"
zone = "America/Chicago"
chip = "{site.chip}"
call_list = "quick"

[[panel]]
id = "cabin"
name = "Cabin tank"
where = "behind the wood shed"
kind = "effluent-demand"
settle = "10 s"
hoa = "dead-front"

{high_level(site.lines[LEVEL], site.delay, site.unpowered)}
[[panel.input]]
means = "alarm-power"
line = {site.lines[CIRCUIT]}
on_delay = "{site.delay:g} s"
off_delay = "{site.delay:g} s"

{people}[[call_list]]
id = "quick"

{steps}{_broker(site)}"""


def high_level(line: int, delay: float, unpowered: str = "holds") -> str:
    """The input of a float that a dead circuit leaves where it is, unless `unpowered` says else."""
    return f"""\
[[panel.input]]
means = "high-level"
line = {line}
in_alarm = "closed"
unpowered = "{unpowered}"
contact_follows = "level"
on_delay = "{delay:g} s"
off_delay = "{delay:g} s"
"""


def channels(ways: Mapping[str, str]) -> str:
    """A person's channels: name -> address."""
    return "".join(
        f'[[person.channel]]\nname = "{way}"\naddress = "{address}"\n\n'
        for way, address in ways.items()
    )


def _person(name: str, ways: Mapping[str, str]) -> str:
    responds = "responds = true\nqualified = true\n" if name == "ben" else ""
    head = f'[[person]]\nid = "{name}"\nname = "{name.title()}"\nphone = "555-0101"\n{responds}\n'
    # The story is played at whatever hour it is: everybody is awake.
    head += 'waking = ["00:00", "24:00"]\n'
    return head + channels(ways)


def _broker(site: Site) -> str:
    if site.broker is None:
        return ""
    port, version = site.broker
    return f"""\
[mqtt]
host = "{site.host}"
port = {port}
version = "{version}"
commands = true
"""
