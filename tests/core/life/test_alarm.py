"""The table of alarm states against the standard's transitions, written out here a second time.

Transcribed from the state diagram of ANSI/ISA-18.2-2016 (IEC 62682 has the same model); values
from memory (Sources 1.2, one row a line; its notes: acknowledge clears no active alarm, reset is
refused while the condition is there, an unacknowledged return stays visible). What the standard does not list leaves the state as it is.
"""

from itertools import product

import pytest

from relayd.core.life.alarm import ACTIVE, TABLE, Happening, diagram, following
from relayd.core.state import Process

STANDARD = """
NORM   raised             UNACK
UNACK  acknowledged       ACKED
UNACK  returned           RTNUN
UNACK  returned, latching LATUN
ACKED  returned           NORM
ACKED  returned, latching LATAK
ACKED  re-alarmed         UNACK
RTNUN  acknowledged       NORM
RTNUN  raised             UNACK
LATUN  acknowledged       LATAK
LATUN  raised             UNACK
LATAK  reset              NORM
LATAK  raised             UNACK
"""


def transcribed() -> dict[tuple[str, str], str]:
    """(from, happening) -> to."""
    rows = (line.split() for line in STANDARD.strip().splitlines())
    return {(row[0], " ".join(row[1:-1])): row[-1] for row in rows}


PAIRS = list(product(Process, Happening))


@pytest.mark.parametrize(
    ("process", "happening"), PAIRS, ids=[f"{p.value}-{h.value}" for p, h in PAIRS]
)
def test_each_pair_goes_where_the_standard_says_or_stays(
    process: Process, happening: Happening
) -> None:
    wanted = transcribed().get((process.value, happening.value), process.value)
    assert following(process, happening).value == wanted


def test_the_table_is_total() -> None:
    assert set(TABLE) == set(PAIRS)
    assert set(TABLE.values()) == set(Process)


@pytest.mark.parametrize("process", sorted(ACTIVE), ids=lambda each: each.value)
def test_neither_acknowledge_nor_reset_clears_an_active_alarm(process: Process) -> None:
    assert following(process, Happening.ACKNOWLEDGED) in ACTIVE
    assert following(process, Happening.RESET) is process


def test_a_return_that_nobody_acknowledged_stays_visible() -> None:
    assert following(Process.UNACK, Happening.RETURNED) is Process.RTNUN


def test_active_are_the_states_of_an_abnormal_process() -> None:
    assert {each.value for each in ACTIVE} == {"UNACK", "ACKED"}


def test_the_diagram_shows_each_transition_once_and_no_other() -> None:
    first, begin, *lines = diagram().splitlines()
    assert (first, begin) == ("stateDiagram-v2", "    [*] --> NORM")
    wanted = {f"    {a} --> {b}: {what}" for (a, what), b in transcribed().items()}
    assert set(lines) == wanted
    assert len(lines) == len(wanted)
