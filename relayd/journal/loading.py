"""The tables' rows as one State. What cannot be read, or is not as it was written, is left out and said.

Opens no file. One bad row costs that row: a subject begins anew from its contacts, and a notice
goes with its alarm, which is then raised and told anew where it still stands. A notice whose sends
are not all there, as they were written, comes without any: the core owes it again over all ways.
A notice's sends come back in the order of their ids, which is the order in which they were made.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from sqlite3 import Error as BaseError
from typing import Any

from relayd.core import unit_words as words
from relayd.core.state import Notice, Process, Stamp, State, Subject
from relayd.journal import rows, sums
from relayd.journal.batch import CLOSE_NOTICE, DELETE_SENDS, DELETE_SUBJECT, UNSAY, Work
from relayd.journal.codec import JournalDamaged, decode, fit, parse
from relayd.journal.rows import NOTICE, SEND, Row, highest, named
from relayd.journal.schema import Run

JUMP = 10_000
"""So many numbers are passed over where it is not known which were given out."""
NONSENSE = (JournalDamaged, TypeError, ValueError, LookupError, AttributeError)
"""What a row may cause that holds any type in any column."""
Fits = Callable[[str, Row], bool]
Sends = dict[int, list[object]]


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a journal holds at its opening; `next` is the number of the next record.

    `lost` says what was left out, `mends` take it out of the file; `unsummed`: rows without a checksum.
    """

    state: State
    meta: dict[str, str] = field(default_factory=dict)
    said: frozenset[str] = frozenset()
    next: int = 1
    lost: tuple[str, ...] = ()
    mends: tuple[Work, ...] = ()
    unsummed: bool = False


@dataclass(slots=True)
class _Loading:
    """One reading of all tables; `fits` judges a row by its checksum."""

    run: Run
    fits: Fits = sums.fits
    lost: list[str] = field(default_factory=list)
    bad_subjects: list[Row] = field(default_factory=list)
    bad_notices: list[Row] = field(default_factory=list)
    bad_keys: list[Row] = field(default_factory=list)
    bad_topics: list[Row] = field(default_factory=list)
    torn: list[Row] = field(default_factory=list)
    unsummed: bool = False

    def rows(self, sql: str) -> Iterator[Row]:
        """All rows of a question whose last column is the checksum."""
        for row in self.run(sql):
            self.unsummed = self.unsummed or row[-1] is None
            yield row

    def meta(self) -> dict[str, str]:
        found = {}
        for row in self.rows("SELECT key, value, sum FROM meta"):
            if self.fits("meta", row) and all(isinstance(each, str) for each in row[:2]):
                found[row[0]] = row[1]
            else:
                self.bad_keys.append((row[0],))
        return found

    def subjects(self) -> dict[str, Subject]:
        found = {}
        for row in self.rows("SELECT subject, body, sum FROM state"):
            try:
                if not self.fits("state", row):
                    raise JournalDamaged("the checksum is wrong")
                subject = decode(Subject, row[1], str(row[0]))
                if rows.storable(subject.id) != row[0]:
                    raise JournalDamaged(f"the row holds {subject.id!r:.60}")
                found[subject.id] = subject
            except NONSENSE:
                self.bad_subjects.append((row[0],))
                self._lost(words.LOST_SUBJECT, what=row[0])
        return found

    def notices(self, sends: "Sends") -> tuple[dict[int, Notice], list[Row]]:
        """The open notices, and the rows of those that cannot be read."""
        found, bad = {}, []
        columns = f"{NOTICE}, closed, ways, names, sum"
        asked = f"SELECT {columns} FROM notice WHERE closed IS NULL ORDER BY id"
        for *row, closed, ways, names, crc in self.rows(asked):
            try:
                if closed is not None or not self.fits("notice", (*row, crc)):
                    raise JournalDamaged("the checksum is wrong")
                own = sends.get(row[0], [])
                whole = None not in own and own and ways in (None, len(own))
                found[row[0]] = notice_of(tuple(row), own if whole else [], names)
            except NONSENSE:
                bad.append(tuple(row))
                self.bad_notices.append((0, row[0]))
                self._lost(words.LOST_MESSAGE, number=row[0], who=row[4])
                continue
            if not whole:
                self.torn.append((row[0],))
                self._lost(words.SENT_AGAIN, number=row[0], who=row[4])
        return found, bad

    def sends(self) -> "Sends":
        """The sends of each open notice; None in the place of one that is not as it was written."""
        sends: Sends = {}
        columns = ", ".join(f"send.{name}" for name in SEND.split(", "))
        asked = (
            f"SELECT {columns}, send.sum FROM notice JOIN send ON send.notice = notice.id"
            " WHERE notice.closed IS NULL ORDER BY send.notice, send.id"
        )
        for row in self.rows(asked):
            sound = self.fits("send", row)
            sends.setdefault(row[0], []).append(send_fields(row[:-1]) if sound else None)
        return sends

    def said(self) -> frozenset[str]:
        """The topics that stand at a broker."""
        found = set()
        for topic, crc in self.run("SELECT topic, sum FROM said"):
            if isinstance(topic, str) and self.fits("said", (topic, crc)):
                found.add(topic)
            else:
                self.bad_topics.append((topic,))
        if self.bad_topics:
            self._lost(words.LOST_TOPICS, count=len(self.bad_topics))
        return frozenset(found)

    def _lost(self, text: str, **values: object) -> None:
        self.lost.append(text.format(**{key: f"{each!r:.60}" for key, each in values.items()}))

    def mends(self) -> tuple[Work, ...]:
        """What takes the bad rows out of the file."""
        return (
            (DELETE_SUBJECT, self.bad_subjects),
            (CLOSE_NOTICE, self.bad_notices),
            (DELETE_SENDS, self.torn),
            ("DELETE FROM meta WHERE key=?", self.bad_keys),
            (UNSAY, self.bad_topics),
        )


def load(run: Run) -> Loaded | None:
    """Everything in the file, or None where it is new. Raises JournalDamaged where nothing makes sense."""
    try:
        return _load(_Loading(run))
    except NONSENSE as error:
        # A damaged row may hold any type in any column: that is damage, and no fault of ours.
        raise JournalDamaged(f"the rows make no sense: {error}") from error


def _load(reading: _Loading) -> Loaded | None:
    run, meta = reading.run, reading.meta()
    if not meta and not reading.bad_keys:
        return None
    if rows.EPOCH not in meta:
        raise JournalDamaged("its epoch cannot be read")
    boot, stamp = _when(reading, meta)
    subjects = reading.subjects()
    notices, bad = reading.notices(reading.sends())
    said = reading.said()
    in_use = max(highest(run, "notice"), highest(run, "send"))
    state = State(
        epoch=meta[rows.EPOCH],
        boot=boot,
        stamp=stamp,
        counter=_counter(reading, meta, in_use, subjects),
        subjects=_without_alarms_of(bad, subjects),
        notices=notices,
    )
    others = {key: value for key, value in meta.items() if key not in rows.OURS}
    after = highest(run, "record", "n") + 1
    lost, mends = tuple(reading.lost), reading.mends()
    broken = bool(lost or reading.bad_keys)
    return Loaded(state, others, said, after, lost, mends if broken else (), reading.unsummed)


def salvage(run: Run, epoch: str) -> Loaded:
    """What of a damaged file can still be read and proves itself, for a journal of another epoch."""
    reading = _Loading(run, sums.proves)
    lost: list[str] = []
    meta: dict[str, str] = _part(reading.meta, {}, words.LOST_TIME, lost)
    subjects: dict[str, Subject] = _part(reading.subjects, {}, words.LOST_PANELS, lost)
    # Sends that cannot be read cost no message: each of them goes again.
    sends: Sends = _part(reading.sends, {}, "", [])
    nothing: tuple[dict[int, Notice], None] = ({}, None)
    notices, bad = _part(lambda: reading.notices(sends), nothing, words.LOST_MESSAGES, lost)
    said: frozenset[str] = _part(reading.said, frozenset(), "", [])
    boot, stamp = _when(reading, meta)
    in_use = max([0, *(_highest_of(each) for each in notices.values())])
    state = State(
        epoch=epoch,
        boot=boot,
        stamp=stamp,
        counter=_counter(reading, meta, in_use, subjects),
        subjects=_unanswered_forgotten(subjects)
        if bad is None
        else _without_alarms_of(bad, subjects),
        notices=notices,
    )
    others = {key: value for key, value in meta.items() if key not in rows.OURS}
    return Loaded(state, others, said, lost=(words.LOST_RECORDS, *lost, *reading.lost))


def _part(read: Callable[[], Any], nothing: Any, what: str, lost: list[str]) -> Any:
    """What that gives, or nothing of it, and what was lost thereby."""
    try:
        return read()
    except (*NONSENSE, BaseError):
        lost.append(what)
        return nothing


def _when(reading: _Loading, meta: dict[str, str]) -> tuple[str, Stamp]:
    """When the last step was; a boot of no name where that cannot be read."""
    try:
        return wanted(meta, rows.BOOT), decode(Stamp, wanted(meta, rows.STAMP), "meta stamp")
    except JournalDamaged:
        reading.lost.append(words.LOST_TIME)
        return "?", Stamp(0, 0, False)


def _counter(
    reading: _Loading, meta: dict[str, str], in_use: int, subjects: dict[str, Subject]
) -> int:
    """The counter of ids; far beyond those in use where it cannot be read."""
    digits = meta.get(rows.COUNTER, "")
    if digits.isascii() and digits.isdigit():
        return max(int(digits), in_use)
    reading.lost.append(words.LOST_COUNTER)
    return max(in_use, _occurrences(subjects)) + JUMP


def _without_alarms_of(bad: list[Row], subjects: dict[str, Subject]) -> dict[str, Subject]:
    """The subjects without the alarms that those notices were about: they are raised and told anew."""
    for _, subject, condition, *_ in bad:
        owner = subjects.get(subject) if isinstance(subject, str) else None
        if owner is not None and condition in owner.alarms:
            kept = {name: each for name, each in owner.alarms.items() if name != condition}
            subjects[subject] = replace(owner, alarms=kept)
    return subjects


def _unanswered_forgotten(subjects: dict[str, Subject]) -> dict[str, Subject]:
    """The subjects without alarms of which word may still have been owed: they are told anew."""
    return {
        name: replace(
            each,
            alarms={k: v for k, v in each.alarms.items() if v.process is not Process.UNACK},
        )
        for name, each in subjects.items()
    }


def _occurrences(subjects: dict[str, Subject]) -> int:
    alarms = [each for owner in subjects.values() for each in owner.alarms.values()]
    return max((each.occurrence or 0 for each in alarms), default=0)


def _highest_of(notice: Notice) -> int:
    return max([notice.id, notice.occurrence, *(each.id for each in notice.sends)])


def wanted(meta: dict[str, str], key: str) -> str:
    """That value of `meta`, which every journal has."""
    if key not in meta:
        raise JournalDamaged(f"meta {key}: is missing")
    return meta[key]


def notice_of(row: Row, sends: Iterable[object], names: str | None) -> Notice:
    """A notice out of its row, its sends and what it names."""
    name = f"notice {row[0]}"
    stored = dict(zip(NOTICE.split(", "), row, strict=True))
    parts = {"made": parse(row[-1], name), "sends": list(sends), **named(row[0], names)}
    return fit(Notice, stored | parts, name)


def send_fields(row: Row) -> dict[str, object]:
    """A send's row under the names of its fields."""
    stored = dict(zip(SEND.split(", "), row, strict=True))
    return {**stored, "last": stored["outcome"]}
