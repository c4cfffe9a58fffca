"""What the board says of itself: battery, voltage, heat, storage, memory. Files of Linux, read only.

In: a root directory (the real one, or a test's) and the place of the journal. Out: for each
condition why it is there, or ''. What a board does not have is not sensed, and that is no fault;
what was there and can no longer be read is one.

Each has a threshold and a lesser one for the way back. The thresholds are common practice, no
source; bits and file names are the kernel's documentation, where it has them:

- power_supply: Documentation/ABI/testing/sysfs-class-power (type, capacity, status)
- thermal_zone: Documentation/driver-api/thermal/sysfs-api (temp, thousandths of a degree)
- hwmon: Documentation/hwmon/sysfs-interface (name, in0_lcrit_alarm)
- get_throttled: bits of one family of boards' firmware (0: voltage too low now, 2: slowed down
  now), from memory, no source
- MemAvailable: proc(5), in KiB
"""

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from relayd.core import conditions as c, unit_words
from relayd.core.events import UnitSensed
from relayd.core.plan import Priority

MIB = 1 << 20
BATTERY_LOW, BATTERY_WELL, BATTERY_EMPTY = 50, 60, 20
"""Per cent; below the last it is urgent: soon the unit is silent."""
HOT, COOL = 80.0, 75.0
"""Degrees Celsius of the hottest zone."""
DISK_LOW, DISK_WELL = 64 * MIB, 96 * MIB
MEMORY_LOW, MEMORY_WELL = 32 * MIB, 48 * MIB
VOLTAGE_NOW, SLOWED_NOW = 1 << 0, 1 << 2
FAILS = 3
"""So many readings in a row that fail are told."""


@dataclass(slots=True)
class Reading:
    """What one sense told last."""

    why: str = ""
    priority: Priority | None = None


class Gone(Exception):
    """This board has no such sense."""


class Senses:
    """Reads everything at each `look`; used by one thread."""

    def __init__(self, state: Path, root: Path = Path("/"), unread: tuple[str, ...] = ()) -> None:
        """`unread`: what else was found that it cannot be read."""
        self._state, self._root, self._unread = state, root, unread
        self.free: int | None = None
        """MiB left where the journal lies, as last read."""
        self._last: dict[str, Reading] = {}
        self._fails: dict[str, int] = {}
        self._had: set[str] = set()

    def look(self) -> list[UnitSensed]:
        """Every condition of the board as it now is."""
        found = [self._one(name, read) for name, read in _READS.items()]
        lost = [name for name in _READS if self._fails.get(name, 0) >= FAILS]
        told = "; ".join(
            unit_words.CANNOT_READ.format(what=each) for each in (*lost, *self._unread)
        )
        return [*found, UnitSensed(c.SENSE_LOST, told)]

    def read(self) -> tuple[str, ...]:
        """The senses that this board has been found to have."""
        return tuple(name for name in _READS if name in self._had)

    def _one(self, name: str, read: "Callable[[Senses, str], Reading]") -> UnitSensed:
        """One sense; while it cannot be read, what it told last stands."""
        before = self._last.get(name, Reading())
        try:
            self._last[name] = read(self, before.why)
            self._had.add(name)
            self._fails[name] = 0
        except (Gone, OSError, ValueError):
            if name in self._had:
                self._fails[name] = self._fails.get(name, 0) + 1
        now = self._last.get(name, before)
        return UnitSensed(CONDITIONS[name], now.why, now.priority)

    # ---- the senses --------------------------------------------------------------------------

    def _battery(self, before: str) -> Reading:
        for folder in self._folders("sys/class/power_supply"):
            if _text(folder / "type") == "Battery":
                left, status = int(_text(folder / "capacity")), _text(folder / "status")
                break
        else:
            raise Gone
        low = left < (BATTERY_WELL if before else BATTERY_LOW) and status != "Charging"
        if not low:
            return Reading()
        parts = [unit_words.LEFT.format(percent=left)]
        parts += [unit_words.NOT_CHARGING] if status == "Not charging" else []
        urgent = Priority.HIGH if left < BATTERY_EMPTY else None
        return Reading("; ".join(parts), urgent)

    def _voltage(self, before: str) -> Reading:
        throttled = self._root / "sys/devices/platform/soc/soc:firmware/get_throttled"
        if throttled.exists():
            bits = int(_text(throttled), 16)
            low = bool(bits & VOLTAGE_NOW)
        else:
            bits, low = 0, self._alarmed()
        if not low:
            return Reading()
        return Reading(unit_words.SLOWED if bits & SLOWED_NOW else unit_words.LOW)

    def _alarmed(self) -> bool:
        """The alarm of the board's own voltage monitor."""
        for folder in self._folders("sys/class/hwmon"):
            if (folder / "in0_lcrit_alarm").exists():
                return _text(folder / "in0_lcrit_alarm") == "1"
        raise Gone

    def _heat(self, before: str) -> Reading:
        zones = [each / "temp" for each in self._folders("sys/class/thermal", "thermal_zone")]
        read = [int(_text(each)) / 1000 for each in zones if each.exists()]
        if not read:
            raise Gone
        hottest = max(read)
        if hottest < (COOL if before else HOT):
            return Reading()
        return Reading(unit_words.DEGREES.format(degrees=round(hottest)))

    def _disk(self, before: str) -> Reading:
        found = os.statvfs(self._state)
        left = found.f_bavail * found.f_frsize
        self.free = left // MIB
        if found.f_flag & os.ST_RDONLY:
            return Reading(unit_words.READ_ONLY)
        if left < (DISK_WELL if before else DISK_LOW):
            return Reading(unit_words.FREE.format(size=left // MIB))
        return Reading()

    def _memory(self, before: str) -> Reading:
        for line in _text(self._root / "proc/meminfo").splitlines():
            name, _, rest = line.partition(":")
            if name == "MemAvailable":
                left = int(rest.split()[0]) * 1024
                break
        else:
            raise Gone
        if left < (MEMORY_WELL if before else MEMORY_LOW):
            return Reading(unit_words.FREE.format(size=left // MIB))
        return Reading()

    def _folders(self, where: str, begins: str = "") -> Iterator[Path]:
        try:
            yield from sorted((self._root / where).glob(f"{begins}*"))
        except OSError as error:
            raise Gone from error


def _text(path: Path) -> str:
    return path.read_text().strip()


_READS: Mapping[str, Callable[[Senses, str], Reading]] = {
    "battery": Senses._battery,
    "voltage": Senses._voltage,
    "temperature": Senses._heat,
    "storage": Senses._disk,
    "memory": Senses._memory,
}
CONDITIONS = {
    "battery": c.UNIT_BATTERY,
    "voltage": c.UNDER_VOLTAGE,
    "temperature": c.UNIT_HOT,
    "storage": c.UNIT_DISK,
    "memory": c.MEMORY_LOW,
}
