"""What the tree shows of marks, of the horn, of people's work at a panel, and of the unit's own inputs."""

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from relayd.channels import devices, homie
from relayd.core.events import Now
from relayd.core.plan import HOUR, MINUTE, SECOND, Input, Means, Plan, Position
from relayd.core.state import (
    Alarm,
    Filter,
    Horn,
    HornStanding,
    InputState,
    Live,
    LooseEnd,
    Mark,
    Process,
    Stamp,
    State,
    Subject,
    Visit,
)
from tests.channels import shown
from tests.channels.shown import faults

CABIN = "homie/5/pumphouse-cabin"
HIGH = f"{CABIN}/alarm-high-level"
TICKET = frozenset({"homie/5/pumphouse/commands/ticket"})
NO_CLOCK = replace(shown.NOW, trusted=False)
AT = Stamp(shown.NOW.up - 20 * MINUTE, shown.WALL - 20 * MINUTE, True)
BEFORE_THE_CLOCK = Stamp(shown.NOW.up - 20 * MINUTE - 7 * SECOND, 0, False)
MARK = Mark("ben", AT, shown.NOW.up + HOUR, shown.WALL + HOUR, "new motor")


def tree(state: State, now: Now = shown.NOW, plan: Plan | None = None) -> Mapping[str, str]:
    """The whole tree, which keeps every rule of the convention."""
    whole = homie.tree(state, plan or shown.plan(), now)
    assert faults(whole, TICKET) == []
    return whole


def cabin(**changes: object) -> State:
    """The cabin with its high level that stands, and these changes of its subject."""
    state = shown.high()
    subject = replace(state.subjects["panel:cabin"], **changes)  # type: ignore[arg-type]
    return replace(state, subjects={subject.id: subject})


def alarm(**changes: object) -> State:
    return shown.high(**changes)  # type: ignore[arg-type]


# The shown state: the standard's three marks before its process states (ISA-18.2).

MARKS: dict[str, tuple[State, str, str]] = {
    "none": (alarm(), "UNACK", devices.EMPTY),
    "paused": (alarm(shelved=MARK), "SHLVD", "paused until 04:00 by Ben (new motor)"),
    "not shown by design": (
        alarm(suppressed="the alarm circuit is dead"),
        "DSUPR",
        "not shown because the alarm circuit is dead",
    ),
    "out of service": (
        alarm(out=MARK),
        "OOSRV",
        "out of service until 04:00 by Ben (new motor)",
    ),
    "its panel is out of service": (
        cabin(out=MARK),
        "OOSRV",
        "its panel is out of service until 04:00 by Ben (new motor)",
    ),
    "all of them: out of service first": (
        alarm(out=MARK, shelved=MARK, suppressed="x"),
        "OOSRV",
        "out of service until 04:00 by Ben (new motor)",
    ),
    "paused and not shown by design: paused first": (
        alarm(shelved=MARK, suppressed="x"),
        "SHLVD",
        "paused until 04:00 by Ben (new motor)",
    ),
}


@pytest.mark.parametrize(("state", "value", "quiet"), MARKS.values(), ids=MARKS)
def test_the_state_of_an_alarm_is_shown_with_its_marks_and_why(
    state: State, value: str, quiet: str
) -> None:
    whole = tree(state)
    assert whole[f"{HIGH}/state"] == value
    assert whole[f"{HIGH}/quiet"] == quiet
    assert f"({value}, high, not taken by anybody)" in whole[f"{CABIN}/$alert/high-level"]


def test_an_alarm_that_was_never_raised_is_shown_with_its_mark() -> None:
    paused = Alarm("high-level", shown.high().subjects["panel:cabin"].alarms["high-level"].priority)
    subject = Subject("panel:cabin", {"high-level": replace(paused, shelved=MARK)})
    whole = tree(replace(shown.quiet(), subjects={subject.id: subject}))
    assert whole[f"{HIGH}/state"] == "SHLVD"
    assert whole[f"{HIGH}/occurrence"] == devices.EMPTY
    assert f"{CABIN}/$alert/high-level" not in whole


def test_every_state_that_can_be_shown_is_in_the_description() -> None:
    said = json.loads(tree(shown.quiet())[f"{CABIN}/$description"])
    states = said["nodes"]["alarm-high-level"]["properties"]["state"]["format"].split(",")
    assert states == [*(each.value for each in Process), "SHLVD", "DSUPR", "OOSRV"]


def test_without_a_set_clock_a_mark_s_end_is_told_as_a_duration() -> None:
    whole = tree(alarm(shelved=MARK), NO_CLOCK)
    assert whole[f"{HIGH}/quiet"] == "paused for 1 h 00 min by Ben (new motor)"


# The horn


def horn(**changes: object) -> State:
    return cabin(horn=replace(Horn(), **changes))  # type: ignore[arg-type]


STANDINGS = {
    HornStanding.PROVED: "proved",
    HornStanding.DISCONNECTED: "disconnected",
    HornStanding.SILENT: "silent-at-alarm",
    HornStanding.NOT_KNOWN: "not-known",
}


@pytest.mark.parametrize("standing", HornStanding)
def test_the_horn_s_standing_is_one_of_four(standing: HornStanding) -> None:
    whole = tree(horn(standing=standing))
    assert whole[f"{CABIN}/horn/standing"] == STANDINGS[standing]
    said = json.loads(whole[f"{CABIN}/$description"])
    form = said["nodes"]["horn"]["properties"]["standing"]["format"]
    assert set(form.split(",")) == set(STANDINGS.values())


def test_the_horn_shows_its_row_how_it_came_to_be_known_and_since_when() -> None:
    whole = tree(
        horn(standing=HornStanding.DISCONNECTED, row="H6", why="declared by Ben", since=AT)
    )
    values = {name: whole[f"{CABIN}/horn/{name}"] for name in ("standing", "row", "says", "since")}
    # 1,800,000,000 s is 2027-01-15 08:00:00 UTC; 20 minutes earlier, five hours west.
    assert values == {
        "standing": "disconnected",
        "row": "H6",
        "says": "declared by Ben",
        "since": "2027-01-15T02:40:00-05:00",
    }


def test_a_horn_of_which_nothing_is_known_has_blanks() -> None:
    whole = tree(shown.quiet())
    assert whole[f"{CABIN}/horn/standing"] == "not-known"
    assert {whole[f"{CABIN}/horn/{each}"] for each in ("row", "says", "since")} == {devices.EMPTY}


SINCE = {
    "clock set then and now": (AT, shown.NOW, "2027-01-15T02:40:00-05:00"),
    "clock set since: worked out, to the minute": (
        BEFORE_THE_CLOCK,
        shown.NOW,
        "2027-01-15T02:40:00-05:00",
    ),
    "clock not set now": (AT, NO_CLOCK, devices.EMPTY),
    "clock not set in an earlier boot": (
        BEFORE_THE_CLOCK,
        replace(shown.NOW, boot="boot-2"),
        devices.EMPTY,
    ),
}


@pytest.mark.parametrize(("since", "now", "wanted"), SINCE.values(), ids=SINCE)
def test_since_when_is_shown_only_where_it_can_be_known(
    since: Stamp, now: Now, wanted: str
) -> None:
    assert tree(horn(since=since), now)[f"{CABIN}/horn/since"] == wanted


# Work at the panel


def work(state: State, now: Now = shown.NOW) -> dict[str, str]:
    base = f"{CABIN}/work/"
    whole = tree(state, now)
    return {topic[len(base) :]: value for topic, value in whole.items() if topic.startswith(base)}


def test_nobody_at_the_panel_and_nothing_to_undo() -> None:
    assert work(shown.quiet()) == {
        "visitor": devices.EMPTY,
        "visit-until": devices.EMPTY,
        "out-by": devices.EMPTY,
        "out-until": devices.EMPTY,
        "loose-ends": "0",
        "loose-keys": "[]",
        "loose": "[]",
        "loose-says": devices.EMPTY,
    }


def test_a_visit_shows_who_is_there_and_until_when() -> None:
    visit = Visit("ben", AT, shown.NOW.up + 2 * HOUR, shown.WALL + 2 * HOUR)
    values = work(cabin(visit=visit))
    assert (values["visitor"], values["visit-until"]) == ("ben", "2027-01-15T05:00:00-05:00")
    values = work(cabin(visit=visit), NO_CLOCK)
    assert (values["visitor"], values["visit-until"]) == ("ben", devices.EMPTY)


def test_loose_ends_are_counted_named_and_told() -> None:
    ends = {key: LooseEnd(key, AT, "ben") for key in ("horn-wire", "in-off-2")}
    assert work(cabin(loose=ends)) == {
        "visitor": devices.EMPTY,
        "visit-until": devices.EMPTY,
        "out-by": devices.EMPTY,
        "out-until": devices.EMPTY,
        "loose-ends": "2",
        "loose-keys": '["horn-wire", "in-off-2"]',
        "loose": '[{"key": "horn-wire", "by": "ben", "since": "2027-01-15T02:40:00-05:00", "why": ""},'
        ' {"key": "in-off-2", "by": "ben", "since": "2027-01-15T02:40:00-05:00", "why": ""}]',
        "loose-says": "the horn's wire is disconnected: the next alarm will be silent at the panel;"
        " the switch of pump 2 stands in Off: it never starts by itself",
    }


def test_what_happens_at_a_panel_never_changes_its_description() -> None:
    visit = Visit("ben", AT, shown.NOW.up + HOUR, shown.WALL + HOUR)
    ends = {"horn-wire": LooseEnd("horn-wire", AT, "ben")}
    busy = tree(cabin(visit=visit, loose=ends, horn=Horn(HornStanding.DISCONNECTED, AT)))
    at = f"{CABIN}/$description"
    assert busy[at] == tree(shown.quiet())[at]


# The unit's own inputs

OWN = (
    Input("unit.supply", "unit", Means.UNIT_POWER, Position.OPEN),
    Input("unit.generator", "unit", Means.ON_GENERATOR, Position.CLOSED),
)


def test_the_unit_s_own_inputs_are_shown_by_the_unit() -> None:
    live = Live(
        {
            "unit.supply": InputState(Filter(False, 0, closed=False)),
            "unit.generator": InputState(Filter(True, 0, closed=True)),
        }
    )
    plan = replace(shown.plan(), inputs=OWN)
    whole = tree(replace(shown.quiet(), live={"unit": live}), plan=plan)
    base = "homie/5/pumphouse"
    values = {
        name: whole[f"{base}/{name}"]
        for name in ("inputs/supply", "facts/supply", "inputs/generator", "facts/generator")
    }
    assert values == {
        "inputs/supply": "open",
        "facts/supply": "alarm",
        "inputs/generator": "closed",
        "facts/generator": "alarm",
    }


def test_the_unit_s_own_inputs_before_anything_was_read() -> None:
    whole = tree(shown.quiet(), plan=replace(shown.plan(), inputs=OWN))
    assert whole["homie/5/pumphouse/inputs/supply"] == "unsettled"
    assert whole["homie/5/pumphouse/facts/supply"] == "unknown"


def test_a_unit_without_inputs_of_its_own_has_no_such_nodes() -> None:
    whole = tree(shown.quiet())
    assert not [each for each in whole if each.startswith("homie/5/pumphouse/inputs/")]


# Times

TIMES = ("alarm-high-level/since", "alarm-high-level/taken-until", "horn/since", "work/visit-until")


@pytest.mark.parametrize("now", [shown.NOW, NO_CLOCK], ids=["clock set", "clock not set"])
def test_each_time_is_iso_8601_with_its_offset_or_blank(now: Now) -> None:
    """The convention's `datetime` allows no empty value, so 'not known' needs a `string`."""
    visit = Visit("ben", AT, shown.NOW.up + HOUR, shown.WALL + HOUR)
    state = shown.taken()
    subject = replace(state.subjects["panel:cabin"], horn=Horn(since=AT), visit=visit)
    whole = tree(replace(state, subjects={subject.id: subject}), now)
    nodes = json.loads(whole[f"{CABIN}/$description"])["nodes"]
    for name in TIMES:
        node, _, prop = name.partition("/")
        assert nodes[node]["properties"][prop]["datatype"] == "string"
        value = whole[f"{CABIN}/{name}"]
        if now.trusted:
            assert datetime.fromisoformat(value).utcoffset() == timedelta(hours=-5)
        else:
            assert value == devices.EMPTY
