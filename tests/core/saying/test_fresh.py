"""What is said first of an alarm that was told before: what has come, and what is no longer so."""

from dataclasses import replace

import pytest

from relayd.core import conditions as c
from relayd.core.plan import HOUR, MINUTE, Means
from relayd.core.saying import brief, sentences
from relayd.core.saying.gsm7 import septets
from relayd.core.state import Horn, HornStanding, LooseEnd, NoticeKind, Process, PumpLog, Subject
from tests.core.build import contact
from tests.core.spoken import UP, Case, alarm_of, cabin, made, stamp

RUNNING = contact(Means.PUMP_RUNNING)
NOTES = {
    "R1-off": "Switch in Off",
    "R3": "pump takes no current",
    "R4": "pump runs, not falling",
    "U1": "contact chatters",
    "R3-2": "pump takes no current (pump 2)",
}


def news(told: tuple[str, ...], now: tuple[str, ...], **changes: object) -> tuple[str, str]:
    """Short and long form of a high level whose notes were `told` and are `now`."""
    case = Case(kind=NoticeKind.UPDATE)
    alarm = replace(alarm_of(case), notes=now, told_notes=told, told_row="L1")
    text = made(case, alarm=replace(alarm, **changes))  # type: ignore[arg-type]
    return text.short, text.long


@pytest.mark.parametrize(("note", "words"), NOTES.items())
def test_a_note_that_has_come_leads_both_forms(note: str, words: str) -> None:
    short, long = news((), (note,))
    assert short.lower().startswith(f"news, {words.lower()}: high level")
    assert "News: " in long
    assert long.index("News: ") < long.index("High level since")


def test_what_is_no_longer_so_is_said() -> None:
    short, long = news(("R1-off",), ())
    assert "No longer so: switch in Off." in long
    assert short.startswith("News, no longer: switch in Off: high level")


def test_a_switch_that_was_moved_on_is_said_once_with_where_it_stands() -> None:
    _, long = news(("R1-off",), ("R1-hand",))
    assert "No longer so" not in long


def test_where_those_told_know_different_things_the_cause_is_said() -> None:
    short, long = news(("R3",), ("R3",))
    assert "News: " not in long
    assert short.startswith("News, pump takes no current: high level")


@pytest.mark.parametrize("since", [12 * MINUTE, None])
def test_a_pump_whose_start_was_seen_is_said_with_how_long_it_has_run(since: int | None) -> None:
    case = Case(kind=NoticeKind.UPDATE)
    alarm = replace(alarm_of(case), notes=("R4",), told_row="L1")
    running = None if since is None else UP - since
    owner = Subject("panel:cabin", {c.HIGH_LEVEL: alarm}, pumps={1: PumpLog(running=running)})
    panel = replace(cabin(), inputs=(*cabin().inputs, RUNNING))
    long = made(case, panel, owner=owner, alarm=alarm).long
    assert (
        "The pump has run for 12 min and the water is not below the alarm float" in long
    ) is bool(since)


def test_a_contact_that_is_quiet_again_is_not_said_to_chatter() -> None:
    _, long = news((), ("U1",), row="L17", told_row="L17")
    assert "says normal now" in long
    assert "is chattering" not in long


def test_the_row_is_said_after_what_explains_it() -> None:
    _, long = news((), ("R3",), row="L1", told_row="L11")
    line = next(each for each in long.splitlines() if each.startswith("News: "))
    assert line.index("takes no current") < line.index("The water stands")


# What remains, when an alarm is over


def over(*others: str, loose: tuple[str, ...] = ()) -> str:
    case = Case(kind=NoticeKind.STAND_DOWN)
    alarms = {each: replace(alarm_of(Case(each, "")), process=Process.ACKED) for each in others}
    ends = {each: LooseEnd(each, stamp(HOUR)) for each in loose}
    return made(case, owner=Subject("panel:cabin", alarms, loose=ends)).short


def test_a_short_stand_down_names_what_remains() -> None:
    assert "What remains: Seal leak, horn's wire off." in over(c.SEAL_LEAK, loose=("horn-wire",))


def test_what_does_not_fit_is_counted() -> None:
    many = (c.SEAL_LEAK, c.RUN_LONG, c.UNSTABLE_SUPPLY, c.KEEPS_REACHING, c.OVERLOAD, c.IN_OFF)
    short = over(*many, loose=("horn-wire", "panel-door", "tank-lid"))
    assert septets(short) <= 160
    assert " more." in short or "What remains: 9." in short


def test_where_nothing_remains_nothing_is_said_of_it() -> None:
    assert "remains" not in over()


def test_a_broker_s_loss_is_named_by_the_broker() -> None:
    assert sentences.name("mqtt-down-office") == "MQTT broker not reached (office)"
    assert brief.lowered("MQTT broker") == "MQTT broker"


@pytest.mark.parametrize("note", ["R4", "R7"])
def test_where_the_pump_does_not_get_the_water_down_no_declared_rate_is_said(note: str) -> None:
    case = Case()
    alarm = replace(alarm_of(case), notes=(note,))
    long = made(case, cabin(reserve=9 * HOUR), alarm=alarm).long
    assert "How long the basin holds is not known: more may come in than was declared" in long
    assert "declared rate" not in long
    assert "(declared)" not in long


def test_a_horn_whose_wire_hangs_loose_is_warned_of_and_not_silenced() -> None:
    owner = Subject("panel:cabin", horn=Horn(HornStanding.DISCONNECTED, stamp(HOUR), "ben"))
    long = made(Case(), owner=owner).long
    assert "! The horn's wire hangs loose inside the panel: it may be bare" in long
    assert "press Silence" not in long
