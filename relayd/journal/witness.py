"""How far the journal had come, in a small file beside it: finds a newest part that went missing.

SQLite takes the end of its log away in silence where that end is damaged or cut off: the older
state that is left looks whole. Written after each commit and never waited for, so it is never ahead
of an honest disk, and behind it after a power cut at most. One line: epoch, record, counter, CRC-32.
"""

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from relayd.journal import files, sums

LONGEST = 200


@dataclass(frozen=True, slots=True)
class Reached:
    """The epoch, the number of the last record and the counter of ids."""

    epoch: str
    record: int
    counter: int


def write(path: Path, reached: Reached) -> None:
    """Note it; what goes wrong with that is no matter: the journal itself says how the disk is."""
    row = (reached.epoch, reached.record, reached.counter)
    line = " ".join(map(str, sums.signed("reached", row))) + "\n"
    with suppress(OSError):
        how = os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
        file = os.open(files.beside(path, files.REACHED), how, 0o600)
        try:
            os.pwrite(file, line.encode("ascii").ljust(LONGEST), 0)
        finally:
            os.close(file)


def read(path: Path) -> Reached | None:
    """What was noted; None where nothing was, or it can no longer be read."""
    try:
        epoch, record, counter, crc = files.beside(path, files.REACHED).read_text("ascii").split()
        row = (epoch, int(record), int(counter))
    except (OSError, ValueError):
        return None
    return Reached(*row) if crc == str(sums.of("reached", row)) else None


def missing(path: Path, found: Reached | None) -> str:
    """What is missing from a file that holds `found` (None: nothing), in words; '' where all is there."""
    noted = read(path)
    if noted is None or (found and noted.epoch != found.epoch):
        return ""
    if found and noted.record <= found.record and noted.counter <= found.counter:
        return ""
    return f"its newest part is missing: it had reached record {noted.record}"
