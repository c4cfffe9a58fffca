"""The only place that reads clocks: boot time for durations, UTC for people, and whether to believe UTC."""

import time
from functools import cache
from pathlib import Path

from relayd.core.events import Now

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
SYNCHRONISED = Path("/run/systemd/timesync/synchronized")


@cache
def boot_id() -> str:
    """The kernel's id of this boot."""
    return BOOT_ID.read_text().strip()


def boottime() -> int:
    """CLOCK_BOOTTIME in nanoseconds: goes on through a suspension, never steps."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME)


def monotonic_to_boot() -> int:
    """What to add to a kernel stamp (CLOCK_MONOTONIC, ns) to get boot time; read both in the same wake-up."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME) - time.clock_gettime_ns(time.CLOCK_MONOTONIC)


def wall_is_trusted() -> bool:
    """Whether the time service has set the clock (its own file says so)."""
    return SYNCHRONISED.exists()


def now(trusted: bool) -> Now:
    """One reading of all clocks; `trusted` is the last judgement about the wall clock."""
    return Now(boot_id(), boottime(), time.time_ns(), trusted)
