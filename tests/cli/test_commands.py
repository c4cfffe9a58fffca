"""Each command against a fake daemon: what it asks, what it prints, how it ends."""

import json
from datetime import UTC, datetime

import pytest

from relayd.core.effects import Answer
from relayd.core.events import Acknowledge, Act, Command, Commanded, Looked
from relayd.core.plan import MINUTE
from relayd.errors import NotReachable, Refused, RelaydError, Usage
from tests.cli.conftest import Relayd
from tests.cli.test_status import ALARM, PANEL, UNIT
from tests.control.fake import FakeDaemon, refused

STATUS = {"unit": UNIT, "panels": [PANEL]}


def commanded(daemon: FakeDaemon) -> Commanded:
    event = daemon.happened()
    assert isinstance(event, Commanded)
    return event


@pytest.mark.parametrize(
    ("arguments", "means"),
    [
        pytest.param(["creek-1"], Acknowledge(panel="creek-1"), id="a panel"),
        pytest.param(["unit-1.k3f9ab.12"], Acknowledge("unit-1.k3f9ab.12"), id="an occurrence"),
        pytest.param(["p", "--seen"], Acknowledge(panel="p", act=Act.SEEN), id="seen"),
        pytest.param(["p", "--taken"], Acknowledge(panel="p", act=Act.TAKEN), id="taken"),
        pytest.param(
            ["p", "--within", "45 min"],
            Acknowledge(panel="p", act=Act.TAKEN, within=45 * MINUTE),
            id="a time says that one has it",
        ),
        pytest.param([], Acknowledge(panel="creek-1"), id="the only place with an open alarm"),
    ],
)
def test_ack_asks_for(
    daemon: FakeDaemon, relayd: Relayd, arguments: list[str], means: Command
) -> None:
    daemon.reads = STATUS
    shown = relayd("ack", *arguments)
    assert shown.exit_code == 0
    assert shown.stdout == "Anna has it until 14:00; told: Bert\n"
    posted = commanded(daemon)
    assert (posted.command, posted.by) == (means, "anna")


def test_ack_until_is_the_site_s_time(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = {"unit": {**UNIT, "zone": "Pacific/Kiritimati"}, "panels": []}
    assert relayd("ack", "p", "--until", "14:00").exit_code == 0
    command = commanded(daemon).command
    assert isinstance(command, Acknowledge)
    assert command.until is not None
    # Kiritimati is 14 h ahead of UTC all the year.
    assert f"{datetime.fromtimestamp(command.until // 10**9, UTC):%H:%M:%S}" == "00:00:00"


@pytest.mark.parametrize(
    ("status", "says"),
    [
        pytest.param({}, "no alarm is open", id="none"),
        pytest.param(
            {"panels": [PANEL, {"id": "hill-1", "alarms": [ALARM]}]}, "creek-1, hill-1", id="two"
        ),
    ],
)
def test_ack_without_a_place_asks_which(
    daemon: FakeDaemon, relayd: Relayd, status: dict[str, object], says: str
) -> None:
    daemon.reads = status
    shown = relayd("ack")
    assert isinstance(shown.exception, RelaydError)
    assert says in str(shown.exception)
    assert daemon.events.empty()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        pytest.param(["--until", "14:00", "--within", "1 h"], "not both", id="two times"),
        pytest.param(["--seen", "--within", "1 h"], "--seen takes no time", id="seen for a time"),
        pytest.param(["--within", "1"], "not a time", id="no unit"),
        pytest.param(["--until", "two"], "not a time", id="no clock"),
    ],
)
def test_ack_refuses(daemon: FakeDaemon, relayd: Relayd, arguments: list[str], says: str) -> None:
    shown = relayd("ack", "creek-1", *arguments)
    assert isinstance(shown.exception, Usage)
    assert says in str(shown.exception)
    assert daemon.events.empty()


def test_who_asks_must_be_known(daemon: FakeDaemon, relayd: Relayd) -> None:
    shown = relayd("ack", "creek-1", RELAYD_PERSON="")
    assert isinstance(shown.exception, Usage)
    assert "--by" in str(shown.exception)
    assert "RELAYD_PERSON" in str(shown.exception)
    assert relayd("ack", "creek-1", "--by", "bert", RELAYD_PERSON="").exit_code == 0
    assert commanded(daemon).by == "bert"


def test_a_refusal_is_the_daemon_s_own_words(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.says = Answer("", False, "unknown-person", "nobody is called 'anna'")
    shown = relayd("ack", "creek-1")
    assert isinstance(shown.exception, Refused)
    assert str(shown.exception) == "nobody is called 'anna'"


@pytest.mark.parametrize(("level", "normal"), [("normal", True), ("high", False)])
def test_looked_says_what_was_seen(
    daemon: FakeDaemon, relayd: Relayd, level: str, normal: bool
) -> None:
    assert relayd("looked", "creek-1", "--level", level).exit_code == 0
    assert commanded(daemon).command == Looked("creek-1", normal)


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["looked", "creek-1"], id="no level"),
        pytest.param(["looked", "creek-1", "--level", "fine"], id="an odd level"),
        pytest.param(["log", "--last", "0"], id="no records"),
        pytest.param(["log", "--last", "1000"], id="too many records"),
        pytest.param(["dance"], id="an odd command"),
        pytest.param(["status", "--colour"], id="an odd option"),
    ],
)
def test_wrong_usage_ends_with_2(relayd: Relayd, arguments: list[str]) -> None:
    shown = relayd(*arguments)
    assert shown.exit_code == 2
    assert "Usage:" in shown.stderr


def test_status_is_plain_where_nobody_looks(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = STATUS
    shown = relayd("status")
    assert shown.exit_code == 0
    assert "ALARM High level (high): nobody has answered yet" in shown.stdout
    assert "\x1b" not in shown.stdout


def test_status_of_one_panel(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = {"unit": UNIT, "panels": [PANEL, {"id": "hill-1", "name": "Hill pump"}]}
    shown = relayd("status", "hill-1")
    assert shown.stdout.splitlines() == ["open alarms: none", "", "Hill pump (hill-1)"]
    odd = relayd("status", "hill-2")
    assert "no panel is called 'hill-2'; the plan knows: creek-1, hill-1" in str(odd.exception)


def test_status_as_json_is_what_the_daemon_told(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = STATUS
    assert json.loads(relayd("status", "--json").stdout) == STATUS


def test_what_would_move_the_cursor_is_not_printed(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = {"panels": [{**PANEL, "name": "Creek\x1b[2J\npump"}]}
    assert "Creek?[2J?pump (creek-1)" in relayd("status").stdout


RECORDS = {"records": [{"when": "02:10", "kind": "input found", "body": {"input": "p.level"}}]}


def test_log_asks_for_what_is_wanted(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = RECORDS
    shown = relayd("log", "--panel", "creek-1", "--last", "7")
    assert shown.stdout == "02:10  p.level can be read again\n"
    assert daemon.asked.get(timeout=1)[0] == "status"  # for the site's zone
    do, asked = daemon.asked.get(timeout=1)
    assert (do, asked["panel"], asked["last"]) == ("log", "creek-1", 7)
    assert "since" not in asked


def test_log_says_when_there_may_be_more(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = RECORDS
    assert "(only the last 1; --last shows more)" in relayd("log", "--last", "1").stdout


def test_log_since_is_the_site_s_time(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = {**RECORDS, "unit": {"zone": "Pacific/Kiritimati"}}
    assert relayd("log", "--since", "2026-01-10 14:00").exit_code == 0
    assert daemon.asked.get(timeout=1)[0] == "status"
    _, asked = daemon.asked.get(timeout=1)
    assert asked["since"] == datetime(2026, 1, 10, tzinfo=UTC).timestamp() * 10**9


def test_log_as_json_is_what_the_daemon_told(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = RECORDS
    assert json.loads(relayd("log", "--json").stdout) == RECORDS


def test_log_why_says_why_it_is_quiet(daemon: FakeDaemon, relayd: Relayd) -> None:
    daemon.reads = {"lines": [{"panel": "creek-1", "say": "Anna has it until 14:00."}]}
    shown = relayd("log", "--why", "--panel", "creek-1")
    assert shown.stdout == "creek-1: Anna has it until 14:00.\n"
    do, asked = daemon.asked.get(timeout=1)
    assert (do, asked["panel"]) == ("why", "creek-1")
    assert json.loads(relayd("log", "--why", "--json").stdout) == daemon.reads


def test_reload_prints_the_answer(daemon: FakeDaemon, relayd: Relayd) -> None:
    assert relayd("reload").stdout == "reload has begun\n"


def test_a_refused_reload_names_the_problem(daemon: FakeDaemon, relayd: Relayd) -> None:
    refused(daemon, ["relayd.toml:3: unit.zone: no such zone"])
    shown = relayd("reload")
    assert isinstance(shown.exception, Refused)
    assert "unit.zone: no such zone" in str(shown.exception)


@pytest.mark.parametrize(
    "command", [["status"], ["ack", "p"], ["log"], ["log", "--why"], ["reload"]]
)
def test_no_daemon_is_said(relayd: Relayd, command: list[str]) -> None:
    shown = relayd(*command)
    assert isinstance(shown.exception, NotReachable)
    assert "is it running?" in str(shown.exception)
