"""Begin again with another plan: what is gone is withdrawn and said, what is new is watched."""

from dataclasses import replace

from relayd.core.events import Act, Started, TimePassed
from relayd.core.plan import HOUR, MINUTE, CallList, Person, Plan, Step
from relayd.core.state import NoticeKind, SendState
from tests.core.world import CIRCUIT, LEVEL, World, circuit_input, high, level_input, plan


def without(base: Plan, person: str) -> Plan:
    """The plan after that person is gone."""
    people = {name: each for name, each in base.people.items() if name != person}
    left = next(iter(people))
    return replace(
        base,
        people=people,
        channels={name: who for name, who in base.channels.items() if who != person},
        call_lists={"night": CallList("night", (Step(0, (left,)),))},
    )


def test_an_alarm_of_a_panel_that_is_gone_is_withdrawn_and_told_to_those_told() -> None:
    world = high()
    world.run(9 * 60)
    world.alarm(CIRCUIT)
    world.run(20)
    world.crash(5, None, None, replace(plan(), panels={}))
    began = world.up
    world.give(Started(planned=True))
    assert "panel:cabin" not in world.state.subjects
    gone = {each.body["condition"] for each in world.records("alarm withdrawn")}
    assert gone == {"high-level", "alarm-power"}
    told = [(each.person, each.condition) for each in world.notices(NoticeKind.STAND_DOWN)]
    assert ("anna", "high-level") in told
    assert ("ben", "high-level") in told
    for each in world.notices(NoticeKind.STAND_DOWN):
        assert "no longer in the plan" in each.long
        assert "No longer in the plan" in each.short
        assert "panel cabin" in each.short
        assert "is on again" not in each.long
        assert "The water stands" not in each.long
    assert world.up == began


def test_an_alarm_of_an_input_that_is_gone_is_withdrawn_and_the_panel_stays() -> None:
    world = high()
    world.alarm(CIRCUIT)
    world.run(20)
    assert world.process("alarm-power") == "UNACK"
    world.restart(plan=plan(level_input()), high_level=True)
    world.run(60)
    assert "alarm-power" not in world.state.subjects["panel:cabin"].alarms
    assert world.process("high-level") == "UNACK"
    over = world.notices(NoticeKind.STAND_DOWN)
    assert {each.condition for each in over} == {"alarm-power"}
    assert "no longer in the plan" in over[0].long


def test_an_alarm_that_had_returned_goes_without_a_word() -> None:
    world = high()
    world.alarm(LEVEL, False)
    world.run(90)
    before = len(world.notices())
    world.restart(plan=plan(circuit_input()))
    assert "high-level" not in world.state.subjects["panel:cabin"].alarms
    assert len(world.notices()) == before


def test_a_person_who_is_gone_is_told_nothing_more_and_stops_nobody_else() -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    world.run(60)
    world.ack("anna")
    world.run(8 * 60)
    world.restart(plan=without(plan(), "anna"), high_level=True)
    began = world.up
    world.run(7200)
    assert {who for _, who, _ in world.told(began)} == {"ben"}
    assert world.records("fault in relayd") == []
    assert "anna" not in world.open_alarm().told
    assert all(each.person == "ben" for each in world.state.notices.values())


def test_what_was_owed_to_a_person_who_is_gone_is_withdrawn_with_its_reason() -> None:
    world = high(deaf=frozenset({"anna.mail"}))
    world.run(20)
    owed = next(iter(world.state.notices))
    world.restart(plan=without(plan(), "anna"), high_level=True)
    assert owed not in world.state.notices
    assert world.made[owed].sends[0].state is SendState.WITHDRAWN
    assert world.made[owed].sends[0].detail == "the plan no longer has this person"


def test_who_had_it_and_is_gone_has_it_no_longer() -> None:
    world = high()
    world.run(9 * 60)
    world.ack("ben", within=12 * HOUR)
    assert world.process("high-level") == "ACKED"
    world.crash(5, None, None, without(plan(), "ben"))
    began = world.up
    world.start(planned=True, high_level=True)
    assert world.process("high-level") == "UNACK"
    assert world.open_alarm().taken is None
    assert {who for _, who, _ in world.told(began)} == {"anna"}


def test_a_channel_that_is_gone_takes_no_other_way_from_its_person() -> None:
    base = plan()
    world = high(deaf=frozenset({"ben.mail", "ben.push"}))
    world.run(9 * 60)
    ben = replace(base.people["ben"], channels=("ben.mail",))
    channels = {name: who for name, who in base.channels.items() if name != "ben.push"}
    world.restart(
        plan=replace(base, people={**base.people, "ben": ben}, channels=channels), high_level=True
    )
    mine = [each for each in world.state.notices.values() if each.person == "ben"]
    assert [(send.channel, send.state) for send in mine[0].sends] == [
        ("ben.mail", SendState.OUT),
        ("ben.push", SendState.WITHDRAWN),
    ]
    world.deaf.clear()
    world.run(120)
    assert [each for each in world.state.notices.values() if each.person == "ben"] == []


def test_a_failing_channel_that_is_gone_is_no_alarm_any_more() -> None:
    base = plan()
    world = high(deaf=frozenset({"ben.mail"}))
    world.run(20 * 60)
    assert world.process("channel-failing", "channel:ben.mail") == "UNACK"
    ben = replace(base.people["ben"], channels=("ben.push",))
    channels = {name: who for name, who in base.channels.items() if name != "ben.mail"}
    world.restart(
        plan=replace(base, people={**base.people, "ben": ben}, channels=channels), high_level=True
    )
    assert "channel:ben.mail" not in world.state.subjects


def test_a_shorter_call_list_goes_on_with_its_repeats() -> None:
    world = high()
    world.run(7 * 60)
    short = replace(plan(), call_lists={"night": CallList("night", (Step(0, ("ben",)),))})
    world.restart(plan=short, high_level=True)
    began = world.up
    world.run(3600)
    assert world.told(began)[0][1] == "ben"


def test_a_new_panel_begins_to_be_watched() -> None:
    empty = replace(plan(), panels={})
    world = World(empty)
    world.give(Started(planned=True))
    world.restart(plan=plan(), high_level=True)
    world.run(11)
    assert world.process("high-level") == "UNACK"


def test_a_changed_text_that_waited_is_told_after_the_restart() -> None:
    world = high()
    world.run(60)
    world.alarm(CIRCUIT)
    world.run(5)
    assert world.open_alarm().update is not None
    due = world.open_alarm().update
    world.restart(5, high_level=True, alarm_power=False)
    assert world.open_alarm().update == due
    world.give(TimePassed())
    world.run(70)
    assert [each.person for each in world.notices(NoticeKind.UPDATE)] == ["anna"]


def test_a_person_new_in_the_call_list_is_told_at_the_next_repeat() -> None:
    base = plan()
    world = high()
    cora = Person("cora", "Cora", ("cora.call",), responds=True)
    wider = replace(
        base,
        people={**base.people, "cora": cora},
        channels={**base.channels, "cora.call": "cora"},
        call_lists={"night": CallList("night", (Step(0, ("anna",)), Step(3 * MINUTE, ("cora",))))},
    )
    world.restart(plan=wider, high_level=True)
    world.run(3 * 60)
    assert "cora" in world.open_alarm().told
    world.ack("cora", Act.TAKEN)
    assert world.process("high-level") == "ACKED"
