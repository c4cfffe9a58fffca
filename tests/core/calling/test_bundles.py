"""Many messages to one person: three by themselves, then one that names them all; after an outage too."""

import re
from dataclasses import replace
from itertools import pairwise

import pytest

from relayd.core.calling import bundles
from relayd.core.calling.bundles import PAUSE, WITHIN
from relayd.core.calling.outbox import OPEN
from relayd.core.events import AnswerUnused, HornWire, Unused, Wire
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import HOUR, MINUTE, SECOND, CallList, Means, Panel, Plan, Step
from relayd.core.saying.gsm7 import ONE_MESSAGE, septets
from relayd.core.state import Notice, NoticeKind
from tests.core.build import contact, panel as panel_of, plan_of
from tests.core.world import World


def many(panels: int, *means: Means) -> Plan:
    """So many panels with those contacts each; Anna and Ben hear of everything at once."""
    made: list[Panel] = []
    for number in range(panels):
        name = f"tank-{number:02}"
        inputs = (contact(each, panel=name) for each in means or (Means.HIGH_LEVEL,))
        made.append(panel_of(name, *inputs))
    once = CallList("night", (Step(0, ("anna", "ben")),), repeat=2 * HOUR, slow=2 * HOUR)
    return replace(plan_of(*made), call_lists={"night": once})


def started(plan: Plan, *deaf: str) -> World:
    return World(plan, deaf=set(deaf)).start().run(10)


def rise(world: World, *panels: int, means: Means = Means.HIGH_LEVEL, on: bool = True) -> None:
    for each in panels:
        world.alarm(f"tank-{each:02}.{means.value}", on)


def told(world: World, person: str, since: int = 0) -> list[Notice]:
    """Her notices of which something went out, in the order of their going."""
    refs = list(dict.fromkeys(each.ref for each in world.tells(since)))
    by_ref = {f"creek-1.k3f9ab.{each.id}": each for each in world.notices()}
    return [by_ref[ref] for ref in refs if by_ref[ref].person == person]


# The burst rule


def test_three_go_by_themselves_and_the_rest_in_one_message_that_names_each() -> None:
    world = started(many(8))
    rise(world, *range(8))
    world.run(13)
    singles, (bundle,) = told(world, "anna")[:3], told(world, "anna")[3:]
    assert [each.kind for each in singles] == [NoticeKind.RAISED] * 3
    assert bundle.kind is NoticeKind.DIGEST
    assert bundle.title == "5 messages, 5 of high alarms - Creek"
    for number in range(3, 8):
        assert (
            len(re.findall(rf"High level, Panel tank-{number:02}, .*\[creek-1", bundle.long)) == 1
        )
    assert "Use no water." in bundle.long
    assert bundle.long.count("! Do not open or stand on the tank's lid") == 1
    assert septets(bundle.short) <= ONE_MESSAGE


def test_word_of_answers_that_were_not_used_makes_no_call_wait() -> None:
    world = started(many(8))
    rise(world, 0)
    world.run(90)
    for _ in range(6):  # as a stranger can cause, who writes in her name
        world.give(AnswerUnused("mailbox", Unused.UNKNOWN, "x", "anna"))
    rise(world, 1)
    world.run(13)
    went = [each.subject for each in told(world, "anna") if each.kind is NoticeKind.RAISED]
    assert went == ["panel:tank-00", "panel:tank-01"]


def test_each_alarm_of_a_bundle_can_be_answered_by_its_number() -> None:
    world = started(many(5))
    rise(world, *range(5))
    world.run(13)
    bundle = told(world, "ben")[-1]
    assert "To take one: relayd ack NUMBER --by ben (on the unit)." in bundle.long
    numbers = re.findall(r"\[(creek-1\.k3f9ab\.\d+)\]", bundle.long)
    occurrences = {
        f"creek-1.k3f9ab.{world.open_alarm(subject=f'panel:tank-{each:02}').occurrence}"
        for each in (3, 4)
    }
    assert set(numbers) == occurrences


def test_bundles_are_half_a_minute_apart_and_hold_what_came_meanwhile() -> None:
    world = started(many(30))
    for number in range(30):
        rise(world, number)
        world.run(4)
    world.run(60)
    bundles = [each for each in told(world, "anna") if each.kind is NoticeKind.DIGEST]
    times = [each.made.up for each in bundles]
    assert len(times) >= 3
    assert all(later - earlier >= PAUSE for earlier, later in pairwise(times))
    named = set(re.findall(r"Panel tank-(\d\d), behind", "".join(each.long for each in bundles)))
    alone = {each.subject[-2:] for each in told(world, "anna") if each.kind is NoticeKind.RAISED}
    assert named | alone == {f"{each:02}" for each in range(30)}


def test_the_gravest_come_first() -> None:
    world = started(many(8, Means.HIGH_LEVEL, Means.SEAL_LEAK, Means.TANK_LID))
    rise(world, *range(6), means=Means.SEAL_LEAK)
    world.run(5)
    rise(world, 6, 7)
    world.run(60)
    bundle = next(each for each in told(world, "ben") if each.kind is NoticeKind.DIGEST)
    lines = [each for each in bundle.long.splitlines() if re.match(r"\d+\. ", each)]
    names = [each.split(", ")[0].partition(". ")[2] for each in lines]
    assert names == sorted(names, key=["High level", "Seal leak"].index)
    assert len(names) >= 2


def test_what_is_over_before_its_message_goes_is_told_as_over() -> None:
    world = started(many(9, Means.TANK_LID))
    rise(world, *range(9), means=Means.TANK_LID)
    world.run(20)
    rise(world, 8, means=Means.TANK_LID, on=False)
    world.run(200)
    mine = [each.long for each in told(world, "anna") if "tank-08" in each.long]
    assert mine
    assert "Over: " in mine[-1] or "it was there from" in mine[-1]


def test_after_a_quiet_minute_a_message_goes_by_itself_again() -> None:
    world = started(many(6))
    rise(world, 0, 1, 2, 3, 4)
    world.run(WITHIN / SECOND + 15)
    rise(world, 5)
    world.run(11)
    assert told(world, "anna")[-1].kind is NoticeKind.RAISED


def test_what_waits_alone_goes_by_itself() -> None:
    world = started(many(4))
    rise(world, *range(4))
    world.run(13)
    assert [each.kind for each in told(world, "anna")] == [NoticeKind.RAISED] * 4


def test_nothing_that_waits_is_lost_by_a_crash() -> None:
    world = started(many(9))
    rise(world, *range(9))
    world.run(10.5)
    world.crash(1, None, None, None)
    world.start(planned=False)
    world.run(40)
    text = "".join(each.long for each in told(world, "anna"))
    assert {each for each in range(9) if f"Panel tank-{each:02}" in text} == set(range(9))


# After an outage of a way


def test_after_a_day_without_a_way_comes_one_message_with_the_truth_of_now() -> None:
    plan = many(6)
    world = started(plan, "anna.mail")
    rise(world, *range(6))
    world.run(3600)
    rise(world, *range(4), on=False)
    world.run(23 * 3600)
    tried = len([each for each in world.tells() if each.channel == "anna.mail"])
    assert tried < 6 * 24 * 60 / 4, "a way that is down is not hammered"
    began = world.up
    world.deaf.clear()
    world.run(10 * 60)
    after = told(world, "anna", began)
    # Three of the repeats that fall due just then go by themselves; all the rest is in one or two.
    assert 1 <= len(after) <= 5, [each.title for each in after]
    (summary,) = (each for each in after if "This way to you did not work (since" in each.long)
    assert summary.kind is NoticeKind.DIGEST
    for number in (4, 5):
        assert re.search(
            rf"High level, Panel tank-{number:02}, behind the shed, since", summary.long
        )
    assert all(not each.sends or each.person != "anna" for each in world.state.notices.values())


def bundle_owed_while_all_ends(channel: str) -> World:
    """Five overloads at once while a way is down; the message of two of them is owed over it, and
    then all of them are over."""
    world = started(many(5, Means.OVERLOAD), channel)
    rise(world, *range(5), means=Means.OVERLOAD)
    world.run(20)
    rise(world, *range(5), means=Means.OVERLOAD, on=False)
    world.run(4 * 60)
    return world


def test_a_message_that_names_several_and_waited_says_what_is_true_when_it_goes() -> None:
    world = bundle_owed_while_all_ends("anna.mail")
    began = world.up
    world.deaf.clear()
    world.run(10 * 60)
    mails = [each for each in world.tells(began) if each.channel == "anna.mail"]
    assert mails
    assert not [each.title for each in mails if "of high alarms" in each.title]
    assert all(f"tank-{each:02}" in "".join(one.body for one in mails) for each in (3, 4))


def test_after_an_outage_messages_come_in_the_order_of_their_numbers() -> None:
    for pause in (5, 40, 90, 200):
        world = bundle_owed_while_all_ends("ben.mail")
        world.run(pause)
        began = world.up
        world.deaf.clear()
        world.run(10 * 60)
        came = [
            int(each.ref.rpartition(".")[2])
            for each in world.tells(began)
            if each.channel == "ben.mail"
        ]
        assert came == sorted(came), f"after {pause} s: {came}"


def test_one_message_that_is_owed_after_an_outage_goes_as_it_is() -> None:
    world = started(many(1), "anna.mail")
    rise(world, 0)
    world.run(40 * 60)
    began = world.up
    world.deaf.clear()
    world.run(6 * 60)
    assert {each.kind for each in told(world, "anna", began)} == {NoticeKind.RAISED}


@pytest.mark.parametrize("minutes", [1, 30])
def test_other_ways_of_the_same_person_are_not_disturbed(minutes: int) -> None:
    world = started(many(3), "ben.mail")
    rise(world, 0, 1, 2)
    world.run(minutes * MINUTE / SECOND)
    pushes = [each for each in world.tells() if each.channel == "ben.push"]
    world.deaf.clear()
    world.run(10 * 60)
    again = [each for each in world.tells() if each.channel == "ben.push"]
    assert len({each.send for each in again}) - len({each.send for each in pushes}) <= 1


def test_a_bundle_names_what_is_left_undone_at_a_place_once() -> None:
    world = started(many(5, Means.HIGH_LEVEL, Means.LOW_LEVEL))
    world.ask(HornWire("tank-04", Wire.OFF, "a guest"))
    rise(world, *range(5))
    world.run(3)
    rise(world, 4, means=Means.LOW_LEVEL)
    world.run(60)
    text = next(each.long for each in told(world, "anna") if each.kind is NoticeKind.DIGEST)
    assert text.count("Still to be undone: the horn's wire is disconnected") == 1
    assert text.count("! Panel tank-04: The horn's wire hangs loose inside the panel") == 1


# A way that is broken for very long


def owed_over(world: World, channel: str) -> list[Notice]:
    """What is still to go over that channel."""
    return [
        each
        for each in world.state.notices.values()
        if any(send.channel == channel and send.state in OPEN for send in each.sends)
    ]


def stormy_month(world: World, channel: str, days: int) -> int:
    """Eight contacts move for days, all day long; the most that was owed over the channel at once."""
    most = 0
    for hour in range(24 * days):
        for panel in range(8):
            rise(world, panel, means=Means.OVERLOAD, on=(hour + panel) % 3 != 0)
            world.run(20)
        world.run(3600 - 160)
        most = max(most, len(owed_over(world, channel)))
    return most


@pytest.mark.slow
def test_what_is_owed_over_a_way_broken_for_days_is_bounded_and_its_end_tells_what_stands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(bundles, "OWED_AT_MOST", 6)
    world = started(many(9, Means.HIGH_LEVEL, Means.OVERLOAD), "anna.mail")
    rise(world, 8)
    most = stormy_month(world, "anna.mail", days=1)
    high = [each for each in owed_over(world, "anna.mail") if each.kind is NoticeKind.RAISED]
    folded = world.records("messages folded")
    print(f"\nat most {most} owed over one channel, folded {len(folded)} times")
    assert folded
    assert most <= 6 + 1 + 9 * 2
    assert {"high-level"} <= {each.condition for each in high}, "a high alarm is never folded"
    world.deaf.clear()
    back = world.up
    world.run(6 * 60)
    assert owed_over(world, "anna.mail") == []
    mails = [each for each in world.tells(back) if each.channel == "anna.mail"]
    assert any("Panel tank-08" in each.body for each in mails)
    standing = {
        name
        for name, each in world.state.subjects.items()
        if name.startswith("panel:")
        for alarm in each.alarms.values()
        if alarm.process in ACTIVE and "anna" in alarm.told
    }
    everything = "\n".join(each.body for each in mails)
    missing = [each for each in standing if f"Panel {each.partition(':')[2]}" not in everything]
    assert missing == []
