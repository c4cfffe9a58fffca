"""State values as rows of the tables, and the tables' rows as one State. Opens no file.

A notice's sends come back in the order of their ids, which is the order in which they were made.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.state import Notice, Send, Stamp, State, Subject
from relayd.journal.codec import JournalDamaged, compact, decode, encode, fit, parse
from relayd.journal.schema import Run

Row = tuple[Any, ...]

EPOCH, UNIT, COUNTER, BOOT, STAMP = "epoch", "unit", "counter", "boot", "stamp"
OURS = frozenset({EPOCH, UNIT, COUNTER, BOOT, STAMP})
"""Keys of `meta` that belong to the journal itself."""

NOTICE = "id, subject, condition, occurrence, person, kind, priority, title, short, long, made"
SEND = "notice, id, channel, state, tries, due, outcome, detail"


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a journal holds at its opening; `next` is the number of the next record."""

    state: State
    meta: dict[str, str] = field(default_factory=dict)
    said: frozenset[str] = frozenset()
    next: int = 1


def storable(text: str) -> str:
    """The text as a database can hold it: a lone surrogate becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")


def notice_row(notice: Notice) -> Row:
    """The notice without its sends, in the order of NOTICE."""
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
    )


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
    return (n, now.boot, now.up, now.wall, now.trusted, kind, subject, compact(dict(record.body)))


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


def load(run: Run) -> Loaded | None:
    """Everything in the file, or None where it is new. Raises JournalDamaged where it makes no sense."""
    try:
        return loaded(run)
    except (TypeError, ValueError, LookupError, AttributeError) as error:
        # A damaged row may hold any type in any column: that is damage, and no fault of ours.
        raise JournalDamaged(f"the rows make no sense: {error}") from error


def loaded(run: Run) -> Loaded | None:
    """What `load` gives, with any error that a nonsensical row may cause."""
    meta = {text(key): text(value) for key, value in run("SELECT key, value FROM meta")}
    if EPOCH not in meta:
        return None
    state = State(
        epoch=meta[EPOCH],
        boot=wanted(meta, BOOT),
        stamp=decode(Stamp, wanted(meta, STAMP), "meta stamp"),
        counter=max(counter(meta), highest(run, "notice"), highest(run, "send")),
        subjects=load_subjects(run),
        notices=load_notices(run),
    )
    said = frozenset(text(row[0]) for row in run("SELECT topic FROM said"))
    others = {key: value for key, value in meta.items() if key not in OURS}
    return Loaded(state, others, said, highest(run, "record", "n") + 1)


def text(value: object) -> str:
    """The value, if it is a text."""
    if not isinstance(value, str):
        raise JournalDamaged(f"a text was expected, not {value!r:.60}")
    return value


def wanted(meta: dict[str, str], key: str) -> str:
    """That value of `meta`, which every journal has."""
    if key not in meta:
        raise JournalDamaged(f"meta {key}: is missing")
    return meta[key]


def counter(meta: dict[str, str]) -> int:
    """The stored counter."""
    digits = wanted(meta, COUNTER)
    if not (digits.isascii() and digits.isdigit()):
        raise JournalDamaged(f"meta {COUNTER}: a whole number was expected, not {digits!r:.60}")
    return int(digits)


def highest(run: Run, table: str, column: str = "id") -> int:
    """The highest number in use there (a damaged counter must never give a number twice)."""
    return next((row[0] or 0 for row in run(f"SELECT max({column}) FROM {table}")), 0)


def load_subjects(run: Run) -> dict[str, Subject]:
    """All subjects by their ids."""
    subjects = {}
    for key, body in run("SELECT subject, body FROM state"):
        subject = decode(Subject, body, str(key))
        if storable(subject.id) != key:
            raise JournalDamaged(f"{key}: id: the row holds {subject.id!r:.60}")
        subjects[subject.id] = subject
    return subjects


def load_notices(run: Run) -> dict[int, Notice]:
    """The open notices with all their sends."""
    sends: dict[int, list[object]] = {}
    columns = ", ".join(f"send.{name}" for name in SEND.split(", "))
    for row in run(
        f"SELECT {columns} FROM notice JOIN send ON send.notice = notice.id"
        " WHERE notice.closed IS NULL ORDER BY send.notice, send.id"
    ):
        sends.setdefault(row[0], []).append(send_fields(row))
    rows = run(f"SELECT {NOTICE} FROM notice WHERE closed IS NULL ORDER BY id")
    return {row[0]: notice_of(row, sends.get(row[0], [])) for row in rows}


def notice_of(row: Row, sends: Iterable[object]) -> Notice:
    """A notice out of its row and its sends."""
    name = f"notice {row[0]}"
    stored = dict(zip(NOTICE.split(", "), row, strict=True))
    return fit(Notice, stored | {"made": parse(row[-1], name), "sends": list(sends)}, name)


def send_fields(row: Row) -> dict[str, object]:
    """A send's row under the names of its fields."""
    stored = dict(zip(SEND.split(", "), row, strict=True))
    return {**stored, "last": stored["outcome"]}
