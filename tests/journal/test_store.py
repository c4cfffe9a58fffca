"""What was committed is there again when the journal is opened anew."""

import itertools
import sqlite3
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings, strategies as st

from relayd.core.effects import Record
from relayd.core.events import Outcome
from relayd.core.state import Notice, Send, SendState, Stamp, State
from relayd.journal import reader
from relayd.journal.store import Journal
from tests.journal.conftest import SOON, Open, numbers, reopened, wait_until_written
from tests.journal.samples import after, notice, now, record, states


def kept(state: State) -> State:
    """What of a state is stored."""
    return replace(state, closed=(), live={})


# Opening


def test_a_new_journal_has_an_epoch_that_the_shell_drew(path: Path, make: Open) -> None:
    journal = make(epoch="q1w2e3")
    assert journal.open() == State(epoch="q1w2e3")
    assert journal.opened.fresh
    journal.close()
    later = make(epoch="zzzzzz")
    assert later.open().epoch == "q1w2e3"
    assert not later.opened.fresh


@pytest.mark.untraced
@pytest.mark.slow
@pytest.mark.timeout(600)
@settings(max_examples=40, deadline=None)
@given(st.lists(states(), min_size=1, max_size=4))
def test_every_commit_survives_reopening(chain: list[State]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "journal.db"
        journal = Journal(path, "unit-1", lambda: "abc123")
        old = journal.open()
        for second, new in enumerate(chain):
            assert journal.commit(old, new, [record(second)], now(second), SOON)
            old = new
        assert journal.close()
        # Notices once closed stay closed: the core gives no number twice.
        gone = {n for each in chain for n in each.notices} - chain[-1].notices.keys()
        again = reopened(path)
        assert kept(again) == kept(replace(chain[-1], notices=once_open(chain)))
        assert not gone & again.notices.keys()
        assert numbers(path) == list(range(len(chain)))


def once_open(chain: list[State]) -> dict[int, Notice]:
    """The last state's notices without those that were closed on the way."""
    closed: set[int] = set()
    for old, new in itertools.pairwise(chain):
        closed |= old.notices.keys() - new.notices.keys()
    return {n: each for n, each in chain[-1].notices.items() if n not in closed}


def test_a_commit_is_on_the_disk_when_it_says_so(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    assert journal.commit(state, after(state, 1), [record(1)], now(), SOON)
    base = sqlite3.connect(path)
    assert base.execute("SELECT value FROM meta WHERE key='counter'").fetchall() == [("1",)]
    base.close()
    assert (journal.backlog(), journal.late()) == (0, "")


def test_a_subject_that_is_gone_is_gone_from_the_file(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    one = after(state, 1)
    two = replace(one, counter=2, subjects={})
    assert journal.commit(state, one, [], now(1), SOON)
    assert journal.commit(one, two, [], now(2), SOON)
    journal.close()
    assert reopened(path) == two


def test_a_notice_that_is_closed_keeps_how_its_sends_ended(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    one = replace(state, counter=12, notices={10: notice(10)})
    taken = replace(notice(10).sends[0], state=SendState.TAKEN, last=Outcome.TAKEN, detail="250 OK")
    two = replace(state, counter=12, closed=(notice(10, taken),))
    assert journal.commit(state, one, [], now(1), SOON)
    assert journal.commit(one, two, [], now(2), SOON)
    journal.close()
    assert reopened(path).notices == {}
    [closed] = reader.notices_of(path, 7)
    [send] = reader.sends_of(path, 10)
    assert closed["closed"] == now(2).wall
    assert (send["state"], send["outcome"], send["detail"]) == ("taken", "taken", "250 OK")


def test_a_notice_made_and_closed_in_one_step_is_written(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    assert journal.commit(state, replace(state, closed=(notice(10),)), [], now(1), SOON)
    assert [each["id"] for each in reader.notices_of(path, 7)] == [10]


def test_the_counter_is_never_below_a_number_in_use(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    one = replace(state, counter=99, notices={98: notice(98, Send(99, "phone"))})
    assert journal.commit(state, one, [], now(1), SOON)
    journal.close()
    base = sqlite3.connect(path)
    base.execute("UPDATE meta SET value='3' WHERE key='counter'")
    base.commit()
    base.close()
    assert reopened(path).counter == 99


def test_the_time_of_the_last_step_alone_is_written_once_a_minute(path: Path, make: Open) -> None:
    journal = make()
    old = journal.open()
    before = journal.transactions
    for second in range(1, 130):
        new = replace(old, stamp=Stamp(second, second, True))
        assert journal.commit(old, new, [], now(second), SOON)
        old = new
    assert journal.transactions - before == 3
    journal.close()
    assert reopened(path).stamp == Stamp(129, 129, True)


def test_what_did_not_change_is_not_written(make: Open) -> None:
    journal = make()
    state = journal.open()
    before = journal.transactions
    assert journal.commit(state, state, [], now(), SOON)
    assert journal.transactions == before


def test_a_record_that_no_database_could_hold_is_written_all_the_same(
    path: Path, make: Open
) -> None:
    journal = make()
    state = journal.open()
    odd = Record("odd \ud800", "unit", {"what": "\ud800\x00", "who": {1, 2}, "inf": float("inf")})
    assert journal.commit(state, state, [odd], now(), SOON)
    [row] = reader.records(path)
    assert row["kind"] == "odd ?"
    assert row["body"] == {"what": "\ud800\x00", "who": "{1, 2}", "inf": float("inf")}


# Beside the state


def test_topics_said_are_remembered(path: Path, make: Open) -> None:
    journal = make()
    journal.open()
    for topic in ("homie/5/a", "homie/5/b", "homie/5/b"):
        journal.said(topic, True)
    journal.said("homie/5/a", False)
    assert journal.said_topics() == {"homie/5/b"}
    assert journal.close()
    again = make()
    again.open()
    assert again.said_topics() == {"homie/5/b"}


def test_a_clean_stop_can_be_noted(path: Path, make: Open) -> None:
    journal = make()
    journal.open()
    assert journal.meta_get("ended") is None
    assert journal.meta_set("ended", "stopped", SOON)
    assert journal.meta_get("ended") == "stopped"
    journal.close()
    again = make()
    again.open()
    assert again.meta_get("ended") == "stopped"


@pytest.mark.parametrize("key", ["epoch", "unit", "counter", "boot", "stamp"])
def test_the_journals_own_keys_cannot_be_set(make: Open, key: str) -> None:
    journal = make()
    journal.open()
    with pytest.raises(ValueError, match="journal's own key"):
        journal.meta_set(key, "x")


def test_a_healthy_journal_says_so(make: Open) -> None:
    journal = make()
    assert not journal.alive()
    journal.open()
    assert journal.probe(SOON) is None
    assert journal.check() is None
    assert journal.alive()
    first = journal.beat()
    assert journal.probe(SOON) is None
    assert journal.beat() >= first > 0


def test_after_closing_nothing_is_promised(make: Open) -> None:
    journal = make()
    state = journal.open()
    assert journal.close()
    assert not journal.alive()
    assert not journal.commit(state, after(state, 1), [], now(), 3600)


def test_closing_writes_what_waits(path: Path, make: Open) -> None:
    journal = make()
    state = journal.open()
    journal.commit(state, after(state, 1), [record(1)], now(), 0)
    assert journal.close()
    assert not path.with_name("journal.db-wal").exists()
    assert numbers(path) == [1]


class Stop(BaseException):
    """Ends a thread as nothing in it may catch."""


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_writer_that_died_is_started_again_with_what_it_had_in_hand(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = make()
    state = journal.open()

    def dies(batch: object) -> None:
        raise Stop

    with monkeypatch.context() as patch:
        patch.setattr(journal, "_write", dies)
        journal.commit(state, after(state, 1), [record(1)], now(), 0)
        assert journal._thread is not None
        journal._thread.join(SOON)
    assert not journal.alive()
    journal.restart()
    wait_until_written(journal)
    assert numbers(path) == [1]


def test_a_fault_of_our_own_in_the_writer_is_said_and_ends_nothing(
    path: Path, make: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    journal = make()
    state = journal.open()

    def fails(batch: object) -> None:
        raise RuntimeError("a fault of our own")

    with monkeypatch.context() as patch:
        patch.setattr(journal, "_write", fails)
        assert not journal.commit(state, after(state, 1), [record(1)], now(), 0.1)
        assert journal.late() == "a fault of our own"
    wait_until_written(journal)
    assert numbers(path) == [1]
    assert journal.late() == ""
