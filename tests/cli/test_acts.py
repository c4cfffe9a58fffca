"""The commands that put aside, work at a panel, or tell of people: what each asks the daemon."""

import pytest

from relayd.core.events import (
    AtPanel,
    ComeBack,
    Command,
    Commanded,
    GoAway,
    HornWire,
    InService,
    OutOfService,
    PutOff,
    Reset,
    Settled,
    Shelve,
    Stage,
    Unshelve,
    Wire,
)
from relayd.core.plan import HOUR
from relayd.errors import Usage
from tests.cli.conftest import Relayd
from tests.control.fake import FakeDaemon

ASKED: list[tuple[str, Command]] = [
    (
        "shelve p overload-2 --within 4h --why motor",
        Shelve("p", "overload-2", None, 4 * HOUR, "motor"),
    ),
    ("unshelve p overload-2", Unshelve("p", "overload-2")),
    ("out-of-service p --within 2h", OutOfService("p", within=2 * HOUR)),
    ("out-of-service p in-off --within 2h", OutOfService("p", "in-off", within=2 * HOUR)),
    ("in-service p", InService("p")),
    ("reset p seal-leak", Reset("p", "seal-leak")),
    ("horn-wire p off --why noise", HornWire("p", Wire.OFF, "noise")),
    ("horn-wire p back", HornWire("p", Wire.BACK)),
    (
        "later p horn-wire --within 2h --why order",
        PutOff("p", "horn-wire", None, 2 * HOUR, "order"),
    ),
    ("settled p silence-switch", Settled("p", "silence-switch")),
    ("visit p", AtPanel("p", Stage.BEGIN)),
    ("visit p --within 1h", AtPanel("p", Stage.BEGIN, HOUR)),
    ("visit p --extend", AtPanel("p", Stage.EXTEND)),
    ("visit p --end --left a --left b --why x", AtPanel("p", Stage.END, None, ("a", "b"), "x")),
    ("away anna --within 2h --stand-in ben", GoAway("anna", None, 2 * HOUR, "ben")),
    ("back anna", ComeBack("anna")),
]


@pytest.mark.parametrize(("line", "means"), ASKED, ids=[each[0] for each in ASKED])
def test_a_command_asks_for(daemon: FakeDaemon, relayd: Relayd, line: str, means: Command) -> None:
    shown = relayd(*line.split())
    assert shown.exit_code == 0, shown.output
    posted = daemon.happened()
    assert isinstance(posted, Commanded)
    assert (posted.command, posted.by) == (means, "anna")


@pytest.mark.parametrize(
    "line",
    [
        "shelve p x --until 08:00 --within 1h",
        "visit p --extend --end",
        "visit p --end --within 1h",
        "visit p --left a",
    ],
)
def test_what_does_not_go_together_is_refused(
    daemon: FakeDaemon, relayd: Relayd, line: str
) -> None:
    assert isinstance(relayd(*line.split()).exception, Usage)
    assert daemon.events.empty()


def test_who_shows_each_step(daemon: FakeDaemon, relayd: Relayd) -> None:
    step = {"in": "8 min", "who": ["Ben"], "held": {"Ben": "until 07:00"}}
    low = {"place": "Creek", "priority": "low", "steps": []}
    medium = {
        "place": "Creek",
        "priority": "medium",
        "steps": [{"in": "now", "who": ["Anna"]}, step],
    }
    daemon.reads = {"lists": [medium, low]}
    assert relayd("who", "creek-1", "--priority", "medium").stdout.splitlines() == [
        "a medium alarm at Creek that began now",
        "  step 1, now: Anna",
        "  step 2, after 8 min: Ben (held for Ben until 07:00)",
        "a low alarm at Creek that began now",
        "  nobody would be told",
    ]
    do, asked = daemon.asked.get(timeout=5)
    assert (do, asked["panel"], asked["priority"]) == ("who", "creek-1", "medium")
