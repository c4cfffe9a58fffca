"""What of a panel's tree is about people's work at it: its horn, visits, loose ends.

In: a panel, its subject, time. Out: nodes of the panel's device. Which there are hangs on nothing:
every panel has them, so that a description never changes with what happens.
"""

from relayd.channels.devices import Node, choice, count, instant, listed, names, text
from relayd.channels.homie_alarm import Scene
from relayd.channels.homie_times import iso, moment
from relayd.core.plan import Panel
from relayd.core.saying import sentences
from relayd.core.state import HornStanding, LooseEnd, Subject

STANDINGS = tuple(each.value.replace(" ", "-") for each in HornStanding)


def nodes(scene: Scene, panel: Panel, subject: Subject) -> dict[str, Node]:
    """The nodes `horn` and `work`."""
    return {"horn": _horn(scene, subject), "work": _work(scene, panel, subject)}


def _horn(scene: Scene, subject: Subject) -> Node:
    horn = subject.horn
    standing = horn.standing.value.replace(" ", "-")
    since = moment(horn.since, scene.state, scene.plan, scene.now)
    proved = moment(horn.proved, scene.state, scene.plan, scene.now)
    return Node(
        "Horn",
        {
            "standing": choice("What is known of the horn", standing, STANDINGS),
            "row": text("Row of the horn table", horn.row),
            "says": text("How it came to be known", horn.why),
            "by": text("Who said so", horn.by),
            "since": instant("Since", since),
            "proved": instant("Last heard to sound", proved),
        },
    )


def _work(scene: Scene, panel: Panel, subject: Subject) -> Node:
    visit, ends, trusted = subject.visit, subject.loose.values(), scene.now.trusted
    out = subject.out
    says = [sentences.loose_end(each.key, panel) for each in ends]
    until = iso(visit.until_wall, scene.plan) if visit and trusted else ""
    back = iso(out.until_wall, scene.plan) if out and trusted else ""
    return Node(
        "Work at the panel",
        {
            "visitor": text("Who is at the panel", visit.person if visit else ""),
            "visit-until": instant("Until when", until),
            "out-by": text("Who has taken the panel out of service", out.by if out else ""),
            "out-until": instant("Out of service until", back),
            "loose-ends": count("Loose ends that are open", len(says)),
            "loose-keys": names("Their keys", subject.loose),
            "loose": listed("Each: key, by, since, why", (_loose(scene, each) for each in ends)),
            "loose-says": text("What is to be undone", "; ".join(says)),
        },
    )


def _loose(scene: Scene, end: LooseEnd) -> dict[str, object]:
    since = moment(end.since, scene.state, scene.plan, scene.now)
    return {"key": end.key, "by": end.by, "since": since, "why": end.why}
