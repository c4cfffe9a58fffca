"""A silent unit is named by one peer within its grace, and nothing else is taken for silence.

Times are simulated; heartbeats come each second and the grace is 5 s unless a test says otherwise.
"""

import json
import random
from dataclasses import fields
from itertools import product

import pytest
from hypothesis import given, strategies as st

from relayd.core.events import PeerHeard
from relayd.core.plan import SECOND, Priority
from relayd.rig import Peer
from relayd.supervision import beats
from relayd.supervision.beats import Beat
from relayd.supervision.peers import Peers
from tests.supervision.net import Net

NAMES = ("alder", "birch", "cedar")


def three(**more: object) -> Net:
    """Three units at one broker; each watches the other two. They have run for a minute."""
    net = Net()
    net.broker()
    for each in NAMES:
        net.unit(each, [other for other in NAMES if other != each], **more)
    net.run(60)
    return net


def news(net: Net) -> list[PeerHeard]:
    """What anybody said but that a peer is heard for the first time."""
    return [each for _, _, each in net.said if each.why] + [
        each for _, who, each in net.said if not each.why and net.back(who, each.peer)
    ]


@pytest.mark.slow
def test_units_that_live_are_each_heard_once_and_nothing_more_is_said() -> None:
    net = three()
    net.run(3600)
    assert len(net.said) == 6
    assert news(net) == []


@pytest.mark.parametrize("how", ["kill", "freeze", "cut"])
@pytest.mark.parametrize("grace", [5.0, 30.0, 900.0])
@pytest.mark.parametrize("phase", [0.0, 0.3, 0.999])
def test_a_unit_that_dies_hangs_or_is_cut_off_is_named_within_its_grace(
    how: str, grace: float, phase: float
) -> None:
    net = three(grace=grace, every=grace / 5)
    net.run(grace + phase)
    lost, at = net.units["birch"], net.now / SECOND
    {"kill": lost.kill, "freeze": lost.freeze, "cut": lost.links["mqtt"].swallow}[how]()
    net.run(grace * 3 + 60)
    (named,) = net.silent("alder", "birch")
    # From its last heartbeat, which may be a little older, to the peers' own that proves it.
    assert grace * 0.8 - 0.1 <= named - at <= grace + 1
    assert net.silent("cedar", "birch") == []
    assert [each for _, who, each in net.said if each.why and who != "birch"] == [
        each for _, who, each in net.said if who == "alder" and each.peer == "birch" and each.why
    ]


def test_with_a_heartbeat_a_minute_it_is_named_within_five_seconds_of_its_grace() -> None:
    net = three(every=60.0, grace=180.0)
    net.run(600.5)
    last = net.now
    net.units["birch"].kill()
    net.run(600)
    (named,) = net.silent("alder", "birch")
    assert named - last / SECOND <= 180 + 5


@pytest.mark.parametrize("how", ["kill", "freeze", "cut"])
def test_it_is_back_as_soon_as_it_is_heard(how: str) -> None:
    net = three()
    lost = net.units["birch"]
    {"kill": lost.kill, "freeze": lost.freeze, "cut": lost.links["mqtt"].swallow}[how]()
    net.run(120)
    at = net.now / SECOND
    if how == "cut":
        lost.links["mqtt"].heal()
    else:
        lost.begin()
    net.run(60)
    (back,) = net.back("alder", "birch")
    assert at <= back <= at + 31
    assert net.silent("alder", "birch") < [back]
    assert net.silent("cedar", "birch") == []


def test_the_next_lowest_tells_a_grace_later_where_the_lowest_cannot_tell_its_people() -> None:
    net = three(tells=False)
    at = net.now / SECOND
    net.units["birch"].kill()
    net.run(60)
    (first,), (second,) = net.silent("alder", "birch"), net.silent("cedar", "birch")
    assert first - at <= 5 + 1
    assert 10 - 1.1 <= second - at <= 10 + 1


def test_two_that_die_together_are_both_named_by_the_one_that_lives() -> None:
    net = three()
    at = net.now / SECOND
    net.units["alder"].kill()
    net.units["birch"].kill()
    net.run(60)
    for each in ("alder", "birch"):
        (named,) = net.silent("cedar", each)
        assert named - at <= 2 * 5 + 1


def test_the_one_that_told_dies_too_and_the_other_takes_over() -> None:
    net = three()
    net.units["birch"].kill()
    net.run(30)
    assert net.silent("cedar", "birch") == []
    net.units["alder"].kill()
    net.run(60)
    assert len(net.silent("cedar", "birch")) == 1
    assert len(net.silent("cedar", "alder")) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("away", "times"), [(0.05, 100), (0.3, 100), (1.5, 30), (20.0, 20), (600.0, 2)]
)
def test_a_broker_that_restarts_is_nobodys_silence(away: float, times: int) -> None:
    net = three()
    for _ in range(times):
        net.brokers["mqtt"].restart(away)
        net.run(away + 17.7)
    assert news(net) == []
    assert net.units["alder"].links["mqtt"].up


@pytest.mark.slow
@pytest.mark.parametrize("every", [1.5, 3.0, 7.0, 9.9, 10.1, 11.9, 12.1])
def test_a_broker_that_restarts_again_and_again_is_nobodys_silence(every: float) -> None:
    net = three()
    for _ in range(40):
        net.brokers["mqtt"].restart(0.2)
        net.run(every)
    net.run(120)
    assert news(net) == []


def at_any_moment(times: int, seed: int) -> Net:
    chance = random.Random(seed)
    net = three()
    for _ in range(times):
        away = chance.choice((0.1, 1, 3, 10, 60, 300)) * chance.random()
        net.brokers["mqtt"].restart(away)
        net.run(away + chance.uniform(10, 60))
    return net


@pytest.mark.slow
def test_restarts_at_any_moment_and_of_any_length_are_nobodys_silence() -> None:
    assert news(at_any_moment(15, seed=5)) == []


@pytest.mark.long
@pytest.mark.parametrize("seed", range(20))
def test_so_are_thousands_of_restarts(seed: int) -> None:
    assert news(at_any_moment(200, seed)) == []


def test_a_unit_that_dies_while_the_broker_is_away_is_named_after_that() -> None:
    net = three()
    net.brokers["mqtt"].restart(20)
    net.units["birch"].kill()
    net.run(20)
    back = net.now / SECOND
    net.run(120)
    (named,) = net.silent("alder", "birch")
    # The others come back within 30 s; the dead one is given as long as the broker was away.
    assert named - back <= 31 + 31 + 5 + 1


def test_a_cut_of_ones_own_is_nobody_elses_silence() -> None:
    net = three()
    net.units["alder"].links["mqtt"].swallow()
    net.run(600)
    assert net.silent("alder", "birch") == net.silent("alder", "cedar") == []
    assert len(net.silent("birch", "alder")) == 1
    net.units["alder"].links["mqtt"].heal()
    net.run(120)
    assert net.silent("alder", "birch") == net.silent("alder", "cedar") == []
    assert len(net.back("birch", "alder")) == 1


def test_a_broker_that_hangs_is_nobodys_silence() -> None:
    net = three()
    for each in net.units.values():
        each.links["mqtt"].swallow()
    net.run(25)
    for each in net.units.values():
        each.links["mqtt"].heal()
    net.run(300)
    assert news(net) == []


def test_of_two_brokers_one_is_enough() -> None:
    net = Net()
    net.broker("mqtt")
    net.broker("mqtt:far")
    for each in NAMES:
        net.unit(each, [other for other in NAMES if other != each])
    net.run(60)
    net.brokers["mqtt"].stop()
    net.run(600)
    net.units["cedar"].links["mqtt:far"].swallow()
    net.run(20)
    assert len(net.silent("alder", "cedar")) == 1
    net.brokers["mqtt"].start()
    net.run(60)
    assert len(net.back("alder", "cedar")) == 1
    assert net.silent("alder", "birch") == []


def test_what_is_known_of_a_silent_unit_is_said() -> None:
    net = three(grace=60.0)
    net.units["birch"].kill()
    net.run(70)
    ((_, _, said),) = [each for each in net.said if each[1] == "alder" and each[2].why]
    assert said == PeerHeard("birch", "not heard for 1 min; its broker lost it", None)


def test_a_planned_stop_is_told_apart_and_is_not_urgent() -> None:
    net = three()
    net.units["birch"].stop()
    net.run(20)
    ((_, _, said),) = [each for each in net.said if each[2].why]
    assert said.why.endswith("; it said that it stops")
    assert said.priority is Priority.LOW


def test_a_unit_with_an_open_alarm_is_urgent_at_once() -> None:
    net = three(high=1)
    net.units["birch"].stop()
    net.run(20)
    ((_, _, said),) = [each for each in net.said if each[2].why]
    assert said.why.endswith("; it said that it stops; an alarm was open there")
    assert said.priority is Priority.HIGH


def test_a_unit_that_was_never_heard_is_said_to_be_so() -> None:
    net = Net()
    net.broker()
    net.unit("alder", ["ghost"])
    net.run(20)
    assert [each.why for _, _, each in net.said] == ["never heard since this unit began"]


# ---- by hand -----------------------------------------------------------------------------------


def alone() -> tuple[Peers, list[PeerHeard]]:
    heard: list[PeerHeard] = []
    return Peers("alder", "life", [Peer("birch", 5 * SECOND)], ["mqtt"], heard.append), heard


def vars_of(kind: type[Beat]) -> list[str]:
    return [each.name for each in fields(kind)]


def sign(unit: str = "birch", life: str = "other", seq: int = 1) -> bytes:
    return beats.encoded(Beat(unit, seq, life, "boot")).encode()


def test_without_a_connection_nothing_is_due_and_nobody_is_silent() -> None:
    peers, heard = alone()
    assert peers.due(0) is None
    assert not peers.look(100 * SECOND)
    peers.linked("mqtt", True, 0)
    peers.linked("mqtt", False, SECOND)
    peers.linked("mqtt", False, SECOND)
    assert peers.due(2 * SECOND) is None
    assert heard == []


def test_a_unit_that_watches_nobody_listens_to_nothing() -> None:
    peers = Peers("alder", "life", [], ["mqtt"], lambda _event: None)
    peers.linked("mqtt", True, 0)
    assert (peers.topics, peers.due(0), peers.deaf(10**12)) == ((), None, {})


@pytest.mark.parametrize(
    "payload",
    [
        b"[" * 4000,
        b" " * 4097,
        b"",
        b"{}",
        b"[]",
        b"\xff",
        b'{"v":2}',
        b'{"v":1,"unit":"birch"}',
        b"null",
    ]
    + [sign().replace(b'"seq":1', each) for each in (b'"seq":"1"', b'"seq":true', b'"seq":null')]
    + [sign().replace(b'"watches":[]', each) for each in (b'"watches":3', b'"watches":[1]')],
    ids=lambda each: repr(each[:60]),
)
def test_what_is_no_heartbeat_is_no_sign_of_life(payload: bytes) -> None:
    peers, heard = alone()
    peers.linked("mqtt", True, 0)
    peers.heard("mqtt", "relayd/birch/heartbeat", payload, SECOND)
    assert heard == []


@pytest.mark.parametrize(
    ("topic", "unit"),
    list(product(["relayd/cedar/heartbeat", "relayd/alder/heartbeat"], ["birch", "cedar"])),
)
def test_a_heartbeat_on_anothers_topic_is_nobodys(topic: str, unit: str) -> None:
    peers, heard = alone()
    peers.linked("mqtt", True, 0)
    peers.heard("mqtt", topic, sign(unit), SECOND)
    assert heard == []


def test_another_life_with_ones_own_name_proves_nothing() -> None:
    peers, heard = alone()
    peers.linked("mqtt", True, 0)
    peers.sent(1, 6 * SECOND)
    peers.heard("mqtt", "relayd/alder/heartbeat", sign("alder", "another"), 7 * SECOND)
    assert heard == []
    peers.heard("mqtt", "relayd/alder/heartbeat", sign("alder", "life"), 7 * SECOND)
    assert [each.peer for each in heard] == ["birch"]


def test_a_heartbeat_of_before_the_connection_proves_nothing() -> None:
    peers, heard = alone()
    peers.sent(1, 6 * SECOND)
    peers.linked("mqtt", True, 7 * SECOND)
    peers.heard("mqtt", "relayd/alder/heartbeat", sign("alder", "life"), 20 * SECOND)
    peers.heard("mqtt", "relayd/alder/heartbeat", sign("alder", "life", 9), 20 * SECOND)
    assert heard == []


def test_a_proof_is_wanted_once_a_second_and_then_seldom() -> None:
    peers, _ = alone()
    peers.linked("mqtt", True, 0)
    asked = [each for each in range(120) if peers.look(each * SECOND)]
    assert asked == [*range(5, 35), 64, 94]
    assert peers.due(95 * SECOND) == 124 * SECOND


def test_a_broker_that_brings_nothing_back_is_named() -> None:
    peers, _ = alone()
    peers.linked("mqtt", True, 0)
    assert peers.deaf(100 * SECOND) == {"mqtt": False}
    peers.sent(1, SECOND)
    assert peers.deaf(31 * SECOND) == {"mqtt": False}
    assert peers.deaf(32 * SECOND) == {"mqtt": True}
    peers.heard("mqtt", "relayd/alder/heartbeat", sign("alder", "life"), 33 * SECOND)
    assert peers.deaf(33 * SECOND) == {"mqtt": False}


def test_old_heartbeats_of_ones_own_are_forgotten() -> None:
    peers, heard = alone()
    peers.linked("mqtt", True, 0)
    for seq in range(1, 1000):
        peers.sent(seq, seq * SECOND)
    peers.heard("mqtt", "relayd/alder/heartbeat", sign("alder", "life", 1), 999 * SECOND)
    assert heard == []


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@given(
    changed=st.dictionaries(st.sampled_from([*vars_of(Beat), "v", "more"]), JSON, max_size=4),
    gone=st.sets(st.sampled_from(vars_of(Beat)), max_size=2),
)
def test_no_payload_breaks_the_watch(changed: dict[str, object], gone: set[str]) -> None:
    peers, _ = alone()
    peers.linked("mqtt", True, 0)
    said = {**json.loads(sign()), **changed}
    payload = json.dumps({key: each for key, each in said.items() if key not in gone}).encode()
    peers.heard("mqtt", "relayd/birch/heartbeat", payload, SECOND)
    peers.sent(1, 6 * SECOND)
    peers.heard("mqtt", "relayd/alder/heartbeat", payload, 6 * SECOND)
    peers.look(7 * SECOND)
    peers.due(8 * SECOND)


@given(payload=st.binary(max_size=40), state=st.binary(max_size=12))
def test_no_bytes_break_the_watch(payload: bytes, state: bytes) -> None:
    peers, heard = alone()
    peers.linked("mqtt", True, 0)
    peers.heard("mqtt", "homie/5/birch/$state", state, SECOND)
    peers.heard("mqtt", "relayd/birch/heartbeat", payload, SECOND)
    assert heard == []


def test_a_heartbeat_comes_back_as_it_went() -> None:
    beat = Beat(
        "alder", 7, "l", "b", 1.5, 60.0, "ab12", True, 900, 12, 2, 1, ("birch",), ("birch",)
    )
    assert beats.decoded(beats.encoded(beat).encode()) == beat
    more = beats.encoded(beat).replace('"v":1', '"v":1,"later":"than this"')
    assert beats.decoded(more.encode()) == beat
