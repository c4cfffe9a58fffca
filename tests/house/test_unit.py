"""The systemd unit keeps its promises, as far as systemd's own tools can tell without running it."""

import json
import shutil
import subprocess
from collections import defaultdict
from pathlib import Path

import pytest

from tests.house.tree import ROOT

UNIT = ROOT / "systemd" / "relayd.service"
EXPOSURE_AT_MOST = 1.6

analyze = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not on this machine"
)


def directives(path: Path) -> dict[str, list[str]]:
    """'Section.Key' to its values in order; a unit file repeats keys, so configparser cannot."""
    found: dict[str, list[str]] = defaultdict(list)
    section = ""
    for line in path.read_text().splitlines():
        if line.startswith("["):
            section = line.strip("[]")
        elif line and not line.startswith("#"):
            key, _, value = line.partition("=")
            found[f"{section}.{key}"].append(value)
    return found


@analyze
def test_systemd_finds_nothing_to_say_about_the_unit(tmp_path: Path) -> None:
    # The program is installed elsewhere; its path is the one thing that cannot be checked here.
    program = directives(UNIT)["Service.ExecStart"][0].split()[0]
    copy = tmp_path / "relayd.service"
    copy.write_text(UNIT.read_text().replace(program, "/bin/true"))
    checked = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(copy)], capture_output=True, text=True
    )
    assert (checked.returncode, checked.stdout, checked.stderr) == (0, "", "")


@analyze
def test_the_unit_is_exposed_no_more_than_allowed() -> None:
    # The figure is systemd's own weighing of the sandbox, 0 to 10; the bound is ours.
    # It exits 1 where the exposure is above the threshold (in tenths).
    checked = subprocess.run(
        [
            "systemd-analyze",
            "security",
            "--offline=true",
            f"--threshold={EXPOSURE_AT_MOST * 10:.0f}",
            "--json=short",
            str(UNIT),
        ],
        capture_output=True,
        text=True,
    )
    assert checked.returncode == 0, checked.stderr
    assert len(json.loads(checked.stdout)) > 50, "the analysis looked at nothing"


@pytest.mark.parametrize("key", ["IPAddressAllow", "IPAddressDeny"])
def test_the_figure_is_not_bought_by_a_rule_that_allows_every_address(key: str) -> None:
    assert directives(UNIT)[f"Service.{key}"] == []


@pytest.mark.parametrize(
    ("key", "value"),
    [
        pytest.param("Service.Type", "notify", id="ready is said by the daemon itself"),
        pytest.param("Service.Restart", "always", id="it comes back, however it ended"),
        pytest.param("Unit.StartLimitIntervalSec", "0", id="systemd never gives it up"),
        pytest.param("Service.RestartPreventExitStatus", "78", id="but for a plan nobody can use"),
        pytest.param("Service.User", "relayd", id="it is not root"),
        pytest.param("Service.CapabilityBoundingSet", "", id="it can never become so"),
        pytest.param("Service.DevicePolicy", "closed", id="no devices"),
        pytest.param("Service.DeviceAllow", "char-gpiochip rw", id="but the chips, by driver"),
        pytest.param("Service.StateDirectoryMode", "0700", id="the journal is its own"),
        pytest.param("Service.RuntimeDirectoryMode", "0750", id="the group reaches the socket"),
        pytest.param("Service.LimitCORE", "0", id="no memory image with secrets in it"),
        pytest.param("Service.OOMPolicy", "continue", id="one greedy send does not end it"),
    ],
)
def test_the_unit_says(key: str, value: str) -> None:
    assert directives(UNIT)[key] == [value]


def test_the_watchdog_is_on() -> None:
    assert directives(UNIT)["Service.WatchdogSec"] == ["30s"]


def test_secrets_come_as_credentials() -> None:
    assert directives(UNIT)["Service.LoadCredential"] == ["relayd:/etc/relayd/credentials"]


def test_the_chips_are_not_hidden() -> None:
    # PrivateDevices removes /dev/gpiochip*, whatever DeviceAllow says (tried on systemd 252).
    assert directives(UNIT)["Service.PrivateDevices"] in ([], ["no"])


def test_the_start_waits_for_no_network_and_no_time_service() -> None:
    unit = directives(UNIT)
    waits = " ".join(unit["Unit.After"] + unit["Unit.Wants"] + unit["Unit.Requires"])
    assert set(waits.split()) == {"time-set.target", "local-fs.target"}


@pytest.mark.skipif(
    shutil.which("systemd-sysusers") is None, reason="systemd-sysusers is not on this machine"
)
def test_the_unit_s_user_is_made_and_may_open_the_chips(tmp_path: Path) -> None:
    (tmp_path / "etc").mkdir()
    subprocess.run(
        ["systemd-sysusers", f"--root={tmp_path}", str(ROOT / "systemd" / "relayd.sysusers")],
        check=True,
        capture_output=True,
    )
    groups = dict(
        line.split(":", 1) for line in (tmp_path / "etc" / "group").read_text().splitlines()
    )
    assert groups["gpio"].endswith(":relayd")
    assert "relayd" in groups


@pytest.mark.skipif(
    shutil.which("systemd-tmpfiles") is None, reason="systemd-tmpfiles is not on this machine"
)
def test_the_folder_of_secrets_is_made_and_closed(tmp_path: Path) -> None:
    rules = ROOT / "systemd" / "relayd.tmpfiles"
    subprocess.run(
        ["systemd-tmpfiles", f"--root={tmp_path}", "--create", str(rules)],
        check=True,
        capture_output=True,
    )
    folder = directives(UNIT)["Service.LoadCredential"][0].partition(":")[2]
    assert (tmp_path / folder.lstrip("/")).stat().st_mode & 0o7777 == 0o700
