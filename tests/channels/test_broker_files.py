"""The broker's configuration and access list in deploy/, on a real broker: who may do what."""

import json
import ssl
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.channels import event, homie
from relayd.channels.brokers import Brokers
from relayd.core.events import ChannelUp
from relayd.core.plan import Plan
from relayd.rig import Broker, Secret
from relayd.settings import load_away
from relayd.simulate import Simulation
from tests.channels.test_brokers import Memory, none
from tests.channels.watcher import Posted, Watcher
from tests.house.tree import ROOT
from tests.servers.broker import Mosquitto
from tests.servers.certificates import Authority

pytestmark = pytest.mark.slow
BROKER = ROOT / "deploy" / "broker"
WALL = 1_800_000_000 * 1_000_000_000
USERS = ("plant-7", "viewer", "hub", "plant-8")


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    return Authority(tmp_path)


@pytest.fixture
def server(tmp_path: Path, authority: Authority) -> Iterator[Mosquitto]:
    """The configuration of deploy/ with this machine's files and port in it."""
    shows = authority.issue("broker")
    passwords = tmp_path / "relayd.passwords"
    passwords.touch(mode=0o600)
    for each in USERS:
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), each, f"{each}-pw"], check=True)
    access = tmp_path / "relayd.access"
    access.write_text((BROKER / "access").read_text())
    access.chmod(0o600)
    text = (BROKER / "broker.conf").read_text()
    for there, here in (
        ("/etc/mosquitto/certs/authority.pem", authority.file),
        ("/etc/mosquitto/certs/broker.pem", shows.certificate),
        ("/etc/mosquitto/certs/broker.key", shows.key),
        ("/etc/mosquitto/relayd.passwords", passwords),
        ("/etc/mosquitto/relayd.access", access),
        ("/var/lib/mosquitto/", f"{tmp_path}/"),
    ):
        assert there in text
        text = text.replace(there, str(here))
    assert "listener 8883\n" in text
    made = Mosquitto(tmp_path, [])
    made.configure(text.replace("listener 8883", f"listener {made.port} 127.0.0.1"))
    made.start()
    yield made
    made.kill()


@pytest.fixture
def plan() -> Plan:
    return load_away(ROOT / "deploy" / "plan.integrator.toml", wall=WALL).plan


def watcher(server: Mosquitto, authority: Authority, user: str, *filters: str) -> Watcher:
    context = ssl.create_default_context(cafile=authority.file)
    return Watcher(server.port, (user, f"{user}-pw"), context, filters or ("homie/5/#",))


def told(server: Mosquitto, authority: Authority, plan: Plan, user: str) -> tuple[Broker, Plan]:
    password = Secret(f"{user}-pw")
    broker = Broker("localhost", server.port, user=user, password=password, ca=authority.file)
    return replace(broker, commands=True), plan


def test_the_unit_of_the_plan_shows_all_and_is_not_refused_anything(
    server: Mosquitto, authority: Authority, plan: Plan
) -> None:
    rig = load_away(ROOT / "deploy" / "plan.integrator.toml", wall=WALL).rig
    broker, _ = told(server, authority, plan, "plant-7")
    posted, simulated = Posted(), Simulation(plan, WALL)
    tree = homie.tree(simulated.state, plan, simulated.now)
    made = Brokers(posted, [broker], plan, Memory(), none, rig.announcements)
    made.show(tree)
    made.start()
    try:
        posted.awaited(ChannelUp)
        with watcher(server, authority, "viewer", "homie/5/#", "hub/#") as reader:
            reader.until(lambda: tree.items() <= reader.tree.items(), "the whole tree")
            announced = {each.topic for each in rig.announcements}
            reader.until(lambda: announced <= reader.tree.keys(), "announced")
            for each in rig.announcements:
                named = json.loads(each.payload).get("state")
                assert named is None or named in reader.tree, "it names a topic that there is"
    finally:
        made.stop()


def test_another_unit_and_a_viewer_write_nothing_and_a_hub_commands_only(
    server: Mosquitto, authority: Authority
) -> None:
    topics = {
        "homie/5/plant-7/$state": set[str](),
        "homie/5/plant-7-plant/level/says": set[str](),
        event.topic("plant-7"): set[str](),
        "homie/5/plant-7/commands/acknowledge/set": {"hub"},
        event.replay_topic("plant-7"): {"hub"},
        "homie/5/plant-8/$state": set[str](),
    }
    seen: dict[str, set[str]] = {topic: set() for topic in topics}
    # Whoever sees all of it is the unit itself and the viewer, each as far as it may.
    own = ("homie/5/plant-7/commands/+/set", event.replay_topic("plant-7"))
    with (
        watcher(server, authority, "viewer", "homie/5/#", "relayd/+/events") as reader,
        watcher(server, authority, "plant-7", *own) as unit,
    ):
        for user in ("viewer", "hub", "plant-8"):
            with watcher(server, authority, user, "homie/5/nothing") as sender:
                for topic in topics:
                    sender.send(f"from {user}", topic=topic)
        with watcher(server, authority, "hub", "homie/5/nothing") as last:
            last.send("the last", topic="homie/5/plant-7/commands/horn-wire/set")
        unit.until(lambda: any(text == "the last" for _, text in unit.came), "at the end")
        for topic, text in (*reader.came, *unit.came):
            if topic in seen:
                seen[topic].add(text.removeprefix("from "))
    assert seen == topics
