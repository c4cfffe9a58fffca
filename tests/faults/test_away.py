"""A broker that is away for ten real minutes, under a real daemon, while alarms come and go.

RELAYD_AWAY says for how many seconds (600 if nothing is said).
"""

import os
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event

import pytest

from relayd.clock import boottime
from relayd.core.plan import SECOND
from tests.faults import scene
from tests.faults.scene import Happens, Scene
from tests.faults.told import Fault, Told
from tests.servers import network
from tests.story import table
from tests.story.stage import stage
from tests.story.unit import PATIENCE

AWAY = float(os.environ.get("RELAYD_AWAY") or 600)
EVERY = 90.0
"""Seconds from one rise of the float to the next: not so often that it counts as chattering."""
ALARM_AFTER = 300
"""Seconds after which a broker that is away is an alarm."""
GROWS = 2048
"""KiB by which the daemon may be larger at the end of the absence than in its middle: what is owed
to the broker is in the journal, so that an absence twice as long holds no more memory."""
HOW: dict[str, Happens] = {"killed": scene.broker_gone, "half-open": scene.broker_half_open}

pytestmark = [pytest.mark.long, pytest.mark.timeout(0)]


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder of a short name: the path of a Unix socket is at most 107 bytes long."""
    with TemporaryDirectory(prefix="a") as name:
        yield Path(name)


def moves(told: Told, until: int) -> int:
    """The float rises and falls until then; how often it rose.

    How long the broker is away is what is under test here, so it is a time that passes.
    """
    never, rose = Event(), 0
    while (until - boottime()) / SECOND > EVERY:
        never.wait(EVERY / 2)
        told.stage.rises()
        never.wait(EVERY / 2)
        told.stage.falls()
        rose += 1
    never.wait(max(0.0, (until - boottime()) / SECOND))
    return rose


@pytest.mark.parametrize("how", HOW)
def test_a_broker_that_was_away_shows_what_is_true_and_is_sent_every_record_in_order(
    folder: Path, how: str
) -> None:
    if HOW[how] is scene.broker_half_open and network.missing():
        pytest.skip(network.missing())
    with stage(folder / how) as made:
        made.fault = f"broker {how} for {AWAY:g} s"
        told = Told(Scene(made, quick=False), Fault(HOW[how], "broker"), quick=False)
        try:
            _play(told)
        finally:
            table.add(*made.rows)


def _play(told: Told) -> None:
    told.begins()
    ends = told.broke + int(AWAY * SECOND)
    rose = moves(told, (told.broke + ends) // 2)
    middle = told.scene.memory()["daemon"]
    rose += moves(told, ends)
    late = told.scene.memory()["daemon"]
    told.stage.note(f"meanwhile: high level raised and over {rose} times")
    told.stage.note(f"daemon: {middle / 1024:.1f} MiB in the middle, {late / 1024:.1f} at the end")
    assert late - middle < GROWS
    if AWAY > ALARM_AFTER + PATIENCE:
        told.broker_fails()
    told.ends(again=False)
