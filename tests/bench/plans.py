"""The unit that is measured: eight inputs with the shortest times that a plan may have."""

UNIT = "bench"
EDGES = "well"
"""The panel whose alarm circuit is moved: each of its edges changes what is stored."""
ALARMS = ("north", "east", "south", "west", "upper", "lower")
"""Panels with one contact that holds without power, which may raise its alarm after a second."""
FILTER = 1_000_000
ON_DELAY = 1_000_000_000
RELEASE = 3_000_000_000 + ON_DELAY
"""ns from a contact's going back to the end of its alarm: release hold and off-delay."""

LINES = {f"{EDGES}.high-level": 0, f"{EDGES}.alarm-power": 1} | {
    f"{name}.high-level": number for number, name in enumerate(ALARMS, 2)
}
"""Input -> line of the chip; every line is closed when low."""


def plan(chip: str, broker: int, service: int) -> str:
    """The plan's file; `broker` and `service` are ports of this machine."""
    return f"""\
[unit]
id = "{UNIT}"
name = "A unit to be measured"
zone = "America/Chicago"
chip = "{chip}"
call_list = "one"

[[panel]]
id = "{EDGES}"
name = "{EDGES}"
kind = "effluent-demand"

{_level(EDGES, "open", "10 s")}
[[panel.input]]
means = "alarm-power"
line = {LINES[f"{EDGES}.alarm-power"]}
close_time = "1 ms"
open_time = "1 ms"
on_delay = "1 h"
off_delay = "1 h"

{"".join(_panel(name) for name in ALARMS)}
[[person]]
id = "anna"
name = "Anna"
phone = "555-0101"

[[person.channel]]
name = "hook"
address = "json://127.0.0.1:{service}/hook"

[[call_list]]
id = "one"

[[call_list.step]]
after = "0 s"
tell = ["anna"]

[mqtt]
host = "127.0.0.1"
port = {broker}
"""


def _panel(name: str) -> str:
    head = f'[[panel]]\nid = "{name}"\nname = "{name}"\nkind = "effluent-demand"\n\n'
    return head + _level(name, "holds", "1 s")


def _level(panel: str, unpowered: str, delay: str) -> str:
    return f"""\
[[panel.input]]
means = "high-level"
line = {LINES[f"{panel}.high-level"]}
in_alarm = "closed"
unpowered = "{unpowered}"
contact_follows = "level"
close_time = "1 ms"
open_time = "1 ms"
on_delay = "{delay}"
off_delay = "{delay}"

"""
