"""The story on the real daemon, a real broker in both versions of MQTT, and a real mail server with TLS.

On this machine the contacts are scripted; inside the user-mode kernel (test_inside.py) the very
same tests run on real pins.
"""

import os
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import pytest

from relayd.convention import Message, check_stream
from tests.channels.watcher import Watcher
from tests.servers.broker import mosquitto
from tests.servers.mail import MailServer, exim
from tests.story import table
from tests.story.acts import Played, Take, play, seconds, take_by_command, take_over_mqtt
from tests.story.pins import wires
from tests.story.plans import REAL, SECOND_STEP, THIRD_STEP, Site, plan
from tests.story.unit import Unit, closing

RUNS: dict[str, Take] = {"5": take_over_mqtt, "3.1.1": take_by_command}
"""MQTT version -> how Ben takes it."""
if "STORY_MQTT" in os.environ:
    RUNS = {os.environ["STORY_MQTT"]: RUNS[os.environ["STORY_MQTT"]]}

pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(150),
    pytest.mark.skipif(exim() is None, reason="no Exim here (Debian: exim4-daemon-light)"),
]


def tell(folder: Path, version: str, take: Take) -> Played:
    """Everything around one unit, the unit, and its story."""
    folder.mkdir()
    with ExitStack() as around:
        mail = around.enter_context(MailServer())
        broker = around.enter_context(mosquitto(folder))
        watcher = around.enter_context(Watcher(broker.port))
        moved = around.enter_context(wires(folder, REAL))
        people = {name: {"mail": mail.address(name)} for name in ("anna", "ben", "cleo")}
        site = Site(people, moved.chip, moved.lines(), (broker.port, version))
        unit = Unit(folder / "unit", moved)
        around.enter_context(closing(unit))
        unit.environment["SSL_CERT_FILE"] = str(mail.ca)
        unit.write_plan(plan(site))
        unit.start()
        watcher.until(watcher.ready, "ready")
        played = play(unit, watcher, mail, take)
        assert unit.stop() == 0, unit.said_last()
        watcher.until(lambda: watcher.tree["homie/5/pumphouse/$state"] == "disconnected", "left")
        return played


@pytest.fixture(scope="module")
def plays(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Played]:
    """Both runs, side by side: they wait most of the time."""
    folder = tmp_path_factory.mktemp("story")
    with ThreadPoolExecutor() as pool:
        runs = {
            version: pool.submit(tell, folder / f"mqtt-{version[0]}", version, take)
            for version, take in RUNS.items()
        }
    return {version: run.result() for version, run in runs.items()}


@pytest.fixture(params=RUNS, ids=lambda version: f"MQTT {version}")
def played(request: pytest.FixtureRequest, plays: dict[str, Played]) -> Played:
    return plays[request.param]


def test_the_first_person_is_told_when_the_on_delay_is_over(played: Played) -> None:
    raised = played.one("raised", condition="high-level")
    assert 6.0 <= seconds(raised["up"] - played.rose) <= 7.0
    first = played.notices("high-level", "raised")[0]
    assert (first["body"]["person"], first["up"]) == ("anna", raised["up"])
    taken = played.found("send taken", notice=first["body"]["notice"])[0]
    row = table.Row(
        f"none: the float rises ({(REAL and 'real pins') or 'scripted'})",
        "Anna's mail is at her server",
        seconds(taken["up"] - raised["up"]),
    )
    table.add(row)


def test_the_second_person_is_told_at_the_time_of_the_second_step(played: Played) -> None:
    raised = played.one("raised", condition="high-level")
    _, second = played.notices("high-level", "raised")
    assert second["body"]["person"] == "ben"
    assert seconds(second["up"] - raised["up"]) == pytest.approx(SECOND_STEP, abs=1.0)


def test_seen_does_not_stop_the_call_list(played: Played) -> None:
    assert played.seen == "seen"
    (seen, _) = played.found("acknowledged", condition="high-level")
    assert (seen["body"]["person"], seen["body"]["act"]) == ("anna", "seen")
    assert seen["up"] < played.notices("high-level", "raised")[1]["up"]


def test_taken_stops_the_call_list_and_those_told_hear_who_has_it(played: Played) -> None:
    assert played.taken.startswith("taken: Ben has it")
    stopped = played.one("call list stopped", condition="high-level")
    assert stopped["body"]["why"] == "ben has it"
    (heard,) = played.notices("high-level", "taken")
    assert heard["body"]["person"] == "anna"
    raised, back = (played.one(each, condition="high-level") for each in ("raised", "returned"))
    assert seconds(back["up"] - raised["up"]) > THIRD_STEP, "nobody else would have been told yet"
    assert played.titles("cleo") == []


def test_everybody_got_each_mail_once_and_in_order(played: Played) -> None:
    high, circuit = (
        ["HIGH LEVEL", "Alarm over: High level"],
        ["ALARM CIRCUIT LOST", "Alarm over: Alarm circuit lost"],
    )
    has_it = "High level: somebody has it"
    wanted = [f"{each} - Cabin tank" for each in (high[0], has_it, high[1], *circuit)]
    assert played.titles("anna") == wanted
    told_of_circuit = [each["body"]["person"] for each in played.notices("alarm-power", "raised")]
    also = circuit if "ben" in told_of_circuit else []
    assert played.titles("ben") == [f"{each} - Cabin tank" for each in (*high, *also)]
    assert len({each.id for each in played.mails}) == len(played.mails)


@pytest.mark.parametrize("condition", ["high-level", "alarm-power"])
def test_the_stand_down_reaches_exactly_those_who_were_told(played: Played, condition: str) -> None:
    told = [each["body"]["person"] for each in played.notices(condition, "raised")]
    over = [each["body"]["person"] for each in played.notices(condition, "stand-down")]
    # Ben is told at his step again where Anna's message waited for its turn; once is enough at the end.
    assert over == list(dict.fromkeys(told))
    ids = {each["body"]["notice"] for each in played.notices(condition, "stand-down")}
    assert ids <= {each.id for each in played.mails}


def test_a_lost_alarm_circuit_is_no_high_level(played: Played) -> None:
    lost = played.one("raised", condition="alarm-power")
    assert 6.0 <= seconds(lost["up"] - played.off) <= 7.0
    assert len(played.found("raised")) == 2
    assert played.one("raised", condition="high-level")["up"] < played.off
    back = played.one("returned", condition="alarm-power")
    assert seconds(back["up"] - played.on) >= 6.0


def test_the_broker_showed_each_alert_and_cleared_it(played: Played) -> None:
    for condition in ("high-level", "alarm-power"):
        topic = f"homie/5/pumphouse-cabin/$alert/{condition}"
        said = [payload for each, payload in played.published if each == topic]
        assert len(said) >= 2
        assert said[0] != ""
        assert said[-1] == ""


def test_every_mail_went_by_login_and_tls(played: Played) -> None:
    arrived = [line for line in played.server.splitlines() if " <= " in line]
    assert len(arrived) == len(played.mails)
    assert all("A=plain:unit7" in line or "A=login:unit7" in line for line in arrived)
    assert all(" X=TLS1." in line for line in arrived)


def test_all_that_was_published_keeps_to_the_convention(played: Played) -> None:
    said = [Message(topic, text.encode()) for topic, text in played.published]
    assert len(said) > 300
    found = check_stream((each for each in said if each.topic.startswith("homie/")), flags=False)
    assert [str(each) for each in found] == []
