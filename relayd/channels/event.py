"""One message of the event stream: a record of the journal, or what stands in place of some.

In: rows as the journal reads them. Out: payloads, one JSON object each, plain ASCII, bounded. Its
form is `relayd/schemas/event.schema.json`. Knows nothing of brokers, cursors and files.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import cast

from relayd.core.plan import SECOND

VERSION = 1
GAP, REPLAY = "gap", "replay"
"""The kinds that are no records; no record has one of these names."""

Row = Mapping[str, object]
"""A record: n, boot, up (ns), wall (ns), trusted, kind, subject, body."""


class Why(StrEnum):
    """Why numbers are missing."""

    BEGINS = "begins"
    """This broker was told nothing of this journal before: it is new, or the journal is."""
    BEHIND = "behind"
    """The broker was away for more records, or longer, than are sent afterwards."""
    NOT_KEPT = "not-kept"
    """The journal does not hold them (any more)."""
    UNREADABLE = "unreadable"
    """The journal's line makes no sense."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Whose records these are: the numbers of one epoch belong together."""

    unit: str
    epoch: str


def topic(unit: str) -> str:
    """Where a unit's events go."""
    return f"relayd/{unit}/events"


def replay_topic(unit: str) -> str:
    """Where one may ask for events again."""
    return f"{topic(unit)}/replay/set"


def asked_from(payload: bytes) -> int:
    """The number from which on events are asked for again. Raises ValueError with what to send."""
    hint = 'send the first number that you want again, such as {"from": 120}'
    try:
        found = json.loads(payload[:200].decode())
    except (ValueError, RecursionError):
        raise ValueError(hint) from None
    first = found.get("from") if isinstance(found, dict) and len(found) == 1 else None
    if not isinstance(first, int) or isinstance(first, bool) or not 1 <= first < 2**63:
        raise ValueError(hint)
    return first


def of_record(origin: Origin, row: Row) -> str:
    """The message of one record; one that makes no sense becomes a gap of one."""
    n = cast(int, row["n"])
    try:
        return _payload(origin, n, **_told(row))
    except (KeyError, TypeError, ValueError, OverflowError):
        return gap(origin, n, n, Why.UNREADABLE)


def gap(origin: Origin, first: int | None, last: int, why: Why) -> str:
    """The message that stands for the records `first` to `last`, under the number of the last one."""
    return _in_place(origin, last, GAP, {"from": first, "to": last, "why": why.value})


def replay(origin: Origin, first: int, last: int) -> str:
    """The message that says: from here on `first` to `last` come again. It is numbered before them."""
    return _in_place(origin, first - 1, REPLAY, {"from": first, "to": last})


def _told(row: Row) -> dict[str, object]:
    trusted = bool(row["trusted"])
    return {
        "at": moment(cast(int, row["wall"])) if trusted else None,
        "boot": _text(row["boot"]),
        "up": round(cast(int, row["up"]) / SECOND, 3),
        "trusted": trusted,
        "kind": _text(row["kind"]),
        "subject": _text(row["subject"]),
        "body": _object(row["body"]),
    }


def moment(wall: int) -> str:
    """Nanoseconds since 1970 as '2026-03-01T02:11:05.250Z'."""
    at = datetime.fromtimestamp(wall // SECOND, UTC)
    return f"{at:%Y-%m-%dT%H:%M:%S}.{wall % SECOND // 1_000_000:03d}Z"


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("not a text")
    return value


def _object(value: object) -> object:
    if not isinstance(value, Mapping):
        raise TypeError("not an object")
    return value


def _in_place(origin: Origin, n: int, kind: str, body: Mapping[str, object]) -> str:
    nothing = {"at": None, "boot": None, "up": None, "trusted": False}
    return _payload(origin, n, **nothing, kind=kind, subject="unit", body=body)


def _payload(origin: Origin, n: int, **rest: object) -> str:
    head = {"v": VERSION, "unit": origin.unit, "epoch": origin.epoch, "n": n}
    return json.dumps({**head, **rest}, separators=(",", ":"), allow_nan=False)
