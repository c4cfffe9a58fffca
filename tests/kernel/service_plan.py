"""The plan of the service that runs under systemd: one panel, one person, one secret address."""

from tests.kernel.inside import LABEL

LINE = 3


def plan(name: str) -> str:
    """The plan file."""
    return f"""\
[unit]
id = "pumphouse"
name = "{name}"
zone = "America/Chicago"
chip = "{LABEL}"
call_list = "all"

[[panel]]
id = "cabin"
name = "Cabin tank"
kind = "effluent-demand"

[[panel.input]]
means = "high-level"
line = {LINE}
in_alarm = "closed"
unpowered = "holds"
contact_follows = "level"
on_delay = "1 s"
off_delay = "1 s"

[[person]]
id = "anna"
name = "Anna"
responds = true
waking = ["00:00", "24:00"]

[[person.channel]]
name = "mail"
address_from = "anna-mail"

[[call_list]]
id = "all"

[[call_list.step]]
after = "0 s"
tell = ["anna"]
"""
