"""Does a tree of topics keep to the Homie convention, version 5? Written from the convention's text.

In: what a broker holds, or a record of messages. Out: findings. Knows nothing of relayd.
The text: convention.md of homieiot/convention, v5.0.0 of 11 May 2025; rules.py names its sections.
"""

from relayd.convention.messages import Message
from relayd.convention.rules import RULES, Finding, Force
from relayd.convention.stream import check_stream
from relayd.convention.topics import Place, What, place
from relayd.convention.tree import check_tree, check_will

__all__ = [
    "RULES",
    "Finding",
    "Force",
    "Message",
    "Place",
    "What",
    "check_stream",
    "check_tree",
    "check_will",
    "place",
]
