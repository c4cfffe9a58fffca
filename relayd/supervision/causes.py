"""Why this start was not planned, as far as it can be known.

In: what the one before left as its last word, the boot it ran in, this boot, a root directory.
Out: one of the texts of unit_words.CAUSES, or '' for a planned start.

A last word 'clean' is a planned end; no last word in the same boot is a program that was ended or
ended by itself; in another boot it is a power cut or a reset of the board, and the board's own
watchdog is named where its driver says so (bit WDIOF_CARDRESET of `bootstatus`,
Documentation/watchdog/watchdog-api).
"""

from pathlib import Path

from relayd.core.unit_words import CAUSES

CLEAN, NONE = "clean", "no"
PLANNED = frozenset({CLEAN, "reload", "stop"})
DEAD, FAULT = "dead: ", "fault: "
CARD_RESET = 0x20


def cause(last: str | None, boot_before: str, boot: str, root: Path = Path("/")) -> str:
    """Why it began anew; '' where somebody wanted it, or it is the first start of all."""
    if last is None or last in PLANNED:
        return ""
    if last.startswith(DEAD):
        return CAUSES["thread"]
    if last.startswith(FAULT):
        return CAUSES["fault"]
    if boot_before in ("", boot):
        return CAUSES["ended"]
    return CAUSES["board" if _by_watchdog(root) else "power"]


def _by_watchdog(root: Path) -> bool:
    for each in sorted((root / "sys/class/watchdog").glob("watchdog*/bootstatus")):
        try:
            if int(each.read_text().strip(), 0) & CARD_RESET:
                return True
        except (OSError, ValueError):
            continue
    return False
