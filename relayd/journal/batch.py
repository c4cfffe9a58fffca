"""What has to be written: the difference between two states, merged with what still waits.

Rows of the same subject, notice or send replace each other, the latest wins; so what waits stays
small however long a disk is away. Records are kept up to LIMIT, then only counted.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.state import Notice, State
from relayd.journal import rows, sums
from relayd.journal.codec import encode
from relayd.journal.rows import Row

LIMIT = 10_000
"""Records, and closed notices, that are kept while nothing can be written."""

Work = tuple[str, Sequence[Row]]
"""A statement and the rows it is run for."""


@dataclass(slots=True)
class Batch:
    """Rows that go into the file together.

    `born` are the notices that no file can hold yet; `dropped` counts records that had no room;
    `mends` take away rows of the file that cannot be read.
    """

    meta: dict[str, str] = field(default_factory=dict)
    subjects: dict[str, str | None] = field(default_factory=dict)
    notices: dict[int, Row] = field(default_factory=dict)
    sends: dict[int, dict[int, Row]] = field(default_factory=dict)
    closed: dict[int, int] = field(default_factory=dict)
    born: set[int] = field(default_factory=set)
    records: list[Row] = field(default_factory=list)
    said: dict[str, bool] = field(default_factory=dict)
    dropped: int = 0
    gap: Row | None = None
    mends: tuple[Work, ...] = ()

    def __bool__(self) -> bool:
        """Whether there is anything to write."""
        return bool(
            self.meta
            or self.subjects
            or self.notices
            or self.sends
            or self.closed
            or self.records
            or self.said
            or self.dropped
            or self.mends
        )

    def only_stamp(self) -> bool:
        """Whether nothing changed but the time of the last step."""
        return self == Batch(meta=self.meta) and self.meta.keys() <= {rows.STAMP}

    def take(self, newer: "Batch") -> None:
        """Merge what came later into this one; then drop what is beyond the bounds."""
        self.meta |= newer.meta
        self.subjects |= newer.subjects
        self.notices |= newer.notices
        for notice, sends in newer.sends.items():
            self.sends.setdefault(notice, {}).update(sends)
        self.closed |= newer.closed
        self.born |= newer.born
        self.said |= newer.said
        room = LIMIT - len(self.records)
        self.records += newer.records[:room]
        self._drop(newer.records[room:])
        self.dropped += newer.dropped
        self.gap = newer.gap or self.gap
        self.mends += newer.mends
        self._bound_notices()

    def _drop(self, records: list[Row]) -> None:
        if records:
            self.dropped += len(records)
            self.gap = records[-1]

    def _bound_notices(self) -> None:
        """Forget the oldest notices that came and went while nothing could be written."""
        if len(self.closed) <= LIMIT:
            return
        over = [each for each in self.closed if each in self.born][: len(self.closed) - LIMIT]
        for notice in over:
            del self.closed[notice]
            self.notices.pop(notice, None)
            self.sends.pop(notice, None)
        self.born.difference_update(over)

    def work(self) -> Iterator[Work]:
        """The statements that write this batch; running them twice does no harm."""
        yield from self.mends
        yield UPSERT_META, _signed("meta", self.meta.items())
        kept = [(name, body) for name, body in self.subjects.items() if body is not None]
        yield UPSERT_SUBJECT, _signed("state", kept)
        yield DELETE_SUBJECT, [(name,) for name, body in self.subjects.items() if body is None]
        yield (
            UPSERT_NOTICE,
            [(*sums.signed("notice", row[:-2]), *row[-2:]) for row in self.notices.values()],
        )
        yield (
            UPSERT_SEND,
            _signed("send", (r for each in self.sends.values() for r in each.values())),
        )
        yield CLOSE_NOTICE, [(wall, notice) for notice, wall in self.closed.items()]
        yield INSERT_RECORD, _signed("record", [*self.records, *self._gap_record()])
        yield SAY, _signed("said", [(topic,) for topic, present in self.said.items() if present])
        yield UNSAY, [(topic,) for topic, present in self.said.items() if not present]

    def _gap_record(self) -> list[Row]:
        """The record that stands in the place of those that were dropped."""
        if self.gap is None:
            return []
        n, boot, up, wall, trusted = self.gap[:5]
        now = Now(boot, up, wall, bool(trusted))
        return [rows.record_row(n, Record("records dropped", "unit", {"count": self.dropped}), now)]


def between(old: State, new: State, now: Now) -> Batch:
    """What changed from one state to the next; subjects and notices are compared by identity."""
    batch = Batch()
    before = rows.meta_rows(old)
    batch.meta = {k: v for k, v in rows.meta_rows(new).items() if before[k] != v}
    for name, subject in new.subjects.items():
        if old.subjects.get(name) is not subject:
            batch.subjects[rows.storable(name)] = encode(subject)
    batch.subjects |= {rows.storable(n): None for n in old.subjects.keys() - new.subjects.keys()}
    for number, notice in new.notices.items():
        was = old.notices.get(number)
        if was is not notice:
            changed_notice(batch, was, notice)
    for notice in new.closed if new.closed is not old.closed else ():
        changed_notice(batch, old.notices.get(notice.id), notice)
        batch.closed[notice.id] = now.wall
    for number in old.notices.keys() - new.notices.keys():
        batch.closed.setdefault(number, now.wall)
    return batch


def changed_notice(batch: Batch, was: Notice | None, notice: Notice) -> None:
    """One notice: its row only where that differs, and those of its sends that differ."""
    row = rows.notice_row(notice)
    if was is None:
        batch.born.add(notice.id)
    if was is None or rows.notice_row(was) != row:
        batch.notices[notice.id] = row
    known = {each.id: each for each in was.sends} if was else {}
    sends = {
        each.id: rows.send_row(notice.id, each)
        for each in notice.sends
        if known.get(each.id) is not each
    }
    if sends:
        batch.sends[notice.id] = sends


def whole(state: State) -> Batch:
    """Everything of a state, for a file that is new."""
    batch = between(State(epoch=state.epoch), state, Now("", 0, state.stamp.wall, False))
    batch.meta = rows.meta_rows(state) | {rows.EPOCH: state.epoch}
    return batch


def _signed(table: str, unsigned: Iterable[Row]) -> list[Row]:
    return [sums.signed(table, row) for row in unsigned]


def upsert(table: str, columns: str, keys: int = 1) -> str:
    """An insert that changes the row where its key (the first `keys` columns) is there already."""
    names = columns.split(", ")
    rest = ", ".join(f"{name}=excluded.{name}" for name in names[keys:])
    return (
        f"INSERT INTO {table} ({columns}) VALUES ({', '.join('?' * len(names))})"
        f" ON CONFLICT ({', '.join(names[:keys])}) DO UPDATE SET {rest}"
    )


UPSERT_META = upsert("meta", "key, value, sum")
UPSERT_SUBJECT = upsert("state", "subject, body, sum")
UPSERT_NOTICE = upsert("notice", f"{rows.NOTICE}, sum, ways, names")
UPSERT_SEND = upsert("send", f"{rows.SEND}, sum", keys=2)
INSERT_RECORD = upsert("record", f"{rows.RECORD}, sum")
DELETE_SUBJECT = "DELETE FROM state WHERE subject=?"
DELETE_SENDS = "DELETE FROM send WHERE notice=?"
CLOSE_NOTICE = "UPDATE notice SET closed=? WHERE id=?"
SAY = upsert("said", "topic, sum")
UNSAY = "DELETE FROM said WHERE topic=?"
