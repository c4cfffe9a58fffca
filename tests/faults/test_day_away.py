"""A service that is away for a day of simulated time: little is owed, and its return is one message."""

from dataclasses import replace

from relayd.core.effects import Tell
from relayd.core.plan import HOUR, MINUTE, SECOND, CallList, Step
from relayd.core.state import NoticeKind, SendState
from tests.core.world import LEVEL, World, plan
from tests.story import table
from tests.story.table import Row

AWAY = "a service away for 24 simulated hours"


def a_day_without_mail() -> tuple[World, int]:
    """Ben's mail is away for a day while high level comes and goes hourly; the most that was owed."""
    calls = CallList("night", (Step(0, ("ben",)),))
    world = World(replace(plan(), call_lists={"night": calls})).start().run(10)
    world.deaf.add("ben.mail")
    most = 0
    for _ in range(24):
        for high in (True, False):
            world.alarm(LEVEL, high)
            world.run(30 * 60)
            most = max(most, len(world.state.notices))
    world.alarm(LEVEL)
    world.run(30 * 60)
    return world, most


def test_after_a_day_away_comes_one_message_that_says_what_is_true_now() -> None:
    world, most = a_day_without_mail()
    others = [each for each in world.tells() if each.channel == "ben.push"]
    world.deaf.clear()
    back = world.up
    world.run(10 * 60)
    came = [
        (at, each)
        for at, each in world.effects
        if isinstance(each, Tell) and at > back and each.channel == "ben.mail"
    ]
    mails = [each for _, each in came]
    table.add(
        Row(AWAY, f"meanwhile {len(others)} messages over the other channel"),
        Row(AWAY, f"at most {most} notices owed at once"),
        Row(
            AWAY,
            f"back: {len(mails)} messages within 10 min, the first",
            (came[0][0] - back) / SECOND,
        ),
    )
    assert came[0][0] - back <= 5 * MINUTE
    # What was tried first is one of those owed; then all the rest is one message.
    assert len(mails) <= 3
    assert any("did not work" in each.body for each in mails)
    assert any("high level" in each.body.lower() for each in mails)
    assert not any(
        send.state is SendState.OWED for each in world.state.notices.values() for send in each.sends
    )


def test_the_other_channel_hears_everything_in_its_order() -> None:
    world, _ = a_day_without_mail()
    raised = [each.made.up for each in world.notices(NoticeKind.RAISED)]
    over = [each.made.up for each in world.notices(NoticeKind.STAND_DOWN) if each.occurrence]
    assert len(world.records("raised")) >= 25
    pushed = [at for at, each in world.effects if getattr(each, "channel", "") == "ben.push"]
    assert pushed == sorted(pushed)
    taken = [each for each in world.records("send taken") if each.body["channel"] == "ben.push"]
    assert len(taken) == len(pushed) >= len(set(raised)) // 2
    assert over
    assert world.up > 24 * HOUR
