"""The event stream: every record, in order, until the broker has it; and what it says of the rest."""

import json

import pytest

from relayd.channels import event
from relayd.channels.stream import READ_AGAIN, READS_BEFORE_SAID, SEND_AGAIN, WRITE_AFTER
from relayd.core.plan import SECOND
from tests.channels.streaming import (
    BOUND,
    IN_FLIGHT,
    PAGE,
    Book,
    Rig,
    numbers,
    ranges,
    row,
)


@pytest.fixture
def rig() -> Rig:
    """A new journal with three records, and a broker that was never told of it."""
    made = Rig()
    made.book.record(3)
    return made


def cursor(rig: Rig) -> str:
    return rig.book.cursor("mqtt")


def gap(first: int | None, last: int, why: str) -> dict[str, object]:
    return {"from": first, "to": last, "why": why}


def bodies(rig: Rig) -> list[object]:
    return [each.message["body"] for each in rig.wire.came]


def test_a_broker_that_was_told_nothing_gets_all_that_there_is_and_hears_that_it_begins(
    rig: Rig,
) -> None:
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3]
    assert bodies(rig)[0] == gap(None, 0, "begins")
    assert cursor(rig) == "e1:3"


def test_what_comes_later_goes_out_when_it_is_told_of(rig: Rig) -> None:
    rig.drain()
    rig.book.record(2)
    assert not rig.step()
    assert numbers(rig.wire)[-1] == 3
    rig.stream.news()
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3, 4, 5]


def test_a_record_is_told_with_its_times_and_its_facts(rig: Rig) -> None:
    rig.book.rows[1] = row(1, wall=1_772_331_065_250 * 10**6, up=1_234_567_890)
    rig.book.rows[2] = row(2, trusted=False)
    rig.drain()
    assert rig.wire.came[1].message == {
        "v": 1,
        "unit": "pumphouse",
        "epoch": "e1",
        "n": 1,
        "at": "2026-03-01T02:11:05.250Z",
        "boot": "b1",
        "up": 1.235,
        "trusted": True,
        "kind": "tested",
        "subject": "panel:north",
        "body": {"n": 1},
    }
    assert rig.wire.came[2].message["at"] is None


NONSENSE = {
    "a time beyond all calendars": {"wall": 2**63 - 1, "up": "soon"},
    "no body": {"body": None},
    "a body that is a list": {"body": [1]},
    "a number that JSON has not": {"body": {"x": float("nan")}},
    "a kind that is a number": {"kind": 7},
    "no boot": {"boot": None},
}


@pytest.mark.parametrize("broken", NONSENSE.values(), ids=NONSENSE)
def test_a_line_that_makes_no_sense_is_a_gap_and_stops_nothing(
    rig: Rig, broken: dict[str, object]
) -> None:
    rig.book.rows[2] = row(2, **broken)
    rig.drain()
    assert bodies(rig)[1:] == [{"n": 1}, gap(2, 2, "unreadable"), {"n": 3}]


def test_after_a_start_only_what_the_broker_had_not_taken_goes_again(rig: Rig) -> None:
    rig.drain()
    rig.book.record(20)
    rig.stream.news()
    rig.step()
    rig.step()
    rig.wire.take(4)
    rig.stream.stop()
    assert cursor(rig) == "e1:8"
    before = len(rig.wire.came)
    rig.again()
    rig.wire.lose()
    rig.wire.connect()
    rig.drain()
    assert numbers(rig.wire)[before:] == list(range(9, 24))


def test_a_lost_connection_repeats_what_was_in_flight_under_its_numbers(rig: Rig) -> None:
    rig.drain()
    rig.book.record(20)
    rig.stream.news()
    rig.step()
    rig.step()
    assert len(rig.wire.under_way) == IN_FLIGHT - 1
    rig.wire.lose(arrived=5)
    rig.wire.connect()
    rig.stream.begin()
    rig.drain()
    assert numbers(rig.wire)[4:] == [4, *range(5, 10), *range(5, 24)]


def test_at_most_ten_are_in_flight(rig: Rig) -> None:
    rig.book.record(250)
    rig.drain()
    assert rig.wire.most == IN_FLIGHT == 10
    assert numbers(rig.wire) == list(range(254))


def test_at_most_a_page_is_in_memory(rig: Rig) -> None:
    rig.book.record(250)
    rig.may = False
    for _ in range(5):
        rig.step()
    assert len(rig.stream._waiting) == PAGE + 1  # and the gap before it


def test_nothing_goes_out_while_something_else_comes_first(rig: Rig) -> None:
    rig.may = False
    for _ in range(3):
        rig.step()
    assert not rig.wire.under_way
    rig.may = True
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3]


def test_who_is_too_far_behind_hears_what_is_left_out(rig: Rig) -> None:
    rig.drain()
    rig.book.record(BOUND + 7)
    rig.drain()
    assert bodies(rig)[4] == gap(4, 10, "behind")
    assert numbers(rig.wire)[4:] == [10, *range(11, BOUND + 11)]


def test_what_the_journal_does_not_hold_is_a_gap(rig: Rig) -> None:
    rig.drain()
    rig.book.record(9)
    for n in (4, 7, 8):
        del rig.book.rows[n]
    rig.drain()
    assert ranges(rig.wire)[4:] == [(4, 4), (5, 5), (6, 6), (7, 8), *((n, n) for n in range(9, 13))]
    assert bodies(rig)[4] == gap(4, 4, "not-kept")


def test_a_gap_comes_again_until_the_broker_has_it() -> None:
    rig = Rig(fates=("nothing",))
    rig.book.record(3)
    rig.step()
    rig.step()
    assert len(rig.wire.under_way) == 4
    rig.reconnect()
    rig.drain()
    assert bodies(rig)[0] == gap(None, 0, "begins")
    assert numbers(rig.wire) == [0, 1, 2, 3]


OTHERS = {"of another journal": "e0:70", "nonsense": "e1:-3", "empty": "e1:", "no number": "e1:x"}


@pytest.mark.parametrize("kept", OTHERS.values(), ids=OTHERS)
def test_a_cursor_that_is_not_of_this_journal_is_void(kept: str) -> None:
    book = Book(cursors={"mqtt": kept})
    book.record(2)
    rig = Rig(book)
    rig.drain()
    assert (numbers(rig.wire), bodies(rig)[0]) == ([0, 1, 2], gap(None, 0, "begins"))


def test_brokers_have_cursors_of_their_own() -> None:
    book = Book(cursors={"mqtt:far": "e1:2"})
    book.record(2)
    rig = Rig(book)
    rig.drain()
    assert book.cursors == {"mqtt:far": "e1:2", "mqtt": "e1:2"}
    assert numbers(rig.wire) == [0, 1, 2]


def test_a_refused_message_goes_again_after_a_while_and_nothing_before_it(rig: Rig) -> None:
    rig.wire.refusing = True
    rig.drain()
    rig.wire.take(IN_FLIGHT)
    rig.wire.refusing = False
    rig.drain()
    assert (rig.wire.came, cursor(rig)) == ([], "")
    rig.passed(SEND_AGAIN / SECOND)
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3]


def test_after_a_refusal_they_go_one_by_one_until_one_is_taken(rig: Rig) -> None:
    rig.wire.refusing = True
    rig.drain()
    rig.wire.most, rig.time = 0, SEND_AGAIN
    rig.wire.under_way.clear()
    rig.drain()
    assert (rig.wire.most, rig.wire.came) == (1, [])
    rig.wire.refusing, rig.time = False, 2 * SEND_AGAIN
    rig.drain()
    assert rig.wire.most == 3
    assert numbers(rig.wire) == [0, 1, 2, 3]


def test_another_connection_ends_the_pause_after_a_refusal(rig: Rig) -> None:
    rig.wire.refusing = True
    rig.drain()
    rig.wire.refusing = False
    rig.reconnect()
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3]


def test_a_page_that_comes_after_the_connection_changed_is_read_anew(rig: Rig) -> None:
    rig.drain()
    rig.book.record(2)
    rig.stream.news()
    rig.step()
    rig.step()
    rig.wire.take(1)
    rig.disk.stalled = True
    rig.stream.news()
    rig.step()
    rig.reconnect()
    rig.disk.stalled = False
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3, 4, 5]


def test_a_disk_that_stalls_holds_up_nothing_and_is_read_when_it_answers(rig: Rig) -> None:
    rig.disk.stalled = True
    assert not rig.step()
    assert not rig.step()
    rig.disk.stalled = False
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3]


def test_a_journal_that_stays_unreadable_is_said_once_and_read_again(rig: Rig) -> None:
    rig.disk.broken = "I/O error"
    for tries in range(1, 2 * READS_BEFORE_SAID):
        rig.drain()
        assert len(rig.faults) == (tries >= READS_BEFORE_SAID)
        rig.passed(READ_AGAIN / SECOND)
    assert rig.faults == ["events cannot be sent, the journal is not read: I/O error"]
    rig.disk.broken = ""
    rig.drain()
    assert numbers(rig.wire) == [0, 1, 2, 3]


def test_the_cursor_rides_with_what_is_written_anyway(rig: Rig) -> None:
    rig.drain()
    assert rig.book.writes == 0
    rig.passed(WRITE_AFTER / SECOND)
    rig.step()
    assert rig.book.writes == 1
    rig.passed(3600)
    rig.step()
    assert rig.book.writes == 1


def test_while_much_is_sent_the_cursor_is_written_once_a_page(rig: Rig) -> None:
    rig.book.record(247)
    rig.drain()
    assert (rig.book.writes, json.loads(cursor(rig)[3:])) == (2, 250)


# ---- asked for again ----------------------------------------------------------------------------


def test_what_is_asked_for_again_comes_under_its_numbers_after_a_word_about_it() -> None:
    rig = Rig()
    rig.book.record(20)
    rig.drain()
    assert rig.stream.replay(15) == ""
    rig.drain()
    again = rig.wire.came[21:]
    assert [each.n for each in again] == [14, 15, 16, 17, 18, 19, 20]
    assert again[0].message["kind"] == event.REPLAY
    assert again[0].message["body"] == {"from": 15, "to": 20}
    rig.book.record(2)
    rig.drain()
    assert numbers(rig.wire)[-2:] == [21, 22]
    assert rig.book.cursors["mqtt"] == "e1:22"


def test_a_replay_moves_no_cursor_back_and_ends_with_its_connection() -> None:
    rig = Rig()
    rig.book.record(20)
    rig.drain()
    rig.stream.replay(1)
    rig.step()
    rig.reconnect()
    rig.drain()
    assert rig.book.cursors["mqtt"] == "e1:20"
    rig.again()
    rig.drain()
    assert max(numbers(rig.wire)) == 20


def test_one_replay_a_minute_is_enough() -> None:
    rig = Rig()
    rig.passed(3600)
    rig.book.record(5)
    rig.drain()
    assert rig.stream.replay(1) == ""
    assert "ask again in a minute" in rig.stream.replay(1)
    rig.passed(61)
    assert rig.stream.replay(1) == ""


def test_what_has_not_been_sent_yet_is_not_sent_again() -> None:
    rig = Rig()
    rig.book.record(3)
    rig.drain()
    came = len(rig.wire.came)
    assert rig.stream.replay(4) == ""
    rig.drain()
    assert len(rig.wire.came) == came


@pytest.mark.parametrize(
    "payload", [b"", b"12", b"{}", b'{"from": "1"}', b'{"from": 0}', b'{"from": true}',
                b'{"from": 1, "to": 2}', b"\xff", b"[" * 5000],
)  # fmt: skip
def test_a_wish_that_makes_no_sense_is_told_what_to_send(payload: bytes) -> None:
    with pytest.raises(ValueError, match="send the first number that you want again"):
        event.asked_from(payload)


def test_a_wish_is_a_number() -> None:
    assert event.asked_from(b'{"from": 120}') == 120
