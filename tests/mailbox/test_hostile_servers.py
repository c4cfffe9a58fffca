"""A server that lies, floods, trickles or goes away costs one life of the reader, and it says why."""

import socket
from collections.abc import Callable

import pytest

from relayd.mailbox import imap
from relayd.mailbox.imap import Broken, Imap, Refused
from tests.mailbox.reading import reading
from tests.servers.told_imap import ToldImap

pytestmark = pytest.mark.slow
Play = Callable[[socket.socket, bytes, bytes], bool]


def plays(when: bytes, *pieces: bytes, times: int = 1) -> Play:
    """Answer a command that begins so with these bytes, and not at all as it should."""

    def play(line: socket.socket, tag: bytes, command: bytes) -> bool:
        if not command.startswith(when):
            return False
        for _ in range(times):
            for each in pieces:
                line.sendall(each.replace(b"TAG", tag))
        return True

    return play


FAULTS: dict[str, tuple[Play, str]] = {
    "a literal of a gigabyte": (
        plays(b"EXAMINE", b"* OK {1000000000}\r\n"),
        "the server sends a piece of 1000000000 bytes; at most 262144",
    ),
    "a literal of more digits than there is room": (
        plays(b"EXAMINE", b"* OK {999999999999}\r\n"),
        "the server sends a piece of 999999999999 bytes; at most 262144",
    ),
    "a line without an end": (
        plays(b"EXAMINE", b"x" * 65536, times=20),
        "the server sends a line of more than 65536 bytes",
    ),
    "an answer without an end": (
        plays(b"EXAMINE", b"* OK chatter\r\n" * 5000, times=40),
        "the server answers with more than 1048576 bytes",
    ),
    "no numbering": (
        plays(b"EXAMINE", b"* 3 EXISTS\r\nTAG OK done\r\n"),
        "the server gives this folder no UIDVALIDITY and UIDNEXT (RFC 3501)",
    ),
    "a refusal with bytes of all kinds": (
        plays(b"EXAMINE", b"TAG NO \x1b[31mgone\0\xff\r\n"),
        "it refuses the folder: NO ?[31mgone??",
    ),
    "a farewell": (
        plays(b"IDLE", b"+ \r\n* BYE I go\r\n"),
        "the server ends it: * BYE I go",
    ),
    "IDLE that is offered and refused": (plays(b"IDLE", b"TAG NO not now\r\n"), "NO not now"),
}


@pytest.mark.parametrize(("play", "why"), FAULTS.values(), ids=FAULTS)
def test_a_server_that_breaks_its_promises_is_left_and_it_is_said_why(play: Play, why: str) -> None:
    with ToldImap(before=play) as server, reading(server.box()) as reader:
        said = reader.says()
        while "trouble" not in said:
            said = reader.says()
        assert said == {"trouble": why}
        assert reader.process.wait(20) == 1


def test_numbers_that_are_none_are_passed_over() -> None:
    with ToldImap(
        before=plays(b"UID SEARCH", b"* SEARCH 1x -2 \xff 3\r\nTAG OK done\r\n")
    ) as server:
        server.mails += [b"Subject: x\n\nseen"] * 3
        with reading(server.box(), (7, 2)) as reader:
            assert reader.mail()["uid"] == [7, 3]


def test_a_mail_that_is_gone_before_it_is_fetched_says_nothing() -> None:
    with ToldImap(before=plays(b"UID FETCH", b"TAG OK done\r\n")) as server:
        server.mails.append(b"Subject: x\n\nseen")
        with reading(server.box(), (7, 0)) as reader:
            assert reader.mail()["mail"]["line"] == ""


def test_who_is_not_there_is_told() -> None:
    with ToldImap() as server:
        box = server.box()
    with reading(box) as reader:
        assert reader.says() == {"trouble": "Connection refused"}


@pytest.fixture
def ends(monkeypatch: pytest.MonkeyPatch) -> tuple[Imap, socket.socket]:
    """A client whose patience is short, and the server's end of its line."""
    monkeypatch.setattr(imap, "PATIENCE", 0.3)
    ours, theirs = socket.socketpair()
    return Imap(ours), theirs


def test_a_server_that_says_nothing_is_not_waited_for(ends: tuple[Imap, socket.socket]) -> None:
    client, theirs = ends
    with theirs, pytest.raises(Broken, match=r"no answer|takes longer"):
        client.ask(b"NOOP")
    client.close()


def test_bytes_that_trickle_do_not_prolong_a_command(ends: tuple[Imap, socket.socket]) -> None:
    client, theirs = ends
    client._end = 0.0  # its time is over, and one more byte comes
    theirs.sendall(b"* OK")
    with theirs, pytest.raises(Broken, match="takes longer than"):
        client.greeted()
    client.close()


def test_a_greeting_that_is_none_is_refused(ends: tuple[Imap, socket.socket]) -> None:
    client, theirs = ends
    theirs.sendall(b"220 mail ready\r\n")
    with theirs, pytest.raises(Broken, match="it greets with: 220 mail ready"):
        client.greeted()
    client.close()


def test_a_login_that_is_refused_before_its_words_are_sent_is_told() -> None:
    with (
        ToldImap(before=plays(b"AUTHENTICATE", b"TAG BAD not so\r\n")) as server,
        reading(server.box()) as reader,
    ):
        assert reader.says() == {"trouble": "it refuses the login: BAD not so"}


def test_a_text_cannot_leave_its_quotes() -> None:
    assert imap.quoted('a"b\\c\r\nx LOGOUT\0') == b'"a\\"b\\\\cx LOGOUT"'
    assert Refused("x").args == ("x",)
