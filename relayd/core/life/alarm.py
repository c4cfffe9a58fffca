"""The life cycle of an alarm: the process states of ISA-18.2 and their transitions, as one table.

In: a process state and what happened. Out: the next process state. Knows nothing of people,
channels or time. The table is total: 'stays as it is' is written out, and a test asserts that
every pair has its row. Names and transitions are the standard's (ANSI/ISA-18.2-2016, state
diagram; values from memory, definitions read in OPC 10000-9 section 3.1).

Acknowledging never clears an active alarm; a reset is refused while the condition is there;
a return to normal that nobody acknowledged stays visible.
"""

from enum import StrEnum

from relayd.core.state import Process


class Happening(StrEnum):
    """What can happen to an alarm."""

    RAISED = "raised"
    RETURNED = "returned"
    RETURNED_LATCHED = "returned, latching"
    ACKNOWLEDGED = "acknowledged"
    RESET = "reset"
    REALARMED = "re-alarmed"


NORM, UNACK, ACKED = Process.NORM, Process.UNACK, Process.ACKED
RTNUN, LATUN, LATAK = Process.RTNUN, Process.LATUN, Process.LATAK
_RAISED, _RETURNED, _LATCHED = Happening.RAISED, Happening.RETURNED, Happening.RETURNED_LATCHED
_ACKNOWLEDGED, _RESET, _REALARMED = Happening.ACKNOWLEDGED, Happening.RESET, Happening.REALARMED

TABLE: dict[tuple[Process, Happening], Process] = {
    (NORM, _RAISED): UNACK,
    (NORM, _RETURNED): NORM,
    (NORM, _LATCHED): NORM,
    (NORM, _ACKNOWLEDGED): NORM,
    (NORM, _RESET): NORM,
    (NORM, _REALARMED): NORM,
    (UNACK, _RAISED): UNACK,
    (UNACK, _RETURNED): RTNUN,
    (UNACK, _LATCHED): LATUN,
    (UNACK, _ACKNOWLEDGED): ACKED,
    (UNACK, _RESET): UNACK,
    (UNACK, _REALARMED): UNACK,
    (ACKED, _RAISED): ACKED,
    (ACKED, _RETURNED): NORM,
    (ACKED, _LATCHED): LATAK,
    (ACKED, _ACKNOWLEDGED): ACKED,
    (ACKED, _RESET): ACKED,
    (ACKED, _REALARMED): UNACK,
    (RTNUN, _RAISED): UNACK,
    (RTNUN, _RETURNED): RTNUN,
    (RTNUN, _LATCHED): RTNUN,
    (RTNUN, _ACKNOWLEDGED): NORM,
    (RTNUN, _RESET): RTNUN,
    (RTNUN, _REALARMED): RTNUN,
    (LATUN, _RAISED): UNACK,
    (LATUN, _RETURNED): LATUN,
    (LATUN, _LATCHED): LATUN,
    (LATUN, _ACKNOWLEDGED): LATAK,
    (LATUN, _RESET): LATUN,
    (LATUN, _REALARMED): LATUN,
    (LATAK, _RAISED): UNACK,
    (LATAK, _RETURNED): LATAK,
    (LATAK, _LATCHED): LATAK,
    (LATAK, _ACKNOWLEDGED): LATAK,
    (LATAK, _RESET): NORM,
    (LATAK, _REALARMED): LATAK,
}

ACTIVE = frozenset({UNACK, ACKED})
"""The condition is there."""


def following(process: Process, happening: Happening) -> Process:
    """The process state after `happening`."""
    return TABLE[process, happening]


def diagram() -> str:
    """The transitions that lead to another state, as a Mermaid state diagram."""
    lines = ["stateDiagram-v2", "    [*] --> NORM"]
    lines += [
        f"    {before} --> {after}: {happening}"
        for (before, happening), after in TABLE.items()
        if before is not after
    ]
    return "\n".join(lines)
