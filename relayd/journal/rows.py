"""State values as rows of the tables. Opens no file; loading.py reads the rows again."""

import json
from typing import Any

from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.state import Notice, Send, State
from relayd.journal import sums
from relayd.journal.codec import JournalDamaged, compact, encode
from relayd.journal.schema import Run

Row = tuple[Any, ...]

EPOCH, UNIT, COUNTER, BOOT, STAMP = "epoch", "unit", "counter", "boot", "stamp"
OURS = frozenset({EPOCH, UNIT, COUNTER, BOOT, STAMP})
"""Keys of `meta` that belong to the journal itself."""

NOTICE = "id, subject, condition, occurrence, person, kind, priority, title, short, long, made"
RECORD = "n, boot, up, wall, trusted, kind, subject, body"
SEND = "notice, id, channel, state, tries, due, outcome, detail"


def storable(text: str) -> str:
    """The text as a database can hold it: a lone surrogate becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def notice_row(notice: Notice) -> Row:
    """The notice without its sends, in the order of NOTICE; behind it how many those are, and its names."""
    texts = (notice.title, notice.short, notice.long)
    return (
        notice.id,
        storable(notice.subject),
        storable(notice.condition),
        notice.occurrence,
        storable(notice.person),
        notice.kind.value,
        notice.priority.value,
        *map(storable, texts),
        encode(notice.made),
        len(notice.sends),
        names(notice),
    )


def names(notice: Notice) -> str | None:
    """What a message of several names, with a checksum of its own; None where it is about one thing."""
    if not (notice.about or notice.beside):
        return None
    about = [[storable(each.subject), storable(each.condition)] for each in notice.about]
    return compact(sums.signed("names", (notice.id, about, [*map(storable, notice.beside)])))


def named(notice: int, text: str | None) -> dict[str, object]:
    """The fields that `names` told. Raises JournalDamaged where they are not as they were written."""
    if text is None:
        return {}
    match json.loads(text):
        case [int() as number, list() as about, list() as beside, int()] as found if (
            number == notice and sums.fits("names", tuple(found))
        ):
            pairs = [{"subject": subject, "condition": condition} for subject, condition in about]
            return {"about": pairs, "beside": beside}
    raise JournalDamaged("what a message names is not as it was written")


def send_row(notice: int, send: Send) -> Row:
    """One send, in the order of SEND."""
    return (
        notice,
        send.id,
        storable(send.channel),
        send.state.value,
        send.tries,
        send.due,
        None if send.last is None else send.last.value,
        storable(send.detail),
    )


def record_row(n: int, record: Record, now: Now) -> Row:
    """One line of the journal with its number and time."""
    kind, subject = storable(record.kind), storable(record.subject)
    trusted = int(now.trusted)
    return (n, now.boot, now.up, now.wall, trusted, kind, subject, compact(dict(record.body)))


def meta_rows(state: State) -> dict[str, str]:
    """What of a state stands in `meta`, beside its epoch."""
    return {
        COUNTER: str(state.counter),
        BOOT: storable(state.boot),
        STAMP: encode(state.stamp),
    }


def epoch_in(run: Run) -> str | None:
    """The epoch of the file, or None where it holds none yet."""
    return next((str(row[0]) for row in run("SELECT value FROM meta WHERE key=?", (EPOCH,))), None)


def highest(run: Run, table: str, column: str = "id") -> int:
    """The highest number in use there (a damaged counter must never give a number twice)."""
    return next((row[0] or 0 for row in run(f"SELECT max({column}) FROM {table}")), 0)
