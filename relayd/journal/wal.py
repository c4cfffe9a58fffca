"""Whether the write-ahead log holds transactions that a damaged place before them hides.

SQLite reads the log up to the first frame whose checksum is wrong and is silent about the rest.
After a power cut that is the one transaction under way. More than one: the log was damaged.
Format and checksum: SQLite's file format, section 4. Reads only.
"""

import struct
from collections.abc import Iterator
from pathlib import Path

from relayd.journal import files

HEADER, FRAME = 32, 24
MAGIC = 0x377F0682
MASK = 0xFFFFFFFF
Sums = tuple[int, int]


def hidden(path: Path) -> str:
    """What is hidden in the log of that database, in words; '' where nothing is. Raises OSError."""
    log = files.beside(path, "-wal")
    try:
        held = log.read_bytes()
    except FileNotFoundError:
        return ""
    count = _hidden(held)
    return f"its log is damaged: {count} transactions behind the place" if count > 1 else ""


def _hidden(held: bytes) -> int:
    """How many transactions lie behind the first frame that is wrong."""
    if len(held) < HEADER + FRAME:
        return 0
    size = int.from_bytes(held[8:12], "big")
    if size not in (512 << n for n in range(8)):
        size = 1024  # that of every file of ours
    salts = held[16:24]
    order = "<" if held[3] & 1 == 0 else ">"
    sums = _summed(held[:24], (0, 0), order)
    sound = held[:3] == MAGIC.to_bytes(4, "big")[:3] and struct.pack(">II", *sums) == held[24:32]
    if not sound:
        salts = held[HEADER + 8 : HEADER + 16]
    return (
        _behind(list(_frames(held, size)), salts, sums, order)
        if sound
        else _commits(list(_frames(held, size)), salts)
    )


def _frames(held: bytes, size: int) -> Iterator[bytes]:
    for at in range(HEADER, len(held) - FRAME - size + 1, FRAME + size):
        yield held[at : at + FRAME + size]


def _behind(frames: list[bytes], salts: bytes, sums: Sums, order: str) -> int:
    for place, frame in enumerate(frames):
        if frame[8:16] == salts:
            sums = _summed(frame[FRAME:], _summed(frame[:8], sums, order), order)
        if frame[8:16] != salts or struct.pack(">II", *sums) != frame[16:24]:
            return _commits(frames[place:], salts)
    return 0


def _commits(frames: list[bytes], salts: bytes) -> int:
    """How many of the frames end a transaction of this log."""
    return sum(each[8:16] == salts and each[4:8] != bytes(4) for each in frames)


def _summed(data: bytes, sums: Sums, order: str) -> Sums:
    one, two = sums
    words = iter(struct.unpack(f"{order}{len(data) // 4}I", data))
    for first in words:
        one = (one + first + two) & MASK
        two = (two + next(words) + one) & MASK
    return one, two
