"""Which state of an alarm is shown, and why nobody is told of it.

In: an alarm and its subject. Out: names and reasons. Knows nothing of time or people's wishes: who
sets and ends the marks is in marks.py.
"""

from relayd.core.state import Alarm, Subject


def shown(alarm: Alarm, owner: Subject) -> str:
    """The state that is shown: OOSRV, else SHLVD, else DSUPR, else the process state."""
    if alarm.out or owner.out:
        return "OOSRV"
    if alarm.shelved:
        return "SHLVD"
    return "DSUPR" if alarm.suppressed else alarm.process.value


def quiet(alarm: Alarm, owner: Subject) -> str:
    """Why nobody is told of this alarm now, for the record; '' where people are told.

    People are named by their ids, as all records do; quietness.py says it to people.
    """
    if owner.out:
        return f"its panel was taken out of service by {owner.out.by}"
    if alarm.out:
        return f"taken out of service by {alarm.out.by}"
    if alarm.shelved:
        return f"paused by {alarm.shelved.by}"
    return f"not shown because {alarm.suppressed}" if alarm.suppressed else ""
