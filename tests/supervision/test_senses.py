"""What the board says of itself: files as the kernel lays them out, thresholds with a way back."""

import os
from pathlib import Path

import pytest

from relayd.core.events import UnitSensed
from relayd.core.plan import Priority
from relayd.supervision.senses import FAILS, MIB, Senses


class Board:
    """The files of a board, in a directory of a test."""

    def __init__(self, folder: Path) -> None:
        self.root, self.state = folder / "root", folder / "state"
        self.state.mkdir()
        self.write("proc/meminfo", "MemTotal: 1000000 kB\nMemAvailable:  900000 kB\n")
        self.senses = Senses(self.state, self.root)

    def write(self, name: str, text: object) -> Path:
        path = self.root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"{text}\n")
        return path

    def battery(self, left: object, status: str = "Discharging") -> None:
        self.write("sys/class/power_supply/usb/type", "USB")
        self.write("sys/class/power_supply/zz/type", "Battery")
        self.write("sys/class/power_supply/zz/capacity", left)
        self.write("sys/class/power_supply/zz/status", status)

    def look(self, condition: str) -> UnitSensed:
        (found,) = [each for each in self.senses.look() if each.condition == condition]
        return found


@pytest.fixture
def board(tmp_path: Path) -> Board:
    return Board(tmp_path)


def test_a_board_without_senses_is_well_and_nothing_is_lost(board: Board) -> None:
    for _ in range(FAILS + 1):
        assert [each.why for each in board.senses.look()] == [""] * 6
    assert board.senses.read() == ("storage", "memory")


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ([51, 50, 49, 55, 59, 60], ["", "", "49", "55", "59", ""]),
        ([100, 19, 21], ["", "19", "21"]),
    ],
)
def test_a_battery_is_low_below_half_and_well_again_above_sixty(
    board: Board, readings: list[int], says: list[str]
) -> None:
    for left, said in zip(readings, says, strict=True):
        board.battery(left)
        found = board.look("unit-battery")
        assert found.why == (f"{said} percent left" if said else "")
        assert (found.priority is Priority.HIGH) == (left < 20)


def test_a_battery_that_charges_is_not_low(board: Board) -> None:
    board.battery(30, "Charging")
    assert board.look("unit-battery").why == ""


def test_a_battery_that_does_not_charge_is_said_to(board: Board) -> None:
    board.battery(30, "Not charging")
    assert board.look("unit-battery").why == "30 percent left; not charging"


@pytest.mark.parametrize(
    ("bits", "says"),
    [
        ("0x0", ""),
        ("0x1", "too low at this moment"),
        ("0x5", "too low at this moment, and the processor is slowed down"),
        ("0x4", ""),
        ("0x50000", ""),
        ("50005", "too low at this moment, and the processor is slowed down"),
    ],
)
def test_the_firmwares_bits_tell_of_the_voltage_now(board: Board, bits: str, says: str) -> None:
    """Bits from memory, no source; the upper half tells of the past and is left alone."""
    board.write("sys/devices/platform/soc/soc:firmware/get_throttled", bits)
    assert board.look("under-voltage").why == says


def test_the_voltage_monitors_alarm_tells_of_it_too(board: Board) -> None:
    board.write("sys/class/hwmon/hwmon0/name", "cpu_thermal")
    board.write("sys/class/hwmon/hwmon1/in0_lcrit_alarm", 1)
    assert board.look("under-voltage").why == "too low at this moment"
    board.write("sys/class/hwmon/hwmon1/in0_lcrit_alarm", 0)
    assert board.look("under-voltage").why == ""


def test_the_hottest_zone_counts_with_a_way_back(board: Board) -> None:
    told = []
    board.write("sys/class/thermal/thermal_zone0/temp", 40000)
    board.write("sys/class/thermal/cooling_device0/type", "fan")
    for heat in (79900, 80000, 76000, 74900):
        board.write("sys/class/thermal/thermal_zone1/temp", heat)
        told.append(board.look("unit-hot").why)
    assert told == ["", "80 degrees Celsius", "76 degrees Celsius", ""]


def test_little_memory_is_told_with_a_way_back(board: Board) -> None:
    told = []
    for left in (33, 31, 40, 48):
        board.write("proc/meminfo", f"MemAvailable: {left * 1024} kB")
        told.append(board.look("memory-low").why)
    assert told == ["", "31 MiB free", "40 MiB free", ""]


class Disk:
    """What statvfs tells of a disk."""

    f_frsize, f_flag = 4096, 0

    def __init__(self, free: int, flags: int = 0) -> None:
        self.f_bavail, self.f_flag = free // 4096, flags


def test_little_room_is_told_with_a_way_back(board: Board, monkeypatch: pytest.MonkeyPatch) -> None:
    told = []
    for left in (65, 63, 90, 96):
        monkeypatch.setattr(os, "statvfs", lambda _path, left=left: Disk(left * MIB))
        told.append(board.look("unit-disk").why)
        assert board.senses.free == left
    assert told == ["", "63 MiB free", "90 MiB free", ""]


def test_a_disk_that_can_only_be_read_is_told(
    board: Board, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "statvfs", lambda _path: Disk(900 * MIB, os.ST_RDONLY))
    assert board.look("unit-disk").why == "it can only be read"


def test_the_real_disk_is_read(board: Board) -> None:
    board.look("unit-disk")
    found = os.statvfs(board.state)
    assert board.senses.free is not None
    assert abs(board.senses.free - found.f_bavail * found.f_frsize // MIB) < 1024


def test_a_sense_that_is_lost_is_told_once_it_has_failed_thrice_and_keeps_its_last_word(
    board: Board,
) -> None:
    board.battery(40)
    board.senses.look()
    board.battery("no number")
    lost = [board.look("sense-lost").why for _ in range(FAILS)]
    assert lost == ["", "", "battery cannot be read any more"]
    assert board.look("unit-battery").why == "40 percent left"
    board.battery(80)
    assert board.look("sense-lost").why == ""
    assert board.look("unit-battery").why == ""


def test_a_sense_whose_files_have_gone_is_lost_too(board: Board) -> None:
    board.battery(80)
    board.senses.look()
    (board.root / "sys/class/power_supply/zz/type").unlink()
    (board.root / "proc/meminfo").write_text("nothing here\n")
    for _ in range(FAILS):
        told = board.look("sense-lost").why
    assert told == "battery cannot be read any more; memory cannot be read any more"


def test_what_else_cannot_be_read_is_told_beside_it(tmp_path: Path) -> None:
    made = Senses(tmp_path, tmp_path, ("identity",))
    assert made.look()[-1] == UnitSensed("sense-lost", "identity cannot be read any more")
