"""The plans in deploy/ load, doubt exactly what their comments name, and tell the truth about defaults."""

import re
from pathlib import Path

import pytest

from relayd.core.plan import MINUTE, Means, Priority
from relayd.settings import Loaded, load, outline
from relayd.settings.schema import FREE, TABLES, keys
from tests.servers.certificates import Authority
from tests.settings.plans import WALL, written

DEPLOY = Path(__file__).parents[2] / "deploy"
EXAMPLE = DEPLOY / "relayd.example.toml"
PLANS = ("plan.cabin.toml", "plan.manager.toml", "plan.integrator.toml")
NAMED = re.compile(r"^#   - (.*?)(?=^#   - |^#?$)", re.MULTILINE | re.DOTALL)


def example(folder: Path, text: str) -> Loaded:
    for name in re.findall(r'^(?:address|password)_from = "([\w-]+)"', text, re.MULTILINE):
        way = "https" if name == "dead-man" else "json"
        (folder / name).write_text(f"{way}://127.0.0.1\n")
        (folder / name).chmod(0o600)
    return load(written(folder, text), folder, wall=WALL)


def doubts(loaded: Loaded) -> list[tuple[str, str]]:
    """Each warning's key and its words."""
    parts = [each.partition("plan.toml:")[2].split(": ", 2) for each in loaded.warnings]
    return [(key, say) for _, key, say in parts]


def test_the_example_loads_without_a_warning(tmp_path: Path) -> None:
    found = example(tmp_path, EXAMPLE.read_text())
    assert found.warnings == ()
    assert list(found.plan.people) == ["anna", "ben"]


def test_what_the_example_calls_a_default_is_the_default(tmp_path: Path) -> None:
    plain = EXAMPLE.read_text()
    Authority(tmp_path, "ca")
    shown = re.compile(r"^# (\w+ = (?:\"[^\"]*\"|\[[^\]]*\]|\w+)) ", re.MULTILINE)
    left_out = r"^# (port|ca|pump|at_most|second_line|pump_down|path|certificate|key_from) = .*\n"
    given = shown.sub(r"\1 ", re.sub(left_out, "", plain, flags=re.MULTILINE))
    assert plain.count("\n# ") - given.count("\n# ") > 25
    before, after = example(tmp_path, plain), example(tmp_path, given)
    assert (after.plan, after.rig) == (before.plan, before.rig)


def test_the_example_shows_every_key() -> None:
    text = EXAMPLE.read_text()
    wanted = {key for table in TABLES.values() for key in keys(table)}
    assert {key for key in wanted if not re.search(rf"\b{key}\b", text)} == set()
    assert all(f"[{'.'.join(names)}]" in text for names in FREE)


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        (
            "plan.cabin.toml",
            [
                ("panel.input.contact_follows", "is not known: a contact that goes back"),
                ("panel.input.in_alarm", '"closed": a cut wire reads normal'),
            ],
        ),
        (
            "plan.manager.toml",
            [
                ("panel.input", "has no pump-running or pump-called"),
                ("panel.input.unpowered", "this contact goes on without the alarm circuit"),
            ]
            * 2,
        ),
        ("plan.integrator.toml", []),
    ],
    ids=PLANS,
)
def test_a_plan_has_exactly_the_warnings_that_its_comments_name(
    tmp_path: Path, name: str, wanted: list[tuple[str, str]]
) -> None:
    text = (DEPLOY / name).read_text()
    found = doubts(example(tmp_path, text))
    assert [
        (key, say[: len(more)]) for (key, say), (_, more) in zip(found, wanted, strict=True)
    ] == wanted
    named = "\n".join(NAMED.findall(text))
    for key, say in found:
        assert key.rpartition(".")[2] in named or (
            "pump-running" in named and "pump-running" in say
        )
    assert bool(named) == bool(found)
    assert not found or "is silent" in named or "are silent" in named


def test_the_cabins_basin_outlasts_its_call_list(tmp_path: Path) -> None:
    """Trade 5: the last person's time beside the basin's reserve; 1.20: what is told of the pump."""
    lines = outline(example(tmp_path, (DEPLOY / PLANS[0]).read_text()), WALL)
    assert lines[:5] == [
        "Cellar pump (cellar)",
        "  can tell: High level; Alarm circuit lost; Level keeps reaching the alarm; Unstable supply; "
        "Alarm circuit left off; Pump runs, level does not fall; Pump not seen to run",
        "  of pump 1: Pump power lost; Pump runs too long; Pump starts too often; Pump has not started; "
        "Pump's contacts contradict each other; cannot tell whether it is called",
        "  a high alarm at 03:00: Robin at once, which wakes; Alex after 2 min, which wakes",
        "  in the worst case the last person is told after 3 min; this basin's pessimistic reserve is 1 h 30 min",
    ]


def test_the_managers_plan_knows_who_is_on_call_that_night(tmp_path: Path) -> None:
    found = example(tmp_path, (DEPLOY / PLANS[1]).read_text())
    lines = outline(found, WALL)
    night = [each.strip() for each in lines if "03:00" in each]
    # 25 November 2025 lies in the week from Monday the 24th: six weeks before Dana's 5 January.
    assert night[0] == (
        "a high alarm at 03:00: Dana (on call: technician) at once, which wakes; "
        "Faye after 8 min, which wakes"
    )
    assert found.plan.people["luz"].language == "es"
    assert found.plan.least == {"dana.call": Priority.MEDIUM, "faye.call": Priority.HIGH}
    assert found.plan.work == "office"
    lift = found.plan.panels["lift"]
    assert [each.pump for each in lift.inputs if each.means is Means.PUMP_RUNNING] == [1, 2]
    assert lift.realarm == {}


def test_the_integrators_plan_has_both_throws_on_the_rig(tmp_path: Path) -> None:
    found = example(tmp_path, (DEPLOY / PLANS[2]).read_text())
    wired = {each.input: each.line for each in found.rig.lines}
    assert (wired["plant.high-level"], wired["plant.high-level-other"]) == (4, 5)
    assert found.plan.panels["plant"].realarm == {
        "high-level": 45 * MINUTE,
        "air-supply": 2880 * MINUTE,
    }
    (broker,) = found.rig.brokers
    assert broker.tls
    assert found.plan.remote_commands
    assert list(found.plan.texts) == ["high-level:en:short", "high-level:es:short"]


YEAR_NS = 366 * 24 * 3600 * 10**9


@pytest.mark.parametrize("wall", [0, 1, -YEAR_NS, 3 * YEAR_NS, 80 * YEAR_NS, 2**63 - 1, -(2**63)])
def test_no_time_that_a_clock_can_show_keeps_the_plan_from_being_resolved(
    tmp_path: Path, wall: int
) -> None:
    plan = example(tmp_path, EXAMPLE.read_text()).as_of(wall)
    assert plan.panels
