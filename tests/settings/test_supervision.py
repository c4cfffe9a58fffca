"""[supervision]: what must fit together, what is made of it, and the class that its times reach."""

import json
from pathlib import Path

import pytest

from relayd.core.overseen import AllWell
from relayd.core.plan import DAY, HOUR, MINUTE, SECOND
from relayd.errors import PlanRefused
from relayd.rig import Peer
from relayd.settings import Loaded, describe, load_away, outline
from relayd.settings.supervision import class_of
from tests.settings.plans import SOUND, WALL, loaded, refusals, written

PEER = '\n[[supervision.peer]]\nid = "mill"\n'
VISIT = '\n[supervision.dead_man]\naddress_from = "outside"\n'
ADDRESS = "https://watch.example.org/k3y-of-mine"


def secret(folder: Path, text: str = ADDRESS) -> None:
    (folder / "outside").write_text(f"{text}\n")
    (folder / "outside").chmod(0o600)


def whole(folder: Path) -> Loaded:
    secret(folder)
    well = '\n[supervision.all_well]\nday = "wed"\nat = "10:30"\nkeeper = "ben"\n'
    head = '\n[supervision]\nheartbeat = "10 s"\n'
    peer = PEER + 'name = "Mill"\ngrace = "3 min"\n'
    return loaded(folder, SOUND + head + peer + VISIT + well)


def test_a_plan_without_it_has_a_heartbeat_each_minute_and_watches_nobody(tmp_path: Path) -> None:
    found = loaded(tmp_path, SOUND)
    assert (found.rig.supervision.heartbeat, found.rig.supervision.peers) == (MINUTE, ())
    assert (found.rig.supervision.dead_man, found.plan.dead_man) == (None, False)
    assert (found.plan.peers, found.plan.all_well) == ({}, None)


def test_all_of_it_is_read(tmp_path: Path) -> None:
    found = whole(tmp_path)
    made = found.rig.supervision
    assert (made.heartbeat, made.peers) == (10 * SECOND, (Peer("mill", 3 * MINUTE),))
    assert made.dead_man is not None
    assert (made.dead_man.every, made.dead_man.grace) == (5 * MINUTE, 15 * MINUTE)
    assert made.dead_man.address.reveal() == ADDRESS
    assert found.plan.peers == {"mill": "Mill"}
    assert found.plan.dead_man
    assert found.plan.all_well == AllWell(2, 10 * HOUR + 30 * MINUTE, "ben")


def test_the_secret_address_is_shown_nowhere(tmp_path: Path) -> None:
    found = whole(tmp_path)
    shown = json.dumps(describe(found)) + "\n".join(outline(found, WALL)) + repr(found.rig)
    assert "k3y-of-mine" not in shown
    assert '"address": "set"' in shown


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (PEER.replace("mill", "cabin"), 'peer.id: "cabin" is this unit itself; the id of another'),
        (PEER + PEER, 'peer.id: "mill" is used twice'),
        (PEER + 'grace = "1 min"\n', "grace: is shorter than two heartbeats; at least 2 min"),
        (PEER + 'grace = "2 s"\n', 'grace: "2 s" is out of bounds; 3 s to 24 h'),
        (
            VISIT + 'every = "5 min"\ngrace = "6 min"\n',
            "grace: is shorter than two visits; at least 10",
        ),
        (VISIT + 'ca = "/nowhere/ca.pem"\n', "dead_man.ca: "),
        ('\n[supervision.all_well]\nkeeper = "bem"\n', 'keeper: there is no person "bem"'),
        ('\n[supervision]\nheartbeat = "100 ms"\n', 'heartbeat: "100 ms" is out of bounds'),
    ],
)
def test_what_does_not_fit_is_told(tmp_path: Path, text: str, says: str) -> None:
    secret(tmp_path)
    (told,) = refusals(tmp_path, SOUND + text)
    assert says in told


def test_a_peer_without_a_broker_cannot_be_heard(tmp_path: Path) -> None:
    plain = SOUND.partition("[mqtt]")[0]
    (told,) = refusals(tmp_path, plain + PEER)
    assert "there is none; write [mqtt]" in told


@pytest.mark.parametrize(
    "address",
    ["ftp://watch.example.org", "https:///k3y", "watch.example.org/x", "https://u:p@x.example"],
)
def test_an_address_that_cannot_be_visited_is_refused_and_not_shown(
    tmp_path: Path, address: str
) -> None:
    secret(tmp_path, address)
    with pytest.raises(PlanRefused) as refused:
        loaded(tmp_path, SOUND + VISIT)
    (told,) = refused.value.problems
    assert "holds no address (not shown)" in told
    assert address not in told


def test_away_from_its_unit_no_address_is_looked_for(tmp_path: Path) -> None:
    found = load_away(written(tmp_path, SOUND + VISIT), wall=WALL)
    assert found.plan.dead_man


# EN 50136-1:2012, Table 1, maximum reporting times of a path failure, single path: SP6 seen quoted
# at second hand, the others from memory.
@pytest.mark.parametrize(
    ("reporting", "name"),
    [
        (20 * SECOND, "SP6"),
        (21 * SECOND, "SP5"),
        (90 * SECOND, "SP5"),
        (3 * MINUTE, "SP4"),
        (15 * MINUTE, "SP3"),
        (30 * MINUTE, "SP3"),
        (31 * MINUTE, "SP2"),
        (25 * HOUR, "SP2"),
        (32 * DAY, "SP1"),
        (33 * DAY, ""),
    ],
)
def test_the_class_is_the_one_whose_reporting_time_is_kept(reporting: int, name: str) -> None:
    assert class_of(reporting) == name


def test_check_names_the_class_of_each_watch(tmp_path: Path) -> None:
    lines = outline(whole(tmp_path), WALL)
    at = lines.index("supervision")
    assert lines[at + 1 : at + 4] == [
        "  a heartbeat every 10 s, where there is a broker",
        "  this unit's own silence: named by the service outside after 15 min, as SP3",
        "  the silence of mill: named by this unit after 3 min, as SP4",
    ]
    assert "EN 50136-1:2012" in lines[at + 4]


def test_check_says_where_nobody_outside_watches(tmp_path: Path) -> None:
    lines = outline(loaded(tmp_path, SOUND), WALL)
    assert "unless a peer watches this unit that is SILENT" in lines[lines.index("supervision") + 2]
