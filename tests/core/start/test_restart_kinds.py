"""Every remembered time in another boot; each kind of deadline where no clock tells (Design 3)."""

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any, get_type_hints

import pytest

from relayd.core.draft import Draft
from relayd.core.effects import Record
from relayd.core.events import Now, Started
from relayd.core.plan import DAY, HOUR, Priority
from relayd.core.start.restart import begun
from relayd.core.start.shifting import NO_TIMES, TIMES, moved
from relayd.core.state import (
    Alarm,
    Away,
    Belief,
    Call,
    Horn,
    LooseEnd,
    Mark,
    Process,
    PumpLog,
    Stamp,
    State,
    Subject,
    Take,
    Visit,
)
from tests.core.world import WALL, plan

CABIN = "panel:cabin"
OLD = Stamp(1000 * HOUR, WALL, True)
DOUBTED = Stamp(1000 * HOUR, WALL, False)
NUMBERS = {int, int | None, tuple[int, ...], Mapping[str, int]}


@pytest.mark.parametrize("kind", list(TIMES), ids=lambda each: each.__name__)
def test_every_field_that_holds_a_number_is_named_as_a_time_or_as_none(kind: type) -> None:
    hints = get_type_hints(kind)
    numbers = {name for name, hint in hints.items() if hint in NUMBERS}
    named = TIMES[kind] | NO_TIMES.get(kind, frozenset())
    assert numbers == named
    assert not TIMES[kind] & NO_TIMES.get(kind, frozenset())


def whole() -> Subject:
    """A subject with everything in it."""
    mark = Mark("ben", OLD, 50, 60)
    alarm = Alarm(
        "high-level",
        Priority.HIGH,
        Process.ACKED,
        occurrence=3,
        raised=OLD,
        call=Call(10, due=20),
        told=("anna",),
        seen={"anna": 30},
        taken=Take("ben", OLD, 40, 41),
        realarm=70,
        shelved=mark,
        raises=(1, 2),
        held={"anna": 90},
        morning=95,
    )
    return Subject(
        CABIN,
        alarms={"high-level": alarm},
        belief=Belief(looked=5),
        beliefs={"high-high-level": Belief(alarm_edge=6)},
        pumps={1: PumpLog(running=7, starts=(8, 9), last=OLD, gaps=(HOUR,), week=3, row=2)},
        highs=(OLD,),
        hot={2: (OLD, OLD)},
        horn=Horn(since=OLD, driven=11, told=("anna",), asked_of=12),
        loose={"horn-wire": LooseEnd("horn-wire", OLD, due=13, reminded=1, put_off=mark)},
        visit=Visit("ben", OLD, 14, 15, passed=(4,)),
        out=mark,
        away={"anna": Away("anna", OLD, 16, 17, "ben")},
        raises=(18,),
        burst=19,
    )


def test_everything_is_moved_by_the_same_and_nothing_else_is() -> None:
    after = moved(whole(), 100)
    alarm, pump = after.alarms["high-level"], after.pumps[1]
    assert alarm.raised == Stamp(OLD.up + 100, OLD.wall, True)
    assert (alarm.call, alarm.seen, alarm.realarm) == (Call(110, due=120), {"anna": 130}, 170)
    assert alarm.taken == Take("ben", replace(OLD, up=OLD.up + 100), 140, 41)
    assert (alarm.raises, alarm.held, alarm.morning) == ((101, 102), {"anna": 190}, 195)
    assert alarm.shelved is not None
    assert (alarm.shelved.until, alarm.shelved.until_wall) == (150, 60)
    assert (pump.running, pump.starts, pump.gaps, pump.week, pump.row) == (
        107,
        (108, 109),
        (HOUR,),
        3,
        2,
    )
    assert after.beliefs["high-high-level"].alarm_edge == 106
    assert after.highs[0].up == after.hot[2][1].up == OLD.up + 100
    assert (after.horn.driven, after.horn.asked_of) == (111, 12)
    assert after.loose["horn-wire"].due == 113
    assert after.visit is not None
    assert (after.visit.until, after.visit.passed) == (114, (4,))
    assert (after.away["anna"].until, after.raises, after.burst) == (116, (118,), 119)
    assert moved(after, -100) == whole()


def started(
    subject: Subject, trusted: bool = False, was: bool = False, wall: int = WALL + DAY
) -> tuple[Draft, int]:
    """The draft after a start in another boot with that subject remembered."""
    before = State(
        "k3f9ab", "boot-1", Stamp(1000 * HOUR, WALL, was), subjects={subject.id: subject}
    )
    now = Now("boot-2", 20 * HOUR, wall, trusted)
    draft = Draft(plan(), before, now)
    begun(draft, before, Started(planned=False))
    return draft, now.up


def records(draft: Draft, kind: str) -> list[Mapping[str, object]]:
    """What was recorded of that kind."""
    return [each.body for each in draft.effects if isinstance(each, Record) and each.kind == kind]


def mark(stamp: Stamp, left: int) -> Mark:
    """A mark that had so long to go when all was last written."""
    return Mark("ben", stamp, 1000 * HOUR + left, WALL + left)


UNSURE = [
    ("clock not trusted", OLD, False, None),
    ("given without a clock", DOUBTED, True, None),
    ("both believed", OLD, True, 2 * DAY),
    ("both believed, over", OLD, True, 0),
]


@pytest.mark.parametrize(
    ("stamp", "trusted", "left"), [u[1:] for u in UNSURE], ids=[u[0] for u in UNSURE]
)
def test_out_of_service_and_away_end_by_utc_where_it_is_believed(
    stamp: Stamp, trusted: bool, left: int | None
) -> None:
    length = 12 * HOUR if left == 0 else 3 * DAY
    subject = Subject(
        CABIN,
        alarms={"high-level": Alarm("high-level", Priority.HIGH, out=mark(stamp, length))},
        out=mark(stamp, length),
        away={"anna": Away("anna", stamp, 1000 * HOUR + length, WALL + length)},
        loose={"out-of-service": LooseEnd("out-of-service", stamp, due=1000 * HOUR + HOUR)},
    )
    draft, now = started(subject, trusted)
    after = draft.subject(CABIN)
    kept = length if left is None else left
    assert after.out is not None
    assert after.alarms["high-level"].out is not None
    assert after.out.until == after.alarms["high-level"].out.until == now + kept
    assert after.away["anna"].until == now + (0 if left is None else left)
    assert after.loose["out-of-service"].due == now


def test_a_shelf_and_a_visit_end_now_and_what_was_held_is_due_now() -> None:
    alarm = replace(
        whole().alarms["high-level"], shelved=mark(OLD, HOUR), held={"anna": 1001 * HOUR}
    )
    subject = replace(
        whole(), alarms={"high-level": alarm}, visit=Visit("ben", OLD, 1001 * HOUR, 1)
    )
    draft, now = started(subject)
    after = draft.subject(CABIN)
    found = after.alarms["high-level"]
    assert found.shelved is not None
    assert (found.shelved.until, found.held, found.morning) == (now, {"anna": now}, now)
    assert after.visit is not None
    assert after.visit.until == now
    loose = after.loose["horn-wire"]
    assert loose.due is not None
    assert loose.due > now
    assert loose.put_off is not None
    assert loose.put_off.until == now


# What the plan no longer has


def test_people_who_are_gone_visit_and_are_away_no_longer() -> None:
    subject = replace(
        whole(),
        visit=Visit("eve", OLD, 14, 15),
        away={
            "eve": Away("eve", OLD, 16, 17),
            "anna": Away("anna", OLD, 2000 * HOUR, WALL + 9 * DAY, "eve"),
        },
        horn=Horn(told=("eve", "anna")),
    )
    draft, _ = started(subject, trusted=True, was=True)
    after = draft.subject(CABIN)
    assert after.visit is None
    assert {name: each.stand_in for name, each in after.away.items()} == {"anna": ""}
    assert after.horn.told == ("anna",)
    assert [each["what"] for each in records(draft, "dropped")] == ["visit", "away"]


def test_a_panel_that_is_gone_takes_its_marks_loose_ends_and_visits_with_it() -> None:
    subject = replace(whole(), id="panel:old", out=mark(OLD, HOUR))
    draft, _ = started(subject, trusted=True, was=True)
    assert "panel:old" not in draft.subjects
    assert [(each["what"], each["name"]) for each in records(draft, "dropped")] == [
        ("shelving", "high-level"),
        ("loose end", "horn-wire"),
        ("visit", "ben"),
        ("out of service", "ben"),
    ]


def test_an_alarm_of_a_unit_s_input_that_is_gone_is_forgotten() -> None:
    alarms = {each: Alarm(each, Priority.LOW) for each in ("unit-power", "mqtt-down")}
    draft, _ = started(Subject("unit", alarms=alarms))
    assert set(draft.subject("unit").alarms) == {"mqtt-down"}


# An error inside one subject


def broken(**changes: Any) -> Subject:
    return replace(whole(), **changes)


@pytest.mark.parametrize("process", [Process.UNACK, Process.ACKED, Process.NORM])
def test_a_broken_alarm_is_asked_again_and_stops_no_other_subject(process: Process) -> None:
    bad: Any = {"anna": "tomorrow"}
    alarm = replace(whole().alarms["high-level"], process=process, seen=bad)
    good = replace(whole().alarms["high-level"], condition="alarm-power")
    subject = broken(alarms={"high-level": alarm, "alarm-power": good})
    draft, now = started(subject, trusted=True, was=True)
    found = draft.subject(CABIN).alarms
    call, again = found["high-level"].call, found["high-level"].realarm
    assert found["high-level"].occurrence == 3
    assert (call.due if call else None) == (now if process is Process.UNACK else None)
    assert again == (now + HOUR if process is Process.ACKED else None)
    assert found["alarm-power"].told == ("anna",)
    assert draft.subject(CABIN).loose.keys() == {"horn-wire"}
    assert "panel:cabin" in draft.subject("unit").said["fault-in-relayd"]
    assert CABIN in draft.live


def test_a_broken_field_is_dropped_and_the_rest_is_kept() -> None:
    bad: Any = "soon"
    draft, _ = started(broken(burst=bad), trusted=True, was=True)
    after = draft.subject(CABIN)
    assert after.burst is None
    assert after.alarms["high-level"].occurrence == 3
    assert len(records(draft, "fault in relayd")) == 1


def test_an_error_in_forgetting_what_is_gone_stops_nothing() -> None:
    bad: Any = {"horn-wire": 1, 5: 2}
    draft, _ = started(replace(whole(), id="panel:old", loose=bad), trusted=True, was=True)
    assert "panel:old" in draft.subject("unit").said["fault-in-relayd"]
    assert CABIN in draft.live


def test_the_table_of_times_names_only_fields_there_are() -> None:
    for kind, names in TIMES.items():
        assert names <= {each.name for each in fields(kind)}
