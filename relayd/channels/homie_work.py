"""What of a panel's tree is about people's work at it: its horn, visits, loose ends.

In: a panel, its subject, time. Out: nodes of the panel's device. Which there are hangs on nothing:
every panel has them, so that a description never changes with what happens.
"""

import json

from relayd.channels.devices import Node, Property
from relayd.channels.homie_times import iso, moment
from relayd.core.events import Now
from relayd.core.plan import Panel, Plan
from relayd.core.saying import sentences
from relayd.core.state import HornStanding, State, Subject

STANDINGS = ",".join(each.value.replace(" ", "-") for each in HornStanding)


def nodes(panel: Panel, subject: Subject, state: State, plan: Plan, now: Now) -> dict[str, Node]:
    """The nodes `horn` and `work`."""
    return {"horn": _horn(subject, state, plan, now), "work": _work(panel, subject, plan, now)}


def _horn(subject: Subject, state: State, plan: Plan, now: Now) -> Node:
    horn = subject.horn
    standing = horn.standing.value.replace(" ", "-")
    return Node(
        "Horn",
        {
            "standing": Property("What is known of the horn", standing, "enum", STANDINGS),
            "row": Property("Row of the horn table", horn.row),
            "says": Property("How it came to be known", horn.why),
            "since": Property("Since", moment(horn.since, state, plan, now)),
        },
    )


def _work(panel: Panel, subject: Subject, plan: Plan, now: Now) -> Node:
    visit, ends = subject.visit, subject.loose.values()
    says = [sentences.loose_end(each.key, panel) for each in ends]
    until = iso(visit.until_wall, plan) if visit and now.trusted else ""
    return Node(
        "Work at the panel",
        {
            "visitor": Property("Who is at the panel", visit.person if visit else ""),
            "visit-until": Property("Until when", until),
            "loose-ends": Property("Loose ends that are open", str(len(says)), "integer"),
            "loose-keys": Property("Their keys", json.dumps(list(subject.loose)), "json"),
            "loose-says": Property("What is to be undone", "; ".join(says)),
        },
    )
