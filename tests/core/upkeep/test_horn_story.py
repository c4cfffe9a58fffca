"""The horn story: pulled at night through the breaker, asked, answered, reminded, put back."""

from datetime import UTC, datetime

from relayd.core.events import Wire
from relayd.core.plan import SECOND
from relayd.core.state import HornStanding, NoticeKind
from tests.core.at_panel import (
    CIRCUIT,
    LEVEL,
    A,
    World,
    arrive,
    ends,
    horn_of,
    leave,
    plan,
    settle,
    standing,
    wire,
)

NIGHT = datetime(2026, 11, 24, 1, 59, tzinfo=UTC)


def times(at: World, kind: NoticeKind) -> list[tuple[str, str]]:
    """(time, person) of the notices of that kind."""
    return [
        (
            datetime.fromtimestamp(each.made.wall / SECOND, UTC).strftime("%d %H:%M"),
            each.person,
        )
        for each in at.notices(kind)
    ]


def test_trade_9_the_horn_story_goes_through_the_alarm_circuit() -> None:
    at = World(plan(A))
    at.wall_offset = int(NIGHT.timestamp()) * SECOND - at.up
    at.start().run(60)

    # 02:00 high level; 02:05 the breaker off, the relay drops with it; 02:10 on again.
    at.alarm(LEVEL)
    at.run(300)
    at.alarm(CIRCUIT)
    at.alarm(LEVEL, False)
    at.run(300)
    at.alarm(CIRCUIT, False)
    at.run(2)
    at.alarm(LEVEL)
    at.run(60)
    assert at.process("high-level") == "UNACK", "held while the circuit was off"
    # Ben responds and is asked at once; Anna would be asked when she wakes.
    assert times(at, NoticeKind.QUESTION) == [("24 02:10", "ben")]
    assert list(horn_of(at).asking) == ["anna"]
    assert standing(at) is HornStanding.NOT_KNOWN

    # Ben pulled it, and says so.
    assert wire(at, Wire.OFF, by="ben", why="nobody could sleep") is None
    assert (standing(at), horn_of(at).by) == (HornStanding.DISCONNECTED, "ben")

    # The level falls; those who were told hear that it is over.
    at.run(1800)
    at.alarm(LEVEL, False)
    at.run(300)
    assert at.process("high-level") == "RTNUN"
    over = [each for each in at.notices(NoticeKind.STAND_DOWN) if each.condition == "high-level"]
    assert [each.person for each in over] == ["anna", "ben"]
    assert all("wire" in each.long for each in over), "the stand-down names the wire"

    # Two mornings.
    at.run(36 * 3600)
    assert times(at, NoticeKind.REMINDER) == [("24 09:00", "carla"), ("25 09:00", "carla")]

    # Ben comes back and gets it first; he cannot leave it without an answer.
    assert arrive(at) is None
    assert [who for _, who in times(at, NoticeKind.VISIT)] == ["ben"]
    assert "wire" in at.notices(NoticeKind.VISIT)[0].long
    refused = leave(at)
    assert refused is not None
    assert refused.code == "not-as-it-was"
    assert "horn-wire" in refused.say

    # Back, but not proved: he presses Test and hears it.
    assert wire(at, Wire.BACK, by="ben") is None
    assert set(ends(at)) == set()
    unproved = leave(at)
    assert unproved is not None
    assert "press Test" in unproved.say
    assert settle(at, "horn-unproved") is None
    assert leave(at) is None
    assert standing(at) is HornStanding.PROVED
    at.run(3 * 86400)
    assert len(times(at, NoticeKind.REMINDER)) == 2
