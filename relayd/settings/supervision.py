"""[supervision]: its rules, what is made of it, and the class that its times reach.

In: the tables, the secret address. Out: problems, the rig's part, lines for `relayd check`.
"""

import re
from collections.abc import Iterator
from pathlib import Path

from relayd.core.overseen import AllWell
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND
from relayd.rig import DeadMan, Peer, Secret, Supervision
from relayd.settings import certificates
from relayd.settings.checks import Lines, known, twice
from relayd.settings.schema import PlanTable, sure
from relayd.settings.schema_supervision import SupervisionTable
from relayd.words import Loc, Problem, quoted, spelt

PLACE: Loc = ("supervision",)
CLASSES = (
    (20 * SECOND, "SP6"),
    (90 * SECOND, "SP5"),
    (180 * SECOND, "SP4"),
    (30 * MINUTE, "SP3"),
    (25 * HOUR, "SP2"),
    (32 * DAY, "SP1"),
)
"""The longest reporting times of EN 50136-1:2012, single path (SP6 seen quoted elsewhere, the others
from memory). What is of the class's time is not yet of the class: availability and the rest of the
standard are neither measured nor claimed."""
_ADDRESS = re.compile(r"https?://[^\s/@]+(/[!-~]*)?")


def problems(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    """What must hold between the values of these tables, and with the others'."""
    table = plan.supervision
    if table is None:
        return
    peers = table.peer or []
    if peers and plan.mqtt is None:
        say = "is heard over a broker, and there is none; write [mqtt] with its host"
        yield Problem((*PLACE, "peer"), say)
    locs: list[Loc] = [(*PLACE, "peer", n, "id") for n in range(len(peers))]
    yield from twice([each.id for each in peers], locs, "each peer once", line)
    for loc, each in zip(locs, peers, strict=True):
        if plan.unit is not None and each.id is not None and each.id == plan.unit.id:
            yield Problem(loc, f"{quoted(each.id)} is this unit itself; the id of another one")
        if each.grace and table.heartbeat and each.grace < 2 * table.heartbeat:
            say = f"is shorter than two heartbeats; at least {spelt(2 * table.heartbeat)}"
            yield Problem((*loc[:-1], "grace"), say)
    yield from _dead_man(table)
    if table.all_well is not None:
        people = [each.id for each in plan.person or []]
        loc = (*PLACE, "all_well", "keeper")
        yield from known(table.all_well.keeper, people, "person", loc)


def _dead_man(table: SupervisionTable) -> Iterator[Problem]:
    given, loc = table.dead_man, (*PLACE, "dead_man")
    if given is None:
        return
    if given.every and given.grace and given.grace < 2 * given.every:
        say = f"is shorter than two visits; at least {spelt(2 * given.every)}"
        yield Problem((*loc, "grace"), say)
    if given.ca is not None and (why := certificates.authority(Path(given.ca))):
        yield Problem((*loc, "ca"), why)


def address_problem(address: str) -> str | None:
    """What is wrong with the address to visit, without repeating it; None where it can be used."""
    if _ADDRESS.fullmatch(address):
        return None
    return "holds no address (not shown); one line, http:// or https:// with a host and no blanks"


def all_well(table: SupervisionTable | None) -> AllWell | None:
    """The weekly message."""
    if table is None or table.all_well is None:
        return None
    given = table.all_well
    return AllWell(sure(given.day), sure(given.at), given.keeper or "")


def peers(table: SupervisionTable | None) -> dict[str, str]:
    """The peers' ids and what people call them."""
    found = table.peer or [] if table else []
    return {sure(each.id): each.name or sure(each.id) for each in found}


def built(table: SupervisionTable | None, address: Secret | None) -> Supervision:
    """The rig's part; an address that is missing is left out (only a forgiving load lets one come so far)."""
    if table is None:
        return Supervision()
    given = table.dead_man
    dead_man = None
    if given is not None and address is not None:
        ca = None if given.ca is None else Path(given.ca)
        dead_man = DeadMan(address, sure(given.every), sure(given.grace), ca)
    watched = tuple(Peer(sure(each.id), sure(each.grace)) for each in table.peer or [])
    return Supervision(sure(table.heartbeat), watched, dead_man)


def class_of(reporting: int) -> str:
    """The class of EN 50136-1 whose reporting time this one keeps; '' where it keeps none."""
    return next((name for most, name in CLASSES if reporting <= most), "")


def summary(rig: Supervision) -> Iterator[str]:
    """What is said of it by `relayd check`."""
    yield "supervision"
    yield f"  a heartbeat every {spelt(rig.heartbeat)}, where there is a broker"
    if rig.dead_man is not None:
        yield f"  this unit's own silence: named by the service outside after {_time(rig.dead_man.grace)}"
    else:
        say = "named by no service outside; unless a peer watches this unit that is SILENT"
        yield f"  this unit's own silence: {say}"
    for each in rig.peers:
        yield f"  the silence of {each.id}: named by this unit after {_time(each.grace)}"
    yield (
        "  (a class says the reporting time alone, by EN 50136-1:2012; a pump panel is no fire or"
        " burglar alarm)"
    )


def _time(grace: int) -> str:
    found = class_of(grace)
    return f"{spelt(grace)}, as {found}" if found else spelt(grace)
