"""A checksum beside each row, so that a value that changed by itself is not taken for what was written.

CRC-32 (ISO 3309, by zlib) over the row as JSON, with the name of its table. It finds accidents and
no forgeries. A row without one was written by an earlier version and is taken as it is.
"""

import zlib
from typing import Any

from relayd.journal.codec import compact

Row = tuple[Any, ...]


def of(table: str, row: Row) -> int:
    """The checksum of one row."""
    return zlib.crc32(compact([table, *row]).encode("ascii"))


def signed(table: str, row: Row) -> Row:
    """The row with its checksum behind it."""
    return (*row, of(table, row))


def fits(table: str, signed_row: Row) -> bool:
    """Whether a row with its checksum behind it is as it was written, or has none."""
    *row, found = signed_row
    return found is None or found == of(table, tuple(row))


def proves(table: str, signed_row: Row) -> bool:
    """Whether a row has a checksum, and it fits."""
    return signed_row[-1] is not None and fits(table, signed_row)
