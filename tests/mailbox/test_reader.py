"""What a reader promises, held to a real server and to the one of the tests."""

from collections.abc import Iterator

import pytest

from relayd.rig import Secret
from tests.mailbox.mails import answer
from tests.mailbox.reading import reading
from tests.servers.imap import ImapServer, dovecot
from tests.servers.told_imap import ToldImap

needs_dovecot = pytest.mark.skipif(
    dovecot() is None, reason="no Dovecot here, or not as root (Debian: dovecot-imapd)"
)
pytestmark = pytest.mark.slow
Server = ImapServer | ToldImap


@pytest.fixture(params=["told", pytest.param("dovecot", marks=needs_dovecot)])
def server(request: pytest.FixtureRequest) -> Iterator[Server]:
    made: Server = ToldImap() if request.param == "told" else ImapServer()
    with made as running:
        yield running


def test_it_looks_and_says_so_and_ends_when_its_input_is_closed(server: Server) -> None:
    with reading(server.box()) as reader:
        assert reader.says() == {"ready": True, "idle": True}
        assert reader.says()["at"][1] == 0
        reader.order({"ping": 4})
        assert reader.says() == {"beat": 4}
        assert reader.parts() == 0


def test_what_came_before_the_first_look_is_left_alone(server: Server) -> None:
    server.put(answer("seen", id="<old@example.org>"))
    with reading(server.box()) as reader:
        assert [reader.says(), reader.says()["at"][1]] == [{"ready": True, "idle": True}, 1]


def test_a_mail_that_comes_is_told_once_with_its_number(server: Server) -> None:
    with reading(server.box()) as reader:
        reader.says()
        validity = reader.says()["at"][0]
        server.put(answer("taken 14:00", code="k7m2p9xd"))
        assert reader.says() == {"looking": [validity, 1]}
        said = reader.says()
        assert said["uid"] == [validity, 1]
        assert said["mail"]["line"] == "taken 14:00"
        assert said["mail"]["codes"] == ["k7m2p9xd"]
        assert said["mail"]["sender"] == "anna@example.org"
        server.put(answer("seen"))
        assert reader.says() == {"looking": [validity, 2]}


def test_it_goes_on_behind_the_mail_that_was_done(server: Server) -> None:
    with reading(server.box()) as reader:
        reader.says()
        validity = reader.says()["at"][0]
    for words in ("one", "two", "three"):
        server.put(answer(words))
    with reading(server.box(), (validity, 1)) as reader:
        assert [reader.mail()["mail"]["line"] for _ in range(2)] == ["two", "three"]


def test_a_mailbox_that_is_numbered_anew_is_read_again(server: Server) -> None:
    server.put(answer("one"))
    with reading(server.box(), (99, 40)) as reader:
        assert reader.mail()["mail"]["line"] == "one"


def test_a_wrong_password_is_told_without_showing_it(server: Server) -> None:
    with reading(server.box(password=Secret("wrong-password"))) as reader:
        said = reader.says()
        assert said["trouble"].startswith("it refuses the login: ")
        assert "wrong-password" not in said["trouble"]
        assert reader.process.wait(20) == 1


def test_a_folder_that_is_not_there_is_told(server: Server) -> None:
    with reading(server.box(folder="Elsewhere")) as reader:
        assert reader.says()["trouble"].startswith("it refuses the folder: ")


def test_the_begin_of_a_mail_of_100_mb_is_enough(server: Server) -> None:
    with reading(server.box()) as reader:
        reader.says(), reader.says()
        server.put(answer("seen", code="k7m2p9xd") + b"x" * 100_000_000)
        assert reader.mail()["mail"]["line"] == "seen"


@needs_dovecot
@pytest.mark.parametrize("secure", ["tls", "starttls"])
def test_the_server_s_certificate_is_checked(secure: str) -> None:
    with ImapServer() as server:
        port = server.tls_port if secure == "tls" else server.port
        with reading(server.box(secure=secure, port=port)) as reader:
            assert reader.says()["ready"] is True
        with reading(server.box(secure=secure, port=port, ca=None)) as reader:
            assert "certificate is not good" in reader.says()["trouble"]
        with reading(server.box(secure=secure, port=port, host="127.0.0.1")) as reader:
            assert "certificate is not good" in reader.says()["trouble"]


def test_a_login_by_words_is_quoted_and_one_that_is_forbidden_is_not_tried() -> None:
    with ToldImap(can=b"") as server, reading(server.box()) as reader:
        assert reader.says() == {"ready": True, "idle": True}
    with ToldImap(can=b" LOGINDISABLED") as server, reading(server.box()) as reader:
        assert "takes no password" in reader.says()["trouble"]
        assert server.asked == [b"CAPABILITY"]


def test_without_idle_it_looks_now_and_then() -> None:
    with ToldImap(idle=False) as server, reading(server.box()) as reader:
        assert reader.says() == {"ready": True, "idle": False}
        reader.says()
        reader.order({"ping": 1})
        assert reader.says() == {"beat": 1}
        assert not any(each.startswith(b"IDLE") for each in server.asked)
        server.put(answer("seen"))
        reader.order({"ping": 2})  # it looks again whenever it wakes
        assert reader.mail()["mail"]["line"] == "seen"


def test_nothing_in_the_mailbox_is_changed() -> None:
    with ToldImap() as server, reading(server.box()) as reader:
        reader.says(), reader.says()
        server.put(answer("seen"))
        reader.mail()
        allowed = (b"CAPABILITY", b"AUTHENTICATE", b"EXAMINE", b"UID SEARCH", b"UID FETCH", b"IDLE")
        assert [each for each in server.asked if not each.startswith(allowed)] == []
        assert all(b"PEEK" in each for each in server.asked if b"FETCH" in each)
