"""Logins, certificates, access, another unit of this name, threads: said, and nothing dies."""

import gc
import json
import ssl
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from time import monotonic

import pytest

from relayd.channels.client import Timing
from relayd.channels.mqtt import Mqtt
from relayd.clock import boottime
from relayd.core.effects import Answer
from relayd.core.events import ChannelDown, ChannelUp, FaultFound
from relayd.core.plan import SECOND
from relayd.rig import Broker, Secret
from tests.channels import shown
from tests.channels.client import FAST, HIGH, PLAN, QUIET, at, unit
from tests.channels.watcher import DEADLINE, Posted, Watcher
from tests.servers.broker import Certificates, Mosquitto, mosquitto
from tests.servers.takeover import takeover

pytestmark = pytest.mark.slow
VERSIONS = pytest.mark.parametrize("version", ["5", "3.1.1"])


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Mosquitto]:
    """An open broker."""
    with mosquitto(tmp_path) as running:
        yield running


@pytest.fixture
def posted() -> Posted:
    """Where the client posts to; no test ends with a fault of relayd itself."""
    return Posted()


@VERSIONS
@pytest.mark.parametrize("password", ["right", "wrong", None])
def test_a_login_is_used_and_a_refused_one_says_so_once(
    tmp_path: Path, posted: Posted, version: str, password: str | None
) -> None:
    with mosquitto(tmp_path, login=("relayd", "right")) as server:
        user = "relayd" if password else ""
        broker = at(server, version, user=user, password=Secret(password or ""))
        with unit(posted, broker):
            if password == "right":
                posted.awaited(ChannelUp)
                return
            why = posted.awaited(ChannelDown).why
            who = "user 'relayd'" if user else "a client without a user"
            assert f"refuses the login of {who}" in why
            assert "wrong" not in why
            assert posted.of(ChannelUp) == []


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    """One authority for all tests of this module."""
    return Certificates(tmp_path_factory.mktemp("certificates"))


@VERSIONS
def test_tls_with_an_authority_of_ones_own_and_a_login(
    tmp_path: Path, posted: Posted, version: str, certificates: Certificates
) -> None:
    login = ("relayd", "right")
    with mosquitto(tmp_path, login=login, tls=certificates) as server:
        broker = Broker(
            "localhost", server.port, version, "relayd", Secret("right"), ca=certificates.ca
        )
        context = ssl.create_default_context(cafile=str(certificates.ca))
        with unit(posted, broker), Watcher(server.port, login, context) as reader:
            reader.shows(QUIET)
            posted.awaited(ChannelUp)


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_certificate_of_another_authority_is_refused_and_said(
    tmp_path: Path, posted: Posted, certificates: Certificates
) -> None:
    with mosquitto(tmp_path, tls=certificates) as server:
        broker = Broker("localhost", server.port, tls=True)
        with unit(posted, broker):
            why = posted.awaited(ChannelDown).why
            assert "a certificate of an authority that is not known here" in why
            assert "Check [mqtt] ca" in why
    gc.collect()


# paho leaves the socket of a failed handshake to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_an_authority_file_that_is_missing_is_said_and_nothing_dies(
    tmp_path: Path, posted: Posted
) -> None:
    gone = tmp_path / "gone.pem"
    with mosquitto(tmp_path) as server:
        with unit(posted, Broker("localhost", server.port, ca=gone)) as client:
            why = posted.awaited(ChannelDown).why
            assert client.alive()
    assert (
        why
        == f"the settings of [mqtt] cannot be used: {gone} cannot be read: No such file or directory"
    )


def test_a_broker_that_keeps_nothing_of_ours_is_not_called_up(
    tmp_path: Path, posted: Posted
) -> None:
    with mosquitto(tmp_path, access=["topic read #"]) as server, unit(posted, at(server)):
        why = posted.awaited(ChannelDown).why
        assert "does not keep what this unit publishes" in why
        assert "homie/5/pumphouse/#" in why
        assert posted.of(ChannelUp) == []


# ---- another unit with this name ----------------------------------------------------------------


def test_a_broker_that_says_that_another_came_is_believed_at_once(posted: Posted) -> None:
    with takeover() as server, unit(posted, Broker("127.0.0.1", server.port)) as client:
        posted.until(lambda: bool(posted.of(ChannelDown)))
        why = posted.of(ChannelDown)[0].why
        assert "another unit has this name (pumphouse): the broker gave it our connection" in why
        network = client._client
        assert network is not None
        assert network._reconnect_min_delay == Timing().back_off == 300


def test_a_connection_after_that_must_hold_before_it_is_called_up(posted: Posted) -> None:
    shy = replace(FAST, back_off=1, proving=3600)
    with takeover() as server, unit(posted, Broker("127.0.0.1", server.port), timing=shy) as client:
        posted.awaited(ChannelDown)
        server.hears(b"ready")
        client.show(HIGH)
        server.hears(HIGH["homie/5/pumphouse-cabin/$alert/high-level"].encode())
        kinds = [type(each) for each in posted.events]
        assert kinds in ([ChannelDown], [ChannelUp, ChannelDown])


@VERSIONS
def test_two_units_of_one_name_on_a_broker_that_says_nothing_are_told_of(
    server: Mosquitto, posted: Posted, version: str
) -> None:
    def suspected() -> bool:
        downs = posted.of(ChannelDown)
        return any("another unit may have this name (pumphouse)" in each.why for each in downs)

    few = replace(FAST, short_ones=3, retry_most=30)
    with (
        unit(posted, at(server, version), timing=few),
        unit(posted, at(server, version), timing=few),
    ):
        posted.until(suspected)


# ---- threads ------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_the_beat_goes_on_and_a_dead_thread_is_noticed(server: Mosquitto, posted: Posted) -> None:
    with unit(posted, at(server)) as client:
        posted.awaited(ChannelUp)
        assert client.alive()
        assert boottime() - client.beat() < 10 * SECOND
        network = client._client
        assert network is not None
        thread = network._thread
        assert thread is not None
        network.on_log, network.on_message = None, _broken
        network.suppress_exceptions = False
        with Watcher(server.port) as reader:
            reader.send("x")
        thread.join(DEADLINE)
        assert not client.alive()


def _broken(*_: object) -> None:
    raise RuntimeError("an error that nobody foresaw")


def test_an_error_in_a_callback_is_posted_and_the_client_lives(
    server: Mosquitto, posted: Posted
) -> None:
    client = Mqtt(posted, at(server), PLAN, shown.UNIT, timing=FAST)
    client.start()
    try:
        with Watcher(server.port) as reader:
            client.show(QUIET)
            reader.shows(QUIET)
            client._tickets.take = _broken  # type: ignore[assignment]
            reader.send("true")
            fault = posted.awaited(FaultFound)
            assert (fault.where, "nobody foresaw" in fault.what) == ("mqtt", True)
            client.show(HIGH)
            reader.shows(HIGH)
        assert client.alive()
    finally:
        client.stop()


def test_stop_returns_soon_where_the_broker_takes_nothing(
    server: Mosquitto, posted: Posted
) -> None:
    with unit(posted, at(server)) as client:
        posted.awaited(ChannelUp)
        server.suspend()
        client.show(HIGH)
        began = monotonic()
        client.stop()
        assert monotonic() - began < 7
        server.resume()


def test_a_client_that_was_never_started_can_be_stopped(posted: Posted) -> None:
    client = Mqtt(posted, Broker("localhost", 1), PLAN, shown.UNIT)
    client.stop()
    assert not client.alive()


def test_an_answer_for_somebody_else_is_not_published(server: Mosquitto, posted: Posted) -> None:
    with Watcher(server.port) as reader, unit(posted, at(server)) as client:
        reader.shows(QUIET)
        client.answer(Answer("control:1", True, "seen", "not for the broker"))
        client.answer(Answer("mqtt:1", True, "seen", "for the broker"))
        log = ("homie/5/pumphouse/$log/info", "for the broker")
        reader.until(lambda: log in reader.came, "logged")
        assert [each["say"] for each in reader.answers()] == ["for the broker"]
        assert json.dumps(reader.came).count("not for the broker") == 0
