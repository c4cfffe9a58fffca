"""The journal in sentences."""

import ast
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import relayd.core
from relayd.cli.records import SENTENCES, line, lines, when, why_lines

RECORD = {
    "n": 3,
    "wall": 1_764_036_631_000_000_000,
    "trusted": True,
    "kind": "raised",
    "subject": "panel:creek-1",
    "body": {"condition": "high-level", "row": "L10", "occurrence": "u.k.12", "detail": ""},
}


def recorded_kinds() -> set[str]:
    """Every kind that the core writes, as far as it stands in the source as a text."""
    kinds = set()
    for path in Path(relayd.core.__path__[0]).rglob("*.py"):
        for call in ast.walk(ast.parse(path.read_text())):
            if (
                isinstance(call, ast.Call)
                and isinstance(call.func, ast.Attribute)
                and call.func.attr == "record"
                and isinstance(call.args[0], ast.Constant)
            ):
                kinds.add(str(call.args[0].value))
    return kinds


def test_each_kind_that_the_core_records_has_a_sentence() -> None:
    kinds = recorded_kinds()
    assert len(kinds) > 10
    assert kinds - SENTENCES.keys() == set()


def test_a_record_has_its_time_its_panel_and_its_sentence() -> None:
    shown = line(RECORD).text
    assert shown.startswith("2025-11-25 02:10:31 UTC  creek-1: High level was raised (u.k.12)")
    assert shown.endswith(
        "The level contact is in alarm: the water stands at or above the alarm float."
    )


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        pytest.param({"when": "02:10"}, "02:10", id="the site's time"),
        pytest.param({"trusted": False}, "2025-11-25 02:10:31 UTC (clock not set)", id="no clock"),
        pytest.param({"wall": None}, "", id="no time"),
    ],
)
def test_the_time_is_the_daemon_s_word(changes: dict[str, object], says: str) -> None:
    assert when({**RECORD, **changes}) == says


@pytest.mark.parametrize(
    ("record", "says"),
    [
        pytest.param(
            {"kind": "acknowledged", "subject": "panel:p", "body": {"person": "anna", "act": "taken", "condition": "high-level"}},
            "p: anna has taken it: High level",
            id="taken",
        ),
        pytest.param(
            {"kind": "not told", "subject": "panel:p", "body": {"person": "anna", "condition": "pump-power", "why": "has seen it already"}},
            "p: anna was not told of it: Pump power lost: has seen it already",
            id="why somebody was not told",
        ),
        pytest.param(
            {"kind": "notice made", "subject": "unit", "body": {"notice": "u.k.3", "person": "anna", "channels": ["anna-mail", "anna-text"], "why": "raised", "condition": "mqtt-down"}},
            "unit: notice u.k.3 for anna over anna-mail, anna-text (raised): MQTT broker not reached",
            id="a notice",
        ),
        pytest.param(
            {"kind": "send failed", "subject": "channel:anna-mail", "body": {"channel": "anna-mail", "notice": "u.k.3", "tries": 2, "outcome": "failed"}},
            "channel anna-mail: anna-mail did not take notice u.k.3 (try 2): failed",
            id="a fact is missing",
        ),
        pytest.param(
            {"kind": "clock judged", "subject": "unit", "body": {"trusted": False}},
            "unit: the clock is not set",
            id="the clock",
        ),
        pytest.param(
            {"kind": "brand new", "subject": "unit", "body": {"a": 1, "b": "x"}},
            "unit: brand new: a=1 b=x",
            id="a kind of a later version",
        ),
        pytest.param(
            {"kind": "raised", "subject": "unit", "say": "in the daemon's words", "body": {}},
            "unit: in the daemon's words",
            id="the daemon's own words win",
        ),
        pytest.param(
            {"what": "send", "ref": "u.k.3", "channel": "anna-mail", "title": "HIGH LEVEL"},
            "notice u.k.3 goes out over anna-mail: HIGH LEVEL",
            id="a live event",
        ),
        pytest.param(
            {"what": "input", "input": "p.level", "reads": "closed"},
            "p.level reads closed",
            id="a live input",
        ),
        pytest.param({"missed": 3}, "3 events are missing here: they came too fast", id="a gap"),
        pytest.param({}, ":", id="nothing at all"),
    ],
)  # fmt: skip
def test_a_record_is_a_sentence(record: dict[str, object], says: str) -> None:
    assert line(record).text == says


def test_a_record_of_a_site_has_the_site_s_time() -> None:
    shown = when(RECORD, ZoneInfo("America/New_York"))
    assert shown == "2025-11-24 21:10:31 EST"


def test_no_records_is_said() -> None:
    assert [each.text for each in lines({})] == ["no records"]


def test_why_it_is_quiet_is_shown_fact_by_fact() -> None:
    answer = {
        "lines": [
            {"panel": "creek-1", "say": "Anna has it until 14:00."},
            {"when": "02:10", "say": "It returned."},
        ]
    }
    assert [each.text for each in why_lines(answer)] == [
        "creek-1: Anna has it until 14:00.",
        "02:10  It returned.",
    ]
    assert [each.text for each in why_lines({})] == ["nothing is known of that"]
