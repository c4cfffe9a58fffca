"""Real faults of a real daemon on this machine: what it says of them, and after how long.

Every fault has a unit of its own. They are played side by side, since they wait most of the time.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.story import (
    faults_of_disks as disks,
    faults_of_starts as starts,
    faults_of_ways as ways,
    table,
)
from tests.story.stage import Stage, stage
from tests.story.table import Row

AT_ONCE = 4
Fault = Callable[[Stage], None]
FAULTS: dict[str, Fault] = {
    each.__name__.replace("_", " "): each
    for each in (
        # The longest first.
        starts.it_is_killed_again_and_again,
        ways.the_mail_server_hangs,
        ways.the_sender_dies,
        ways.old_commands_come,
        ways.the_broker_dies_and_comes_back,
        starts.a_changed_plan_is_loaded_during_an_alarm,
        starts.the_plan_is_broken_at_a_start,
        starts.it_is_ended_in_order_and_not_in_order,
        disks.the_disk_is_full,
        disks.the_card_is_read_only,
        disks.the_journal_is_damaged_while_it_is_down,
        disks.the_journal_is_kept_and_comes_back,
        starts.a_second_daemon_starts_on_the_same_directory,
    )
}

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]


def play(fault: str, folder: Path) -> list[Row]:
    """Play a fault; what the unit said of it."""
    with stage(folder / fault.replace(" ", "-")) as made:
        made.fault = fault
        FAULTS[fault](made)
        return made.rows


@pytest.fixture(scope="module")
def played(
    request: pytest.FixtureRequest,
) -> Iterator[dict[str, Future[list[Row]]]]:
    """Every fault that this run asks for, under way."""
    specs = [getattr(item, "callspec", None) for item in request.session.items]
    wanted = {spec.params["fault"] for spec in specs if spec and "fault" in spec.params}
    # A folder of a short name: the path of a Unix socket is at most 107 bytes long.
    with TemporaryDirectory(prefix="f") as folder, ThreadPoolExecutor(AT_ONCE) as pool:
        yield {each: pool.submit(play, each, Path(folder)) for each in FAULTS if each in wanted}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_said_and_nobody_is_forgotten(
    played: dict[str, Future[list[Row]]], fault: str
) -> None:
    rows = played[fault].result()
    assert rows
    table.add(*rows)
