"""The plan of the service that runs under systemd: one panel, one person, one secret address."""

from tests.kernel.inside import LABEL
from tests.story.plans import high_level

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

{high_level(LINE, 1)}
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
