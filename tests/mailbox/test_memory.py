"""How far a mailbox was read: nothing is lost by a crash, and nothing counts twice."""

from relayd.mailbox.memory import IDS, Progress
from tests.answering.afar import Kept


def test_it_begins_where_the_reader_says_and_keeps_that() -> None:
    kept = Kept()
    progress = Progress(kept)
    assert progress.since() is None
    progress.begun((7, 12))
    progress.begun((7, 99))  # it goes on where it was
    assert progress.since() == (7, 12)
    assert Progress(kept).since() == (7, 12)


def test_a_folder_that_is_numbered_anew_begins_anew() -> None:
    progress = Progress(Kept())
    progress.begun((7, 12))
    progress.begun((8, 3))
    assert progress.since() == (8, 3)
    progress.done((9, 1))
    assert progress.since() == (9, 1)


def test_a_mail_that_waits_for_the_core_holds_up_the_mark() -> None:
    kept = Kept()
    progress = Progress(kept)
    progress.begun((7, 0))
    progress.looking((7, 1))
    assert not progress.known("a")
    progress.asked("mailbox:1", (7, 1), "a")
    assert not progress.known("b")
    progress.done((7, 2))
    assert progress.since() == (7, 0)
    crashed = Progress(Kept(dict(kept.texts)))
    assert [crashed.known("a"), crashed.known("b")] == [False, True]
    progress.answered("mailbox:1")
    assert progress.since() == (7, 2)
    assert Progress(kept).known("a")
    progress.answered("mailbox:1")
    assert progress.since() == (7, 2)


def test_the_same_message_is_known_again_for_as_long_as_there_is_room() -> None:
    kept = Kept()
    progress = Progress(kept)
    assert [progress.known("a"), progress.known("a")] == [False, True]
    progress.done((7, 1))
    assert Progress(kept).known("a")
    for number in range(IDS):
        progress.known(str(number))
    assert not progress.known("a")


def test_a_reader_that_dies_between_mails_leaves_nothing_out() -> None:
    progress = Progress(Kept())
    progress.begun((7, 4))
    assert not progress.died()
    progress.looking((7, 5))
    assert not progress.died()
    progress.looking((7, 5))
    assert progress.died()
    assert progress.since() == (7, 5)
    assert not progress.died()
