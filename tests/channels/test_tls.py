"""Certificates against a real broker: what is wrong with one is said in words that tell what to mend."""

import ssl
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from relayd.channels import reasons
from relayd.core.events import ChannelDown, ChannelUp
from relayd.demo.broker import embedded, free_port
from relayd.rig import Broker
from tests.channels.client import QUIET, unit
from tests.channels.watcher import Posted, Watcher
from tests.servers.broker import Mosquitto
from tests.servers.certificates import Authority, Pair

# paho leaves the socket of a failed handshake to the garbage collector.
pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("certificates")


@pytest.fixture(scope="module")
def authority(house: Path) -> Authority:
    return Authority(house)


@pytest.fixture
def stop() -> Iterator[list[Mosquitto]]:
    running: list[Mosquitto] = []
    yield running
    for each in running:
        each.kill()


def serving(folder: Path, stop: list[Mosquitto], ca: Path, shows: Pair, *more: str) -> Mosquitto:
    """A broker that shows this certificate."""
    files = [f"cafile {ca}", f"certfile {shows.certificate}", f"keyfile {shows.key}"]
    server = Mosquitto(folder, ["allow_anonymous true", *files, *more])
    server.start()
    stop.append(server)
    return server


def reached(server: Mosquitto, **more: object) -> Broker:
    return replace(Broker("localhost", server.port), **more)  # type: ignore[arg-type]


def test_with_its_own_authority_and_both_certificates_the_tree_is_there(
    tmp_path: Path, authority: Authority, stop: list[Mosquitto]
) -> None:
    mine, posted = authority.issue("unit", "unit"), Posted()
    asks = ("require_certificate true",)
    server = serving(tmp_path, stop, authority.file, authority.issue("good"), *asks)
    broker = reached(server, ca=authority.file, certificate=mine.certificate, key=mine.key)
    context = ssl.create_default_context(cafile=authority.file)
    context.load_cert_chain(mine.certificate, mine.key)
    with unit(posted, broker), Watcher(server.port, tls=context) as reader:
        posted.awaited(ChannelUp)
        reader.shows(QUIET)


WRONG = {
    "of an authority that nobody knows": (
        {"of": "stranger"},
        "shows a certificate of an authority that is not known here: ",
    ),
    "that has expired": ({"begins": -30, "ends": -2}, "shows a certificate that has expired ("),
    "whose time has not come, since the unit's clock is behind": (
        {"begins": 2, "ends": 30},
        "shows a certificate that is not valid yet: this unit's clock reads 20",
    ),
    "for another host": (
        {"host": "other.example.org"},
        "shows a certificate for another name than localhost. Check [mqtt] host",
    ),
}


@pytest.mark.parametrize(("how", "says"), WRONG.values(), ids=WRONG)
def test_a_broker_s_certificate(
    tmp_path: Path,
    authority: Authority,
    stop: list[Mosquitto],
    how: dict[str, object],
    says: str,
) -> None:
    how = dict(how)
    issuer = Authority(tmp_path, "stranger") if how.pop("of", None) else authority
    shows = issuer.issue("wrong", **how)  # type: ignore[arg-type]
    server = serving(tmp_path, stop, issuer.file, shows)
    posted = Posted()
    with unit(posted, reached(server, ca=authority.file)) as client:
        why = posted.awaited(ChannelDown).why
        assert client.alive()
    assert f"localhost:{server.port} {says}" in why, why
    print(f"\n{why}")
    assert posted.of(ChannelUp) == []


def test_a_broker_that_wants_a_certificate_of_the_unit_says_so(
    tmp_path: Path, authority: Authority, stop: list[Mosquitto]
) -> None:
    asks = ("require_certificate true",)
    server = serving(tmp_path, stop, authority.file, authority.issue("asks"), *asks)
    posted = Posted()
    with unit(posted, reached(server, ca=authority.file)):
        posted.until(lambda: any("certificate of this unit" in each.why for each in _downs(posted)))
    print(f"\n{_downs(posted)[-1].why}")
    assert "[mqtt] certificate and key_from" in _downs(posted)[-1].why


REFUSED = {
    "of an authority that the broker does not know": ({"of": "stranger"}, "does not know the"),
    "that has expired": ({"begins": -30, "ends": -2}, "has expired: renew it"),
}


@pytest.mark.parametrize(("how", "says"), REFUSED.values(), ids=REFUSED)
def test_the_unit_s_own_certificate_that_is_refused_is_told_with_its_file(
    tmp_path: Path,
    authority: Authority,
    stop: list[Mosquitto],
    how: dict[str, object],
    says: str,
) -> None:
    how = dict(how)
    issuer = Authority(tmp_path, "stranger") if how.pop("of", None) else authority
    mine = issuer.issue("mine", "unit", **how)  # type: ignore[arg-type]
    asks = ("require_certificate true",)
    server = serving(tmp_path, stop, authority.file, authority.issue("asks"), *asks)
    broker = reached(server, ca=authority.file, certificate=mine.certificate, key=mine.key)
    posted = Posted()
    with unit(posted, broker):
        posted.until(lambda: any(says in each.why for each in _downs(posted)))
    why = next(each.why for each in _downs(posted) if says in each.why)
    assert str(mine.certificate) in why
    print(f"\n{why}")


def _downs(posted: Posted) -> list[ChannelDown]:
    return [each for each in posted.events if isinstance(each, ChannelDown)]


def test_a_key_that_does_not_fit_and_a_file_that_is_gone_are_told_before_anything_is_sent(
    tmp_path: Path, authority: Authority, stop: list[Mosquitto]
) -> None:
    mine, other = authority.issue("mine2", "unit"), authority.issue("other", "unit")
    server = serving(tmp_path, stop, authority.file, authority.issue("good2"))
    for key, says in (
        (other.key, "does not fit the certificate"),
        (tmp_path / "no", "cannot be read"),
    ):
        broker = reached(server, ca=authority.file, certificate=mine.certificate, key=key)
        posted = Posted()
        with unit(posted, broker):
            why = posted.awaited(ChannelDown).why
        assert says in why, why
        assert str(key) in why


def test_renewed_files_are_used_at_the_next_connection(
    tmp_path: Path, authority: Authority, stop: list[Mosquitto]
) -> None:
    stranger = Authority(tmp_path, "stranger")
    ca = tmp_path / "ca.pem"
    ca.write_bytes(stranger.file.read_bytes())
    server = serving(tmp_path, stop, authority.file, authority.issue("renewed"))
    posted = Posted()
    with unit(posted, reached(server, ca=ca)):
        assert "authority" in posted.awaited(ChannelDown).why
        ca.write_bytes(authority.file.read_bytes())
        posted.awaited(ChannelUp)


def test_no_tls_where_the_broker_speaks_it_and_tls_where_it_does_not(
    tmp_path: Path, authority: Authority, stop: list[Mosquitto]
) -> None:
    secure = serving(tmp_path, stop, authority.file, authority.issue("tls"))
    posted = Posted()
    with unit(posted, reached(secure)):
        assert "It may want TLS: check [mqtt] port and tls" in posted.awaited(ChannelDown).why
    (tmp_path / "plain").mkdir()
    plain = Mosquitto(tmp_path / "plain", ["allow_anonymous true"])
    plain.start()
    stop.append(plain)
    posted = Posted()
    with unit(posted, reached(plain, ca=authority.file)):
        posted.until(lambda: any("Does it speak TLS" in each.why for each in _downs(posted)))


def test_websockets_carry_the_same_and_another_protocol_is_said() -> None:
    """Debian's mosquitto opens no websockets here, so the broker is one inside Python."""
    port, posted = free_port(), Posted()
    with embedded(port, "ws"):
        broker = Broker("127.0.0.1", port, "3.1.1", transport="websockets")
        with unit(posted, broker) as client:
            posted.awaited(ChannelUp)
            assert client.alive()
        posted = Posted()
        with unit(posted, Broker("127.0.0.1", port, "3.1.1")):
            assert "It may want TLS: check [mqtt] port and tls" in posted.awaited(ChannelDown).why


def test_what_paho_calls_the_broker_s_complaint_is_known_by_its_name() -> None:
    """The names of TLS alerts: RFC 8446, section 6.2."""
    broker = Broker("b.example.org", 8883, certificate=Path("/u.pem"), key=Path("/u.key"))
    said = "[SSL: TLSV1_ALERT_UNKNOWN_CA] tlsv1 alert unknown ca (_ssl.c:2578)"
    assert reasons.unanswered("x", said, broker) == (
        "the broker does not know the authority of this unit's certificate /u.pem",
        True,
    )
