"""A way that many wrong codes come by is locked, that is told with the ways that remain, and they work."""

from relayd.answering.codes import Meant
from relayd.answering.proving import NotProved
from relayd.core.events import Act, ChannelDown, ChannelUp, Unused
from relayd.core.plan import HOUR
from tests.answering.afar import Afar


def locked(way: str = "mailbox") -> Afar:
    """Everything after fifty wrong codes by that way."""
    afar = Afar()
    for number in range(50):
        found = afar.proving.prove(way, f"eve{number}@example.org", [f"b{number:07d}"])
        assert isinstance(found, NotProved)
        assert found.why is Unused.UNKNOWN
    return afar


def test_a_good_code_proves_whose_it_is_and_about_what() -> None:
    afar = Afar()
    found = afar.proving.prove("mailbox", "anna@example.org", ["b0000000", afar.code()])
    assert found == Meant(afar.occurrence, "anna", 0)


def test_a_code_that_serves_is_taken_before_one_that_has_served() -> None:
    afar = Afar()
    old = afar.code()
    first = afar.codes.find(old)
    assert first is not None
    assert afar.proving.serve(first, Act.TAKEN) is None
    assert afar.proving.prove("mqtt", "", [old, afar.code()]) == Meant(afar.occurrence, "anna", 1)
    used = afar.proving.prove("mqtt", "", [old])
    assert isinstance(used, Meant)
    again = afar.proving.serve(used, Act.TAKEN)
    assert again is not None
    assert (again.why, again.meant) == (Unused.SERVED, used)


def test_a_sender_of_five_wrong_codes_waits_and_others_do_not() -> None:
    afar = Afar()
    for number in range(5):
        afar.proving.prove("mailbox", "eve@example.org", [f"b{number:07d}"])
    shut = afar.proving.prove("mailbox", "eve@example.org", [afar.code()])
    assert isinstance(shut, NotProved)
    assert shut.why is Unused.LOCKED
    assert shut.say.endswith("It still goes over MQTT or on the unit (relayd ack)")
    assert isinstance(afar.proving.prove("mailbox", "anna@example.org", [afar.code()]), Meant)
    assert afar.posted == []


def test_a_locked_way_is_posted_and_says_which_others_remain() -> None:
    afar = locked()
    (down,) = afar.posted
    assert isinstance(down, ChannelDown)
    assert down.channel == "answers"
    assert down.why.startswith("50 wrong codes came by mail within an hour: locked until ")
    assert down.why.endswith("It still goes over MQTT or on the unit (relayd ack)")


def test_what_is_locked_takes_not_even_a_good_code_and_the_others_do() -> None:
    afar = locked()
    shut = afar.proving.prove("mailbox", "anna@example.org", [afar.code()])
    assert isinstance(shut, NotProved)
    assert shut.why is Unused.LOCKED
    assert shut.meant == Meant(afar.occurrence, "anna", 0)  # whose true answer it is can be told
    assert isinstance(afar.proving.prove("mqtt", "mqtt", [afar.code()]), Meant)


def test_two_locked_ways_are_said_and_name_each_other_no_more() -> None:
    afar = locked()
    for number in range(10):
        for _ in range(5):
            afar.proving.prove("mqtt", f"broker{number}", ["b0000000"])
    down = afar.posted[-1]
    assert isinstance(down, ChannelDown)
    assert down.why.count("locked") == 2
    assert down.why.count("It still goes on the unit (relayd ack)") == 2


def test_the_lock_ends_after_an_hour_and_that_is_posted_once() -> None:
    afar = locked()
    afar.proving.look()
    assert len(afar.posted) == 1
    afar.posted.clear()
    afar.world.up += HOUR
    afar.proving.look()
    afar.proving.look()
    assert afar.posted == [ChannelUp("answers")]
    assert isinstance(afar.proving.prove("mailbox", "anna@example.org", [afar.code()]), Meant)


def test_the_lock_is_an_alarm_that_people_hear_of() -> None:
    afar = locked()
    afar.settle()
    assert afar.world.process("answers-locked", "unit") == "UNACK"
    told = [each.body for each in afar.world.tells() if "ANSWERS LOCKED" in each.title]
    assert told
    assert "Answer in another way." in told[0]
    assert "It still goes over MQTT or on the unit (relayd ack)" in told[0]
    afar.world.run(3601)
    afar.proving.look()
    afar.settle()
    afar.world.run(10)
    assert afar.world.process("answers-locked", "unit") in ("RTNUN", "NORM")
