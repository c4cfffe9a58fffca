"""Faults of the network under a real daemon: who was told what, when, over what. Printed as a table.

The quick ones shorten the limits of a send and of the broker's silence, and end before a failing
channel is an alarm. `sh tests/long tests/faults/test_told.py` plays all of them with every limit as
it is in earnest. What needs a network of its own needs root, and is skipped without it.
"""

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.faults import scene, wire
from tests.faults.scene import Scene
from tests.faults.told import Fault, Told
from tests.faults.wire import answers
from tests.servers import network
from tests.story import table
from tests.story.stage import stage
from tests.story.table import Row

AT_ONCE = 14
MAIL: dict[str, Fault] = {
    "mail 421 at once": Fault(scene.server(answers({"": "421 too busy"}))),
    "mail 451 recipient": Fault(scene.server(answers({"RCPT": "451 come later"}))),
    "mail 550 recipient": Fault(scene.server(answers({"RCPT": "550 nobody"}))),
    "mail server hangs": Fault(scene.server(wire.hangs)),
    "mail server trickles": Fault(scene.server(wire.trickles)),
    "mail server hangs up in the text": Fault(scene.server(wire.hangs_up)),
    "mail certificate of another name": Fault(scene.certificate),
    "broker killed": Fault(scene.broker_gone, "broker"),
}
APART: dict[str, Fault] = {
    "resolver silent": Fault(scene.resolver_silent),
    "resolver gone": Fault(scene.resolver_gone),
    "mail server's name gone": Fault(scene.name_gone),
    "mail half-open": Fault(scene.mail_half_open),
    "broker half-open": Fault(scene.broker_half_open, "broker"),
    "broker's name not answered": Fault(scene.broker_not_named, "broker"),
}
FAULTS = MAIL | APART
QUICK = ("mail 451 recipient", "resolver silent", "mail half-open", "broker half-open")

pytestmark = [pytest.mark.untraced, pytest.mark.slow, pytest.mark.timeout(1200)]


def play(fault: str, folder: Path, quick: bool) -> list[Row]:
    """Play a fault; the rows of its table."""
    with stage(folder / fault.replace(" ", "-").replace("'", "")[:20]) as made:
        made.fault = fault
        try:
            Told(Scene(made, quick), FAULTS[fault], quick).play()
        except BaseException:
            print("\n".join(each.line() for each in made.rows))
            raise
        return made.rows


@pytest.fixture(scope="module")
def played(request: pytest.FixtureRequest) -> Iterator[dict[tuple[str, bool], Future[list[Row]]]]:
    """Every fault that this run asks for, under way, side by side since they wait most of the time."""
    specs = [getattr(item, "callspec", None) for item in request.session.items]
    asked = {
        (str(each.params["fault"]), bool(each.params["quick"]))
        for each in specs
        if each and "fault" in each.params and "quick" in each.params
    }
    # A folder of a short name: the path of a Unix socket is at most 107 bytes long.
    with TemporaryDirectory(prefix="t") as folder, ThreadPoolExecutor(AT_ONCE) as pool:
        for each in ("quick", "whole"):
            (Path(folder) / each).mkdir()
        yield {
            (fault, quick): pool.submit(
                play, fault, Path(folder) / ("quick" if quick else "whole"), quick
            )
            for fault, quick in asked
            if fault not in APART or not network.missing()
        }


def _cases() -> Iterator[object]:
    for fault in FAULTS:
        if fault in QUICK:
            yield pytest.param(fault, True, id=f"quick-{fault}")
        yield pytest.param(fault, False, id=fault, marks=pytest.mark.long)


@pytest.mark.parametrize(("fault", "quick"), [*_cases()])
def test_people_are_told_and_nothing_is_lost(
    played: dict[tuple[str, bool], Future[list[Row]]], fault: str, quick: bool
) -> None:
    if fault in APART and network.missing():
        pytest.skip(network.missing())
    rows = played[fault, quick].result()
    assert rows
    table.add(*rows)
