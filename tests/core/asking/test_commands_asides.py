"""Alarms put aside by command: what is answered, what is refused, what is recorded."""

import pytest

from relayd.core.events import (
    AtPanel,
    ComeBack,
    Command,
    GoAway,
    HornWire,
    InService,
    OutOfService,
    PutOff,
    Reset,
    Settled,
    Shelve,
    Stage,
    Unshelve,
    Wire,
)
from relayd.core.plan import DAY, HOUR, MINUTE, Means
from tests.core.build import contact, panel, plan_of
from tests.core.world import World

STANDS = (
    contact(Means.HIGH_LEVEL),
    contact(Means.OVERLOAD, pump=1, name="overload-1"),
    contact(Means.OVERLOAD, pump=2, name="overload-2"),
    contact(Means.SEAL_LEAK, pump=1, name="seal-1", latch=True),
)


def world() -> World:
    """A duplex panel at rest; the unit's clock shows 08:01:50 UTC."""
    return World(plan_of(panel("cabin", *STANDS, pumps=2))).start().run(10)


def clock(at: World, length: int) -> str:
    """The site's clock that many ns from now."""
    minutes = (at.now().wall + length) // MINUTE
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def test_a_pause_says_until_when_and_that_it_ends_by_itself() -> None:
    at = world()
    answer = at.ask(Shelve("cabin", "overload-1", within=4 * HOUR, why="new motor"))
    assert answer.ok
    assert answer.code == "shelved"
    assert answer.say == (
        f"Overload tripped (pump 1) at Panel cabin is paused until {clock(at, 4 * HOUR)}; "
        "the panel is still watched and recorded; it ends by itself"
    )
    mark = at.open_alarm("overload-1").shelved
    assert mark is not None
    assert (mark.by, mark.why, mark.until - at.up) == ("ben", "new motor", 4 * HOUR)
    done = at.records("command done")[0].body
    assert done == {"way": "test", "by": "ben", "code": "shelved"}


def test_a_pause_until_a_time_of_day_and_its_end() -> None:
    at = world()
    until = at.now().wall + 90 * MINUTE
    assert at.ask(Shelve("cabin", "Overload 1", until=until)).ok
    answer = at.ask(Unshelve("cabin", "overload-1"))
    assert (
        answer.say
        == "Overload tripped (pump 1) at Panel cabin is no longer paused; it is normal now"
    )


def test_an_alarm_that_is_there_is_told_again_when_its_pause_ends() -> None:
    at = world()
    at.alarm("cabin.overload-1")
    at.run(60)
    assert at.ask(Shelve("cabin", "overload-1", within=HOUR)).ok
    answer = at.ask(Unshelve("cabin", "overload-1"))
    assert answer.say.endswith("it is there: people are told again")


def test_out_of_service_and_back_of_the_whole_panel() -> None:
    at = world()
    answer = at.ask(OutOfService("cabin", within=2 * HOUR, why="tank is empty"))
    assert answer.say == (
        f"Panel cabin is out of service until {clock(at, 2 * HOUR)}; it is still watched and "
        "recorded, nobody is told of it; somebody is reminded by day; it ends by itself"
    )
    at.alarm("cabin.overload-2")
    at.run(60)
    assert at.told() == []
    answer = at.ask(InService("cabin"))
    assert answer.say == (
        "Panel cabin is in service again; Overload tripped (pump 2): "
        "it is there: people are told again"
    )


def test_one_alarm_out_of_service_and_back() -> None:
    at = world()
    assert at.ask(OutOfService("cabin", "seal-leak-1", within=DAY)).ok
    assert at.ask(InService("cabin", "seal-leak-1")).say == (
        "Seal leak (pump 1) at Panel cabin is in service again; it is normal now"
    )


def test_a_latched_alarm_is_let_go_and_the_panel_is_not() -> None:
    at = world()
    at.alarm("cabin.seal-1")
    at.run(2 * 60)
    at.alarm("cabin.seal-1", False)
    at.run(20 * 60)
    assert at.process("seal-leak-1") == "LATUN"
    assert at.ask(Reset("cabin")).say == "acknowledge seal-leak-1 first, then reset it"
    assert "stays until reset: seal-leak-1" in at.ack("ben").say
    assert at.ask(Reset("cabin", "seal-leak-1")).say == (
        "let go at Panel cabin: Seal leak (pump 1); the panel itself is reset at the panel alone"
    )
    assert at.process("seal-leak-1") == "NORM"


def test_the_horn_s_wire_off_and_back() -> None:
    at = world()
    off = at.ask(HornWire("cabin", Wire.OFF, "it woke the guests"))
    assert off.say == (
        "noted: the horn at Panel cabin is disconnected, by Ben; nobody hears it at the panel; "
        "people are told as ever, and reminded by day; the wire may be live: the panel stays shut, and only somebody qualified puts it back; say 'back' when it is on again"
    )
    assert "horn-wire" in at.state.subjects["panel:cabin"].loose
    back = at.ask(HornWire("cabin", Wire.BACK))
    assert back.say == (
        "noted: the wire of the horn at Panel cabin is back, says Ben; the horn is not known until "
        "it has been heard: press Test at the panel and listen"
    )


def test_a_loose_end_is_put_off_with_a_reason_and_settled() -> None:
    at = world()
    at.ask(HornWire("cabin", Wire.OFF))
    later = at.ask(PutOff("cabin", "Horn wire", within=2 * HOUR, why="part on order"))
    assert later.ok
    assert later.say.startswith("'horn-wire' at Panel cabin (")
    assert later.say.endswith(
        f": nobody is reminded until {clock(at, 2 * HOUR)}; it stays open and is shown"
    )
    # What the horn's standing shows is not talked away.
    assert at.ask(Settled("cabin", "horn-wire")).code == "still-there"
    at.ask(HornWire("cabin", Wire.BACK))
    heard = at.ask(Settled("cabin", "horn-unproved"))
    assert heard.ok
    assert heard.say.startswith("done, says Ben: 'horn-unproved' at Panel cabin (")
    assert heard.say.endswith("; still open there: nothing")


def test_trade_8_1_a_visit_of_two_hours_is_prolonged_and_ends() -> None:
    at = world()
    begun = at.ask(AtPanel("cabin", Stage.BEGIN))
    assert begun.say == (
        f"Ben is at Panel cabin until {clock(at, 2 * HOUR)}; its alarms are recorded and go to Ben "
        "alone, but water that stands for too long calls the others; end the visit before you leave"
    )
    longer = at.ask(AtPanel("cabin", Stage.EXTEND, within=3 * HOUR))
    assert longer.say == f"Ben stays at Panel cabin until {clock(at, 3 * HOUR)}; it ends by itself"
    over = at.ask(AtPanel("cabin", Stage.END))
    assert over.say == (
        "Ben has left Panel cabin; everything is as it was; its alarms call everybody again"
    )


def test_trade_8_1_what_a_visitor_leaves_must_be_named_with_a_reason() -> None:
    at = world()
    at.ask(AtPanel("cabin", Stage.BEGIN))
    at.ask(HornWire("cabin", Wire.OFF))
    assert at.ask(AtPanel("cabin", Stage.END)).code == "not-as-it-was"
    over = at.ask(AtPanel("cabin", Stage.END, left=("horn-wire",), why="horn is on order"))
    assert over.ok
    assert "left open: horn-wire; somebody is reminded of it by day" in over.say


def test_who_responds_sends_others_away_and_others_only_themselves() -> None:
    at = world()
    gone = at.ask(GoAway("anna", within=DAY, stand_in="carla"))
    assert gone.ok
    assert "Anna is away until" in gone.say
    assert gone.say.endswith("Carla is told instead; it ends by itself")
    assert at.ask(ComeBack("anna"), by="anna").say == "Anna is back and is told again"
    alone = at.ask(GoAway("anna", within=DAY), by="anna")
    assert "nobody stands in: the call lists go on to the next person" in alone.say
    assert at.ask(GoAway("ben", within=DAY), by="carla").code == "not-allowed"


END = "say until when (until 08:00) or for how long: at most"
HAS = "Panel cabin has no condition 'flood'; it has: high-level, overload-1"
REFUSED: list[tuple[str, Command, str, str, str]] = [
    ("a panel misspelt", Unshelve("cabbin", "x"), "ben", "unknown-panel", "did you mean 'cabin'?"),
    (
        "a condition that is none",
        Shelve("cabin", "flood", within=1),
        "ben",
        "unknown-condition",
        HAS,
    ),
    (
        "which pump",
        Unshelve("cabin", "overload"),
        "ben",
        "unknown-condition",
        "say of which pump: overload-1, overload-2",
    ),
    ("a pause without end", Shelve("cabin", "overload-1"), "ben", "no-end", f"{END} 24 h"),
    ("out without end", OutOfService("cabin"), "ben", "no-end", f"{END} 30 days"),
    ("away without end", GoAway("ben"), "ben", "no-end", f"{END} 90 days"),
    ("put off without end", PutOff("cabin", "x", why="y"), "ben", "no-end", f"{END} 7 days"),
    ("two ends", Shelve("cabin", "overload-1", until=1, within=1), "ben", "bad-time", "not both"),
    ("an end that is over", Shelve("cabin", "overload-1", until=1), "ben", "bad-time", "is over"),
    (
        "too long a pause",
        Shelve("cabin", "seal-leak-1", within=2 * DAY),
        "ben",
        "too-long",
        "an alarm is paused for 24 h at most: give an end within 24 h",
    ),
    (
        "too long a pause of high priority",
        Shelve("cabin", "high-level", within=5 * HOUR),
        "ben",
        "too-long",
        "an alarm of high priority is paused for 4 h at most: give an end within 4 h",
    ),
    ("too long a visit", AtPanel("cabin", Stage.BEGIN, within=DAY), "ben", "too-long", "12 h"),
    (
        "too long out",
        OutOfService("cabin", within=31 * DAY),
        "ben",
        "too-long",
        "nothing is out of service for more than 30 days: give an end within 30 days",
    ),
    ("too long away", GoAway("ben", within=91 * DAY), "ben", "bad-time", "90 days"),
    (
        "high, by who does not respond",
        Shelve("cabin", "high-level", within=HOUR),
        "anna",
        "not-allowed",
        "only by those",
    ),
    ("not paused", Unshelve("cabin", "overload-1"), "ben", "not-shelved", "nothing to do"),
    ("in service already", InService("cabin"), "ben", "not-out", "in service"),
    ("nothing latched", Reset("cabin"), "ben", "not-latched", "nothing here waits"),
    ("reset of what", Reset("cabin", "x"), "ben", "unknown-condition", "has no condition 'x'"),
    ("back of what", InService("cabin", "x"), "ben", "unknown-condition", "has no condition 'x'"),
    (
        "out of what",
        OutOfService("cabin", "x", within=1),
        "ben",
        "unknown-condition",
        "no condition",
    ),
    ("no such loose end", Settled("cabin", "x"), "ben", "not-open", "open now: none"),
    ("not open to put off", PutOff("cabin", "x", within=HOUR, why="y"), "ben", "not-open", "none"),
    ("a visit that is not", AtPanel("cabin", Stage.EXTEND), "ben", "", ""),
    ("an end of no visit", AtPanel("cabin", Stage.END), "ben", "", ""),
    ("a visit of no time", AtPanel("cabin", Stage.BEGIN, within=0), "ben", "bad-time", "is over"),
    ("away, who", GoAway("bn", within=1), "ben", "unknown-person", "did you mean 'ben'?"),
    ("stand-in, who", GoAway("ben", within=HOUR, stand_in="x"), "ben", "unknown-person", "'x'"),
    ("back, who", ComeBack("x"), "ben", "unknown-person", "'x'"),
    ("back from nowhere", ComeBack("ben"), "ben", "not-away", "not away"),
    *(
        (
            f"no place for {type(each).__name__}",
            each,
            "ben",
            "unknown-panel",
            "the plan knows: cabin",
        )
        for each in (
            Shelve("x", "y"),
            OutOfService("x"),
            InService("x"),
            Reset("x"),
            HornWire("x", Wire.OFF),
            HornWire("creek-1", Wire.OFF),
            PutOff("x", "y"),
            Settled("x", "y"),
            AtPanel("x", Stage.BEGIN),
        )
    ),
]


@pytest.mark.parametrize(
    ("command", "by", "code", "say"),
    [each[1:] for each in REFUSED],
    ids=[each[0] for each in REFUSED],
)
def test_a_refusal_says_what_to_do_and_changes_nothing(
    command: Command, by: str, code: str, say: str
) -> None:
    at = world()
    before = at.state
    answer = at.ask(command, by)
    assert not answer.ok
    assert code in ("", answer.code)
    assert say in answer.say
    assert at.state.subjects is before.subjects
    assert at.state.notices is before.notices
    assert at.records("command refused")[-1].body["by"] == by
    assert at.records("command done") == []


def test_a_time_of_day_is_refused_while_the_clock_is_not_set() -> None:
    at = world()
    at.trusted = False
    answer = at.ask(Shelve("cabin", "overload-1", until=at.now().wall + HOUR))
    assert answer.say == "the unit's clock is not set: say how long instead (within 4 h)"


def test_a_parked_wire_is_not_said_to_be_back() -> None:
    parked = contact(Means.HORN_WIRE_PARKED)
    at = World(plan_of(panel("cabin", contact(Means.HIGH_LEVEL), parked))).start().run(10)
    at.alarm("cabin.horn-wire-parked")
    at.run(60)
    assert at.ask(HornWire("cabin", Wire.BACK)).code == "still-parked"


def test_a_single_pump_s_condition_may_carry_its_number() -> None:
    at = World(plan_of(panel("cabin", contact(Means.OVERLOAD)))).start().run(10)
    assert at.ask(Shelve("cabin", "overload-1", within=HOUR)).ok
    assert at.open_alarm("overload").shelved is not None


def test_the_unit_s_own_alarms_are_paused_by_its_name() -> None:
    at = world()
    answer = at.ask(Shelve("creek-1", "mqtt-down", within=HOUR))
    assert answer.say.endswith("; the unit is still watched and recorded; it ends by itself")
    assert at.ask(InService("creek-1")).code == "not-out"


def test_what_is_said_of_an_alarm_that_is_back_but_acknowledged_or_marked() -> None:
    at = world()
    at.alarm("cabin.overload-1")
    at.run(60)
    at.ack("ben")
    at.ask(Shelve("cabin", "overload-1", within=HOUR))
    at.ask(OutOfService("cabin", "overload-1", within=HOUR))
    assert at.ask(Unshelve("cabin", "overload-1")).say.endswith(
        f"it is there, and nobody is told: out of service until {clock(at, HOUR)} by Ben"
    )
    assert at.ask(InService("cabin", "overload-1")).say.endswith("it is there, and acknowledged")
    at.ask(OutOfService("cabin", within=HOUR))
    at.alarm("cabin.overload-1", False)
    at.run(60)
    assert at.ask(InService("cabin")).say.endswith("nothing is wrong there now")


def test_a_visit_of_a_panel_that_another_visits_is_refused() -> None:
    at = world()
    at.ask(AtPanel("cabin", Stage.BEGIN))
    assert at.ask(AtPanel("cabin", Stage.BEGIN), by="carla").code == "somebody-is-there"
