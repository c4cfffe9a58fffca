"""The tree keeps the convention's rules and says what the state says."""

import json
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given, strategies as st

from relayd.channels import devices, homie
from relayd.channels.shown import Shown
from relayd.core.conditions import CHANNEL_FAILING, CHARACTERS, UNIT_CONDITIONS
from relayd.core.events import Now
from relayd.core.plan import MINUTE, SECOND, Plan, Priority
from relayd.core.state import (
    Alarm,
    Filter,
    InputState,
    Live,
    Process,
    Stamp,
    State,
    Subject,
    outside_id,
)
from tests.channels import shown
from tests.channels.shown import faults

CABIN = "homie/5/pumphouse-cabin"
HIGH = f"{CABIN}/alarm-high-level"
TICKET = frozenset({"homie/5/pumphouse/commands/ticket"})
NO_CLOCK = replace(shown.NOW, trusted=False)


@pytest.mark.parametrize("commands", [True, False])
@pytest.mark.parametrize(
    "state", [shown.quiet(), shown.high(), shown.taken()], ids=["quiet", "high", "taken"]
)
def test_the_tree_keeps_every_rule_of_the_convention(state: State, commands: bool) -> None:
    whole = homie.tree(state, shown.plan(commands), shown.NOW)
    assert faults(whole, TICKET) == []
    assert len(whole) > 80


TEXT = st.text(max_size=30)
STAMPS = st.builds(Stamp, st.integers(0, 10**15), st.integers(0, 2 * 10**18), st.booleans())


@st.composite
def alarms(draw: st.DrawFn, conditions: list[str]) -> dict[str, Alarm]:
    """Alarms of these conditions in any state, with any text that a library might hand us."""
    found = draw(st.lists(st.sampled_from(conditions), unique=True, max_size=4))
    return {
        each: Alarm(
            each,
            draw(st.sampled_from(Priority)),
            draw(st.sampled_from(Process)),
            draw(st.sampled_from(["", "L1", "L5", "P5"])),
            draw(TEXT),
            draw(st.integers(0, 10**9)),
            draw(st.none() | STAMPS),
            told=draw(st.sampled_from([(), ("anna",), ("anna", "ben")])),
        )
        for each in found
    }


@given(
    panel=alarms([each for each in CHARACTERS if each != CHANNEL_FAILING]),
    unit=alarms(list(UNIT_CONDITIONS)),
    channel=alarms([CHANNEL_FAILING]),
    closed=st.none() | st.booleans(),
    lost=TEXT,
    trusted=st.booleans(),
)
def test_no_state_breaks_a_rule(
    panel: dict[str, Alarm],
    unit: dict[str, Alarm],
    channel: dict[str, Alarm],
    closed: bool | None,
    lost: str,
    trusted: bool,
) -> None:
    subjects = [
        Subject("panel:cabin", panel),
        Subject("unit", unit),
        Subject("channel:anna-mail", channel),
    ]
    live = Live({"cabin.float": InputState(Filter(True, 0, closed=closed), lost=lost)})
    state = replace(
        shown.quiet(),
        subjects={each.id: each for each in subjects},
        live={"panel:cabin": live},
    )
    whole = homie.tree(state, shown.plan(), replace(shown.NOW, trusted=trusted))
    assert faults(whole, TICKET) == []
    standing = [
        each for each in subjects for alarm in each.alarms.values() if alarm.process != "NORM"
    ]
    assert sum("/$alert/" in topic for topic in whole) == len(standing)
    assert _descriptions(whole) == _descriptions(homie.tree(shown.quiet(), shown.plan(), shown.NOW))


def _descriptions(whole: Mapping[str, str]) -> dict[str, str]:
    return {topic: text for topic, text in whole.items() if topic.endswith("$description")}


def test_an_alarm_shows_its_state_row_occurrence_time_and_people() -> None:
    whole = homie.tree(shown.taken(), shown.plan(), shown.NOW)
    values = {name: whole[f"{HIGH}/{name}"] for name in ("state", "priority", "row", "occurrence")}
    assert values == {
        "state": "ACKED",
        "priority": "high",
        "row": "L1",
        "occurrence": outside_id(shown.UNIT, shown.quiet(), 12),
    }
    # 1,800,000,000 s is 2027-01-15 08:00:00 UTC; 20 minutes earlier, five hours west.
    assert whole[f"{HIGH}/since"] == "2027-01-15T02:40:00-05:00"
    assert whole[f"{HIGH}/taken-until"] == "2027-01-15T04:00:00-05:00"
    assert json.loads(whole[f"{HIGH}/told"]) == ["anna", "ben"]
    assert whole[f"{HIGH}/taken-by"] == "ben"


def test_an_alert_stands_as_long_as_the_alarm_does() -> None:
    alert = f"{CABIN}/$alert/high-level"
    text = homie.tree(shown.high(), shown.plan(), shown.NOW)[alert]
    assert text.startswith(
        "High level since 2027-01-15T02:40:00-05:00 (UNACK, high, not taken by anybody)"
    )
    assert "alarm float" in text
    assert alert not in homie.tree(shown.high(Process.NORM), shown.plan(), shown.NOW)


def test_an_alarm_that_is_over_names_no_occurrence_that_could_be_acknowledged() -> None:
    whole = homie.tree(shown.high(Process.NORM), shown.plan(), shown.NOW)
    assert {whole[f"{HIGH}/{name}"] for name in ("occurrence", "since", "taken-by")} == {
        devices.EMPTY
    }


STAMPED = {
    "clock set then and now": (True, shown.NOW, "2027-01-15T02:40:00-05:00"),
    "clock set since: worked out, to the minute": (False, shown.NOW, "2027-01-15T02:40:00-05:00"),
    "clock not set now": (True, NO_CLOCK, devices.EMPTY),
    "clock never set": (False, NO_CLOCK, devices.EMPTY),
    "clock not set in an earlier boot": (False, replace(shown.NOW, boot="boot-2"), devices.EMPTY),
}


@pytest.mark.parametrize(("trusted", "now", "wanted"), STAMPED.values(), ids=STAMPED)
def test_a_time_is_shown_only_where_it_can_be_known(trusted: bool, now: Now, wanted: str) -> None:
    up = shown.NOW.up - 20 * MINUTE - 7 * SECOND
    wall = shown.WALL - 20 * MINUTE if trusted else 0
    state = shown.high(raised=Stamp(up, wall, trusted))
    assert homie.tree(state, shown.plan(), now)[f"{HIGH}/since"] == wanted


INPUTS = {
    "closed": (InputState(Filter(True, 0, closed=True)), "closed", "alarm"),
    "open": (InputState(Filter(False, 0, closed=False)), "open", "normal"),
    "open, in the release hold": (
        InputState(Filter(False, 0, closed=False), held=True),
        "open",
        "alarm",
    ),
    "lost": (InputState(Filter(True, 0, closed=True), lost="line busy"), "lost", "unknown"),
    "not settled": (InputState(Filter(True, 0)), "unsettled", "unknown"),
    "never read": (None, "unsettled", "unknown"),
}


@pytest.mark.parametrize(("state", "value", "fact"), INPUTS.values(), ids=INPUTS)
def test_an_input_shows_its_contact_and_its_fact(
    state: InputState | None, value: str, fact: str
) -> None:
    live = Live({"cabin.float": state}) if state else Live()
    whole = homie.tree(replace(shown.quiet(), live={"panel:cabin": live}), shown.plan(), shown.NOW)
    assert (whole[f"{CABIN}/inputs/float"], whole[f"{CABIN}/facts/float"]) == (value, fact)


def test_a_panel_shows_only_conditions_that_its_inputs_can_tell() -> None:
    whole = homie.tree(shown.quiet(), shown.plan(), shown.NOW)
    nodes = {
        topic.split("/")[3] for topic in whole if topic.startswith("homie/5/pumphouse-lower-well/")
    }
    assert nodes == {
        "$description",
        "inputs",
        "facts",
        "level",
        "horn",
        "work",
        "alarm-high-level",
        "alarm-level-keeps-reaching",
        "alarm-unsettled",
        "alarm-input-lost",
    }


def test_a_failing_channel_is_shown_by_the_unit() -> None:
    alarm = Alarm(CHANNEL_FAILING, Priority.MEDIUM, Process.UNACK, detail="no route")
    subject = Subject("channel:anna-mail", {CHANNEL_FAILING: alarm})
    state = replace(shown.quiet(), subjects={subject.id: subject})
    whole = homie.tree(state, shown.plan(), shown.NOW)
    assert whole["homie/5/pumphouse/channel-anna-mail/state"] == "UNACK"
    assert "anna-mail: Channel failing" in whole["homie/5/pumphouse/$alert/channel-anna-mail"]
    assert whole["homie/5/pumphouse/channel-ben-push/state"] == "NORM"


def test_commands_are_described_only_where_the_plan_allows_them() -> None:
    on, off = (
        json.loads(
            homie.tree(shown.quiet(), shown.plan(each), shown.NOW)["homie/5/pumphouse/$description"]
        )
        for each in (True, False)
    )
    said = on["nodes"]["commands"]["properties"]["acknowledge"]
    assert (said["datatype"], said["settable"], said["retained"]) == ("json", True, False)
    assert json.loads(said["format"])["required"] == ["ticket", "occurrence", "person"]
    assert "commands" not in off["nodes"]


def test_a_grafted_branch_gives_the_tree_that_would_be_made_anew() -> None:
    unit = Shown(shown.plan(), lambda key: None, lambda key, value: None)
    before = unit.whole(shown.high(), shown.NOW)
    after = unit.after(["panel:cabin"], shown.quiet(), shown.NOW)
    assert dict(after) == dict(homie.tree(shown.quiet(), shown.plan(), shown.NOW))
    assert after.shares(before, "pumphouse-lower-well")
    assert not after.shares(before, "pumphouse-cabin")
    assert dict(unit.after(["unit", "channel:anna-mail"], shown.quiet(), shown.NOW)) == dict(after)
    assert devices.devices(after)[0] == shown.UNIT


def test_a_description_rises_by_one_where_it_differs_from_the_last_that_was_told() -> None:
    kept: dict[str, str] = {}

    def version(plan: Plan, device: str = "pumphouse") -> int:
        tree = Shown(plan, kept.get, kept.__setitem__).whole(shown.quiet(), shown.NOW)
        return int(json.loads(tree[devices.description_topic(device)])["version"])

    assert [version(shown.plan()), version(shown.plan())] == [1, 1]
    assert [version(shown.plan(False)), version(shown.plan(False))] == [2, 2]
    assert version(shown.plan()) == 3
    assert version(shown.plan(), "pumphouse-cabin") == 1
    assert version(shown.plan(panels=("cabin",)), "pumphouse-cabin") == 1


def test_a_panel_that_is_no_longer_in_the_plan_has_no_branch() -> None:
    assert homie.branch("pumphouse-gone", shown.high(), shown.plan(), shown.NOW) == {}


# ---- the order in which a difference is published ---------------------------------------------


def _applied(told: dict[str, str], steps: list[tuple[str, str]]) -> dict[str, str]:
    after = dict(told)
    for topic, payload in steps:
        after[topic] = payload
    return {topic: payload for topic, payload in after.items() if payload}


TREES = [
    homie.tree(shown.quiet(), shown.plan(), shown.NOW),
    homie.tree(shown.high(), shown.plan(), shown.NOW),
    homie.tree(shown.taken(), shown.plan(False), shown.NOW),
    homie.tree(shown.quiet(), shown.plan(panels=("cabin",)), shown.NOW),
]


@given(st.lists(st.tuples(st.sampled_from(TREES), st.integers(0, 300)), min_size=1, max_size=4))
def test_whatever_was_cut_off_before_the_last_pass_makes_it_whole(
    passes: list[tuple[dict[str, str], int]],
) -> None:
    told: dict[str, str] = {}
    for wanted, cut in passes[:-1]:
        told = _applied(told, devices.changes(told, wanted)[:cut])
    last = passes[-1][0]
    shows = _applied(told, devices.changes(told, last))
    states = {devices.state_topic(each): "ready" for each in devices.devices(last)}
    assert shows == {**last, **states}
    assert devices.changes(shows, last) == []


def test_a_description_changes_only_while_its_device_is_in_init() -> None:
    told = _applied({}, devices.changes({}, TREES[0]))
    for topic, payload in devices.changes(told, TREES[3]):
        told[topic] = payload
        if topic.endswith("$description") and payload:
            assert told[topic.replace("$description", "$state")] == "init"


def test_a_device_that_goes_loses_its_state_first() -> None:
    told = _applied({}, devices.changes({}, TREES[0]))
    cleared = [topic for topic, payload in devices.changes(told, TREES[3]) if not payload]
    assert cleared[0] == "homie/5/pumphouse-lower-well/$state"
    assert len(cleared) > 20


CLEANED = {
    "a byte 0": ("a\0b", "a b"),
    "a line feed": ("a\nb", "a b"),
    "half a surrogate pair": ("a\udce4b", "a?b"),
    "nothing": ("", devices.EMPTY),
    "only blanks": (" \t ", devices.EMPTY),
    "a byte order mark": ("\ufeffabc", "abc"),
    "an umlaut": ("Grüße", "Grüße"),
    "too long": ("x" * 2000, "x" * 997 + "..."),
}


@pytest.mark.parametrize(("text", "wanted"), CLEANED.values(), ids=CLEANED)
def test_text_is_made_fit_for_a_broker(text: str, wanted: str) -> None:
    assert devices.clean(text) == wanted
