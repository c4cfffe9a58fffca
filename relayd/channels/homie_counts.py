"""Counters as a broker shows them: each pump's starts and runs, the unit's alarms and messages.

In: memories, plan, time. Out: nodes. A count changes when what it counts happens and never by time
alone: so a day's counts name their day, and are that day's last ones until the next start.
"""

from relayd.channels.devices import Node, count, flag, instant, names, text
from relayd.channels.homie_alarm import Scene
from relayd.channels.homie_times import moment
from relayd.core.conditions import JOURNAL_LATE, of_way
from relayd.core.plan import DAY, SECOND, Means, Panel
from relayd.core.saying.when import civil
from relayd.core.state import PumpLog, SendState, State, Subject

MOST_A_DAY = 100
"""Raisings of a day that are counted one by one."""
_WAITING = frozenset({SendState.OWED, SendState.OUT})


def pumps(scene: Scene, panel: Panel, subject: Subject) -> dict[str, Node]:
    """A node for each pump whose running or calling is wired; pump 0 stands for all of them."""
    watched = {
        each.pump for each in panel.inputs if each.means in (Means.PUMP_RUNNING, Means.PUMP_CALLED)
    }
    if panel.pumps == 1:
        watched = {1} if watched else set()
    return {
        f"pump-{number or 'all'}": _pump(scene, subject.pumps.get(number) or PumpLog(), number)
        for number in sorted(watched)
    }


def _pump(scene: Scene, log: PumpLog, number: int) -> Node:
    tally, state, plan, now = log.tally, scene.state, scene.plan, scene.now
    name = f"Pump {number}" if number else "All pumps together"
    properties = {
        "running": flag("It runs", log.running is not None, "stands,runs"),
        "last-start": instant("Its last start", moment(log.last, state, plan, now)),
        "counted-since": instant("Counted since", moment(tally.since, state, plan, now)),
        "starts": count("Starts", tally.starts),
        "runs": count("Runs that ended", tally.cycles),
        "run-time": count("How long they took together", tally.ran // SECOND, unit="s"),
        "day": text("The day of the counts below", _day(tally.day)),
        "day-starts": count("Starts of that day", tally.day_starts),
        "day-runs": count("Runs of that day that ended", tally.day_cycles),
        "day-run-time": count("How long they took together", tally.day_ran // SECOND, unit="s"),
    }
    return Node(name, properties, "pump")


def _day(day: int) -> str:
    """'2026-03-02'; '' where none was counted yet."""
    return "{:04d}-{:02d}-{:02d}".format(*civil(day)) if day else ""


def of_unit(state: State) -> Node:
    """What the unit counts for itself: alarms of the last day, messages that wait."""
    unit = state.subjects.get("unit") or Subject("unit")
    waiting, failed = messages(state)
    raised = [each for each in unit.day if each > state.stamp.up - DAY]
    properties = {
        "raised": count(
            "Alarms raised in the last 24 h, a hundred at most", len(raised), MOST_A_DAY
        ),
        "burst": flag("An alarm burst goes on", unit.burst is not None),
        "waiting": count("Messages that no service has taken yet", waiting),
        "failed": count("Sends of them that failed and are tried again", failed),
    }
    return Node("Counters", properties)


def messages(state: State) -> tuple[int, int]:
    """How many messages wait for a service, and how many of their sends have failed so far."""
    waiting = [
        [each for each in notice.sends if each.state in _WAITING]
        for notice in state.notices.values()
    ]
    failed = sum(each.last is not None for sends in waiting for each in sends)
    return sum(bool(sends) for sends in waiting), failed


def health(scene: Scene) -> Node:
    """What the unit knows of itself: its journal, its ways out."""
    own = scene.state.subjects.get("unit") or Subject("unit")
    ways = ("sender", "mqtt", *(f"mqtt:{each}" for each in scene.plan.brokers))
    properties = {
        "journal": flag(
            "The journal is written in time", JOURNAL_LATE not in own.said, "late,in time"
        )
    }
    for each in ways:
        properties[each.replace(":", "-")] = flag(
            f"The way out {each}", of_way(each) not in own.said, "down,up"
        )
    return Node("Health", properties)


def absent(state: State) -> Node:
    """Who is away."""
    own = state.subjects.get("unit") or Subject("unit")
    return Node("Persons", {"away": names("Persons who are away", own.away)})
