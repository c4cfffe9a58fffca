"""A started MQTT client for the tests, that is stopped again; and how to tear its connection."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace

from relayd.channels import homie
from relayd.channels.client import Timing
from relayd.channels.mqtt import Mqtt
from relayd.channels.teller import OnSaid
from relayd.core.events import FaultFound
from relayd.rig import Broker
from tests.channels import shown
from tests.channels.watcher import Posted
from tests.servers.broker import Mosquitto

PLAN = shown.plan()
QUIET, HIGH, TAKEN = (
    homie.tree(state, PLAN, shown.NOW) for state in (shown.quiet(), shown.high(), shown.taken())
)
FAST = Timing(will_delay=1, retry_most=1)


def at(server: Mosquitto, version: str = "5", **more: object) -> Broker:
    """How to reach `server`, with commands where the plan allows them."""
    broker = Broker("127.0.0.1", server.port, version, commands=PLAN.remote_commands)
    return replace(broker, **more)  # type: ignore[arg-type]


@contextmanager
def unit(
    posted: Posted,
    broker: Broker,
    tree: Mapping[str, str] | None = QUIET,
    said: set[str] | None = None,
    on_said: OnSaid = lambda topic, stands: None,
    timing: Timing = FAST,
) -> Iterator[Mqtt]:
    """A client at work; `tree` None: nothing to show yet. No block ends with a fault of relayd's own."""
    client = Mqtt(posted, broker, PLAN, shown.UNIT, said, on_said, timing)
    if tree is not None:
        client.show(tree)
    client.start()
    try:
        yield client
    finally:
        client.stop()
        assert not client.alive()
        assert posted.of(FaultFound) == []


def cut(client: Mqtt) -> None:
    """Tear the connection without a word, as a dying machine does."""
    network = client._client
    assert network is not None
    sock = network.socket()
    assert sock is not None
    sock.shutdown(2)  # type: ignore[attr-defined]
