"""The daemon's side: it says when nobody looks, starts the reader anew, and leaves out what kills it."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from relayd.channels.patience import Pace
from relayd.core.effects import Answer
from relayd.core.events import AnswerUnused, ChannelDown, ChannelUp, Commanded, Unused
from relayd.core.plan import SECOND
from relayd.mailbox.answers import Answers
from relayd.mailbox.keeper import COMMAND, Keeper
from relayd.mailbox.memory import Progress
from relayd.rig import Mailbox, Secret
from tests.answering.afar import SENDERS, Afar, Kept
from tests.channels.posted import Posted
from tests.mailbox.mails import answer
from tests.servers.told_imap import ToldImap

pytestmark = pytest.mark.slow
QUICK = Pace(ping=SECOND // 10, first=SECOND // 100, longest=SECOND // 20, parting=SECOND)


class Keeping:
    """A keeper of a mailbox, what it posts, and what it keeps."""

    def __init__(self, box: Mailbox, command: tuple[str, ...] = COMMAND, kept: Kept | None = None):
        self.afar, self.posted = Afar(), Posted()
        self.kept = kept or Kept()
        self.progress = Progress(self.kept)
        afar = self.afar
        answers = Answers(afar.plan, SENDERS, afar.proving, self.posted, afar.world.now)
        self.keeper = Keeper(self.posted, box, answers, self.progress, command, QUICK)

    def of(self, kind: type) -> list[object]:
        return [each for each in self.posted.events if isinstance(each, kind)]

    def awaited(self, kind: type, count: int = 1) -> object:
        self.posted.until(lambda: len(self.of(kind)) >= count)
        return self.of(kind)[count - 1]


@contextmanager
def keeping(
    box: Mailbox, command: tuple[str, ...] = COMMAND, kept: Kept | None = None
) -> Iterator[Keeping]:
    made = Keeping(box, command, kept)
    made.keeper.start()
    try:
        yield made
    finally:
        made.keeper.stop()
        assert not made.keeper.alive()


def says(*lines: str) -> tuple[str, ...]:
    """A reader that says these lines and ends."""
    code = "import sys; sys.stdin.readline(); " + "; ".join(f"print({line!r})" for line in lines)
    return (sys.executable, "-c", code)


NOWHERE = Mailbox("127.0.0.1", 9, "answers", Secret("pass-word"), "none")


def test_a_mail_becomes_a_command_and_is_done_when_the_core_has_answered() -> None:
    with ToldImap() as server, keeping(server.box()) as one:
        one.awaited(ChannelUp)
        server.put(answer("taken 2 h", code=one.afar.code()))
        command = one.awaited(Commanded)
        assert isinstance(command, Commanded)
        assert (command.by, command.way) == ("anna", "mailbox")
        assert one.progress.since() == (7, 0)
        one.keeper.answer(Answer(command.token, True, "taken", "done"))
        assert one.progress.since() == (7, 1)
        assert one.keeper.alive()


def test_after_a_crash_before_the_answer_the_mail_is_read_again() -> None:
    kept = Kept()
    with ToldImap() as server:
        with keeping(server.box(), kept=kept) as one:
            one.awaited(ChannelUp)
            server.put(answer("taken 2 h", code=one.afar.code(), id="<1@example.org>"))
            one.awaited(Commanded)
        with keeping(server.box(), kept=Kept(dict(kept.texts))) as again:
            again.awaited(Commanded)


def test_a_mail_that_was_answered_is_not_read_again_and_a_copy_is_known() -> None:
    kept = Kept()
    with ToldImap() as server:
        with keeping(server.box(), kept=kept) as one:
            one.awaited(ChannelUp)
            mail = answer("taken 2 h", code=one.afar.code(), id="<1@example.org>")
            server.put(mail)
            command = one.awaited(Commanded)
            assert isinstance(command, Commanded)
            one.keeper.answer(Answer(command.token, True, "taken", "done"))
        with keeping(server.box(), kept=kept) as again:
            again.awaited(ChannelUp)
            server.put(mail)
            unused = again.awaited(AnswerUnused)
            assert isinstance(unused, AnswerUnused)
            assert unused.why is Unused.AGAIN
            assert again.of(Commanded) == []


def test_a_server_that_goes_away_is_told_once_and_comes_back() -> None:
    with ToldImap() as server, keeping(server.box()) as one:
        one.awaited(ChannelUp)
        server.hang_up()
        down = one.awaited(ChannelDown)
        assert down == ChannelDown("mailbox", "the server closed the connection")
        one.awaited(ChannelUp, 2)
        server.put(answer("taken 2 h", code=one.afar.code()))
        one.awaited(Commanded)


def test_a_server_that_is_not_there_is_told_once_however_often_it_is_asked() -> None:
    with keeping(NOWHERE) as one:
        one.awaited(ChannelDown)
        one.posted.watch(lambda: one.keeper._deaths >= 3)
        assert one.of(ChannelDown) == [ChannelDown("mailbox", "Connection refused")]


def test_a_reader_that_is_killed_is_started_anew() -> None:
    import os
    import signal

    with ToldImap() as server, keeping(server.box()) as one:
        one.awaited(ChannelUp)
        pid = one.keeper.pid()
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        down = one.awaited(ChannelDown)
        assert down == ChannelDown("mailbox", "its reader ended with signal 9")
        one.awaited(ChannelUp, 2)
        assert one.keeper.pid() != pid


def test_a_mail_at_which_the_reader_dies_twice_is_left_out() -> None:
    lines = '{"ready": true}', '{"at": [7, 4]}', '{"looking": [7, 5]}'
    with keeping(NOWHERE, says(*lines)) as one:
        unused = one.awaited(AnswerUnused)
        assert isinstance(unused, AnswerUnused)
        assert unused.say == "its reader died at this mail twice; it is left out"
        assert one.progress.since() == (7, 5)


NONSENSE = {
    "no JSON": "hello",
    "another thing": '{"weather": "fine"}',
    "no number": '{"at": [1]}',
    "a number that is none": '{"at": ["x", "y"]}',
    "a mail with more": '{"uid": [7, 1], "mail": {"line": "x", "codes": [], "more": 1}}',
    "a mail with less": '{"uid": [7, 1], "mail": {"codes": []}}',
    "a mail that is none": '{"uid": [7, 1], "mail": {"codes": null}}',
}


@pytest.mark.parametrize("line", NONSENSE.values(), ids=NONSENSE)
def test_a_reader_that_says_nonsense_is_given_up(line: str) -> None:
    with keeping(NOWHERE, says('{"ready": true}', line)) as one:
        down = one.awaited(ChannelDown)
        assert isinstance(down, ChannelDown)
        assert down.why.startswith("its reader says what nobody understands")
        assert one.keeper.alive()


def test_a_reader_that_cannot_be_started_is_told() -> None:
    with keeping(NOWHERE, ("/nowhere/at/all",)) as one:
        down = one.awaited(ChannelDown)
        assert down == ChannelDown(
            "mailbox", "its reader cannot be started: No such file or directory"
        )


def test_no_secret_is_in_what_is_told() -> None:
    lines = '{"trouble": "no login for answers with pass-word"}'
    with keeping(NOWHERE, says(lines)) as one:
        assert one.awaited(ChannelDown) == ChannelDown("mailbox", "no login for *** with ***")


def test_a_reader_that_hangs_is_ended() -> None:
    lines = "import sys, time; print('{\"ready\": true}', flush=True); time.sleep(60)"
    made = Keeping(NOWHERE, (sys.executable, "-c", lines))
    made.keeper._pace = Pace(
        ping=SECOND // 10, answer=SECOND // 2, first=SECOND // 100, longest=SECOND, parting=SECOND
    )
    made.keeper.start()
    down = made.awaited(ChannelDown)
    assert down == ChannelDown("mailbox", "its reader does not answer within 0.5 s")
    made.keeper.stop()


def test_a_mail_that_cannot_be_taken_apart_is_passed_over() -> None:
    lines = (
        '{"ready": true}',
        '{"at": [7, 4]}',
        '{"uid": [7, 5], "unreadable": "it makes no sense"}',
    )
    with keeping(NOWHERE, says(*lines)) as one:
        unused = one.awaited(AnswerUnused)
        assert isinstance(unused, AnswerUnused)
        assert (unused.why, unused.say) == (Unused.UNREADABLE, "it makes no sense")
        assert one.progress.since() == (7, 5)
