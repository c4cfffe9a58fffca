"""Which send goes next, and which makes room."""

import pytest

from relayd.channels.turns import A_CHANNEL, AT_MOST, MAKE_ROOM, Job, Running, next_job, to_end


def job(send: int, channel: str, priority: str = "high") -> Job:
    return Job(send, channel, "json://secret.example.org", "title", "body", priority)


def running(*channels: str, since: int = 0) -> list[Running]:
    return [Running(job(100 + n, each), since + n) for n, each in enumerate(channels)]


HUNG = [f"hung{n}" for n in range(AT_MOST)]


@pytest.mark.parametrize(
    ("waiting", "busy", "chosen"),
    [
        pytest.param([], [], None, id="nothing waits"),
        pytest.param([job(1, "a"), job(2, "b")], [], 1, id="the first"),
        pytest.param([job(1, "a", "low"), job(2, "a")], [], 2, id="high before low"),
        pytest.param([job(1, "a", "odd"), job(2, "a", "low")], [], 2, id="unknown priority last"),
        pytest.param([job(1, "a"), job(2, "b", "low")], ["a"], 2, id="a channel without one first"),
        pytest.param([job(1, "a")], ["a"], 1, id="a second one of a channel"),
        pytest.param([job(1, "a")], ["a"] * A_CHANNEL, None, id="not a third one"),
        pytest.param([job(1, "a")], [*HUNG[:3], "a"], None, id="no second one past half"),
        pytest.param([job(1, "z")], HUNG[:7], 1, id="a first one past half"),
        pytest.param([job(1, "z")], HUNG, None, id="no place left"),
    ],
)
def test_the_next_send(waiting: list[Job], busy: list[str], chosen: int | None) -> None:
    found = next_job(waiting, running(*busy))
    assert (found and found.send) == chosen


@pytest.mark.parametrize(
    ("waiting", "busy", "now", "ended"),
    [
        pytest.param("z", HUNG, MAKE_ROOM, 100, id="the oldest makes room"),
        pytest.param("z", HUNG, MAKE_ROOM - 1, None, id="none is slow yet"),
        pytest.param("z", HUNG[:-1], MAKE_ROOM, None, id="there is room"),
        pytest.param("hung0", HUNG, MAKE_ROOM, None, id="only its own channel waits"),
        pytest.param(
            "z", [*HUNG[:-2], "b", "b"], 2 * MAKE_ROOM, 106, id="from the channel with most"
        ),
    ],
)
def test_who_makes_room(waiting: str, busy: list[str], now: int, ended: int | None) -> None:
    found = to_end([job(1, waiting)], running(*busy), now)
    assert (found and found.job.send) == ended


def test_a_job_does_not_show_its_address() -> None:
    assert "secret" not in repr(running("a"))
