"""`relayd tree`: a plan's topics as a broker would hold them, and what a subscriber collected."""

import json
from pathlib import Path

import pytest

from relayd.convention import check_tree
from relayd.errors import RelaydError
from tests.cli.conftest import Relayd
from tests.house.tree import ROOT

PLANS = [str(each) for each in sorted((ROOT / "deploy").glob("plan.*.toml"))]
every_plan = pytest.mark.parametrize("plan", PLANS, ids=lambda each: Path(each).name)


def topics(relayd: Relayd, *words: str) -> dict[str, str]:
    told: dict[str, str] = json.loads(relayd("tree", *words, "--json").stdout)["topics"]
    return told


@every_plan
def test_a_plan_s_tree_keeps_to_the_convention_away_from_its_unit(
    relayd: Relayd, plan: str
) -> None:
    shown = relayd("tree", plan, "--check")
    assert shown.exit_code == 0
    assert "keeps to the Homie convention, version 5; doubtful: 0" in shown.stdout


@every_plan
def test_every_property_is_printed_with_what_it_may_hold(relayd: Relayd, plan: str) -> None:
    lines = relayd("tree", plan).stdout.splitlines()
    described = {
        f"{node}/{name}"
        for topic, text in topics(relayd, plan).items()
        if topic.endswith("/$description")
        for node, said in json.loads(text)["nodes"].items()
        for name in said["properties"]
    }
    printed = {each.strip().partition("  ")[0] for each in lines if each.startswith("    ")}
    assert {each.rpartition("/")[2] for each in described} == printed
    assert any("    state  enum NORM,UNACK," in each for each in lines)


def test_what_a_subscriber_collected_is_read_and_judged(relayd: Relayd, tmp_path: Path) -> None:
    whole = topics(relayd, PLANS[0])
    file = tmp_path / "collected"
    file.write_text("".join(f"{topic} {payload}\n" for topic, payload in whole.items()))
    good = relayd("tree", "--collected", str(file), "--check")
    assert (good.exit_code, "doubtful: 0" in good.stdout) == (0, True), good.stdout
    state = next(topic for topic in whole if topic.endswith("alarm-high-level/state"))
    file.write_text(file.read_text().replace(f"{state} NORM", f"{state} FINE"))
    bad = relayd("tree", "--collected", str(file), "--check")
    assert bad.exit_code == 1
    assert f"{state}: " in bad.stdout
    assert "breaks the convention: 1, doubtful: 0" in bad.stdout
    found = json.loads(relayd("tree", "--collected", str(file), "--check", "--json").stdout)
    assert [each["rule"] for each in found["findings"]] == ["enum"]
    assert found["findings"][0]["mend"]


def test_a_program_s_tree_and_the_printed_one_are_the_same(relayd: Relayd) -> None:
    told = {topic: text.encode() for topic, text in topics(relayd, PLANS[0]).items()}
    later = [next(each for each in told if each.endswith("/$description"))]
    assert check_tree(told, later, whole=False) == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("homie/5/x/$state\n", "line 1: expected 'topic payload'"),
        ("homie/5/x/$state ready\nnonsense here\n", "line 2: expected 'topic payload'"),
        ("", "holds no topic; is the unit connected to that broker?"),
    ],
)
def test_what_is_no_collection_is_refused_with_what_to_do(
    relayd: Relayd, tmp_path: Path, text: str, says: str
) -> None:
    file = tmp_path / "collected"
    file.write_text(text)
    shown = relayd("tree", "--collected", str(file))
    assert isinstance(shown.exception, RelaydError)
    assert says in str(shown.exception)


def test_a_file_that_is_not_there_is_said(relayd: Relayd, tmp_path: Path) -> None:
    shown = relayd("tree", "--collected", str(tmp_path / "gone"))
    assert "cannot be read: No such file or directory" in str(shown.exception)


def test_alerts_and_what_has_no_description_are_shown_as_they_are(
    relayd: Relayd, tmp_path: Path
) -> None:
    file = tmp_path / "collected"
    file.write_text(
        'homie/5/x/$description {"homie": "5.0", "name": "X", "version": 1}\n'
        "homie/5/x/$alert/high-level High level\nhomie/5/y/$description nonsense\n"
    )
    lines = relayd("tree", "--collected", str(file)).stdout.splitlines()
    assert lines == ["homie/5/x  X", "  $alert/high-level  High level", "homie/5/y  "]
