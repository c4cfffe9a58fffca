"""The journal: opened once, written by one thread, never waited for longer than asked.

Whatever the disk does, this thread goes on: what could not be written stays queued and is tried
again, and the alarm path acts from memory meanwhile. A file that cannot be read is set aside.
"""

import sqlite3
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from relayd import clock
from relayd.core import unit_words as words
from relayd.core.draft import UNIT
from relayd.core.effects import Record
from relayd.core.events import Now
from relayd.core.plan import DAY, HOUR, MINUTE, seconds
from relayd.core.state import State
from relayd.journal import files, opening, rows, upkeep
from relayd.journal.backlog import Backlog
from relayd.journal.base import Failure, code_of, is_damage, reason
from relayd.journal.batch import Batch, between, whole
from relayd.journal.file import File
from relayd.journal.opening import Opened
from relayd.journal.rounds import Found, Known, Rounds
from relayd.journal.rows import storable
from relayd.journal.upkeep import USUAL, Keep, Keeper
from relayd.journal.witness import Reached

IDLE = 5.0
"""Seconds after which an idle writer shows that it is alive; work wakes it at once. So often, idle
or not, it looks after the file: a little is pruned, a little is looked through."""

SET_ASIDE_AT_MOST = 3
"""Files set aside in a day while it runs: a dying disk must not be filled with them."""


class Journal:
    """One journal file. All but `open`, `restart` and `close` may be called from any thread."""

    def __init__(
        self,
        path: Path,
        unit: str,
        draw_epoch: Callable[[], str],
        retry: float = 1.0,
        keep: Keep = USUAL,
    ) -> None:
        self.opened = Opened()
        self.recorded: Callable[[], None] = lambda: None
        """Called from the writer's thread when more records are on the disk; must not wait or raise."""
        self._path, self._draw_epoch, self._retry = path, draw_epoch, retry
        self._unit = {rows.UNIT: storable(unit)}
        self._backlog = Backlog()
        self._thread: threading.Thread | None = None
        self._file = File(path)
        self._asides: tuple[int, ...] = ()
        self._latest = State(epoch="")
        self._meta: dict[str, str] = {}
        self._said: set[str] = set()
        self._next = 1
        self._stamped: int | None = None
        self._anew = 0
        self._now: Now | None = None
        self._keeper, self._rounds = Keeper(keep), Rounds(path)
        self._tidied = self._doubted = 0
        self._harms: list[str] = []
        self._beat = clock.boottime()

    # Opening

    def open(self) -> State:
        """Load the state, or begin a new one, and start the writer. Raises nothing for a bad file.

        Where the file cannot be used, `late()` says why and the writer goes on trying.
        """
        found = opening.find(self._path, self._draw_epoch)
        loaded = found.loaded
        self._say(found.opened)
        self._latest, self._next = loaded.state, loaded.next
        reached = Reached(loaded.state.epoch, loaded.next - 1, loaded.state.counter)
        self._file.adopt(found.base, reached)
        self._meta, self._said = loaded.meta, set(loaded.said)
        first = Batch(meta=dict(self._unit), mends=loaded.mends)
        if loaded.mends or loaded.unsummed:
            first.take(whole(loaded.state))
        try:
            self._write(first)
        except Failure as error:
            self._failed(first, error)
            self._backlog.ask(0)
            self._backlog.give_up()
        self._start()
        return loaded.state

    # Writing and asking

    def commit(
        self, old: State, new: State, records: Sequence[Record], now: Now, wait: float
    ) -> bool:
        """Queue what changed and wait at most `wait` seconds; True where it is on the disk by then.

        False: it stays queued, in order. While the journal is known to be late nobody waits. The
        time of the last step alone is written once a minute at most.
        """
        fresh = between(old, new, now)
        with self._backlog.cond:
            self._latest, self._now = new, now
            numbered = enumerate(records, self._next)
            fresh.records = [rows.record_row(n, record, now) for n, record in numbered]
            self._next += len(records)
            self._backlog.pending.take(fresh)
            if not fresh or (fresh.only_stamp() and self._stamped_lately(now)):
                return self._backlog.idle()
            self._stamped = now.up
            return self._backlog.ask(wait)

    def _stamped_lately(self, now: Now) -> bool:
        return self._stamped is not None and 0 <= now.up - self._stamped < MINUTE

    def said(self, topic: str, present: bool) -> None:
        """Note that a retained topic stands at the broker, or no longer does. Waits for nothing."""
        with self._backlog.cond:
            if (topic in self._said) is present:
                return
            if present:
                self._said.add(topic)
            else:
                self._said.discard(topic)
            self._backlog.pending.said[storable(topic)] = present
            self._backlog.ask(0)

    def said_topics(self) -> set[str]:
        """The retained topics that stand at the broker."""
        with self._backlog.cond:
            return set(self._said)

    def meta_get(self, key: str) -> str | None:
        """What was last set under that key, or None."""
        with self._backlog.cond:
            return self._meta.get(key)

    def meta_set(self, key: str, value: str, wait: float = 2.0) -> bool:
        """Keep a short text beside the state; True where it is on the disk within `wait` seconds.

        Raises ValueError for a key that is the journal's own.
        """
        if key in rows.OURS:
            raise ValueError(f"{key} is the journal's own key")
        with self._backlog.cond:
            self._meta[key] = self._backlog.pending.meta[key] = storable(value)
            return self._backlog.ask(wait)

    def meta_note(self, key: str, value: str) -> None:
        """Keep a short text with whatever is written next; by itself it wakes no writer."""
        if key in rows.OURS:
            raise ValueError(f"{key} is the journal's own key")
        with self._backlog.cond:
            self._meta[key] = self._backlog.pending.meta[key] = storable(value)

    def meta_write(self, key: str) -> None:
        """Have a noted text written now, unless something else took it along. Waits for nothing."""
        with self._backlog.cond:
            if key in self._backlog.pending.meta:
                self._backlog.ask(0)

    def probe(self, wait: float = 2.0) -> str | None:
        """Write something for trial: None where it is on the disk in time, else why not."""
        with self._backlog.cond:
            self._backlog.pending.meta |= self._unit
            return None if self._backlog.ask(wait) else self.late() or "slow"

    def check(self) -> str | None:
        """Read the whole file for damage: None, or the first thing found.

        Takes seconds on a memory card: never on the loop's thread.
        """
        return upkeep.check(self._path)

    def examine(self) -> None:
        """Check the file, and have a damaged one set aside; for a thread of its own."""
        file = files.inode(self._path)
        found = self.check()
        if found is not None and file == files.inode(self._path):
            self.condemn(found)

    def doubt(self) -> None:
        """Somebody could not read the file: have it checked, by a thread of its own, once an hour."""
        with self._backlog.cond:
            now = clock.boottime()
            if now < self._doubted:
                return
            self._doubted = now + HOUR
        threading.Thread(target=self.examine, name="examining", daemon=True).start()

    def condemn(self, why: str) -> None:
        """Have the file set aside and all that is in memory written into a fresh one."""
        with self._backlog.cond:
            self._file.condemned = why
            self._backlog.ask(0)

    # How it is

    def harm(self) -> str:
        """What was found damaged since this was last asked, part by part; '' where nothing was."""
        with self._backlog.cond:
            said, self._harms = self._harms, []
        return "; ".join(dict.fromkeys(said))

    def rounds(self) -> int:
        """How often the whole file was looked through, row by row, while it was in use."""
        return self._rounds.whole

    @property
    def transactions(self) -> int:
        """How many were written so far."""
        return self._file.transactions

    def backlog(self) -> int:
        """How many commits wait to be written."""
        return self._backlog.count()

    def late(self) -> str:
        """Why what was asked for is not written yet ('disk full …', 'slow'); '' while all is well."""
        return self._backlog.late()

    def beat(self) -> int:
        """Boot time (ns) at which the writer last showed that it goes round."""
        return self._beat

    def alive(self) -> bool:
        """Whether the writer's thread runs."""
        return self._thread is not None and self._thread.is_alive()

    def restart(self) -> None:
        """Start the writer again if it has died; what it had in hand is written by the new one."""
        if not self.alive():
            self._backlog.recover()
            self._start()

    def close(self, wait: float = 5.0) -> bool:
        """Write what waits, empty the log and close; False where that failed or took longer."""
        self._backlog.close()
        if self._thread is not None:
            self._thread.join(wait)
        return not self.alive() and not self._backlog.pending

    # The writer's thread

    def _start(self) -> None:
        self._tidied = clock.boottime() + seconds(IDLE)
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)
        self._thread.start()

    def _work(self) -> None:
        """Write what is queued, until closed; a failure is a reason to try again, never to stop."""
        last = False
        while not last:
            self._beat = clock.boottime()
            handed = self._backlog.hand_over(IDLE)
            last = self._backlog.closing
            if handed is not None:
                self._try(*handed)
            if not last and clock.boottime() >= self._tidied:
                self._tidy()
                self._tidied = clock.boottime() + seconds(IDLE)
        self._file.finish()
        self._rounds.close()

    def _tidy(self) -> None:
        """Prune a little of what is older than it must be, look a little through the rest."""
        base = self._file.base
        if base is None or self._backlog.late() or self._now is None:
            return
        try:
            self._keeper.step(base, self._latest, self._now)
            self._look()
        except Failure as error:
            # Of a disk that fails the next commit says more; what is damaged it may never meet.
            if is_damage(error):
                self.condemn(reason(error))

    def _look(self) -> None:
        """One slice of the daily round, where nothing waits to be written."""
        with self._backlog.cond:
            if not (self._rounds.due() and self._backlog.idle()):
                return
            known = Known(
                frozenset(map(storable, self._latest.subjects)),
                self._latest.notices,
                frozenset(map(storable, self._said)),
            )
        found = self._rounds.step(known)
        if found.said:
            self._mend(found)

    def _mend(self, found: Found) -> None:
        """Have what is wrong taken away, and written again where memory holds it."""
        with self._backlog.cond:
            anew = self._in_memory() if found.anew else Batch()
            anew.born.clear()
            anew.mends = found.mends
            self._backlog.pending.take(anew)
            self._backlog.ask(0)
        self._say(Opened(self.opened.fresh, lost=found.said))

    def _say(self, opened: Opened) -> None:
        """Keep what is known of the file, and have its harm told."""
        with self._backlog.cond:
            self.opened = opened
            if harm := opened.harm():
                self._harms.append(harm)

    def _try(self, batch: Batch, ticket: int) -> None:
        try:
            self._write(batch)
        except Exception as error:  # noqa: BLE001 - said by late(), kept, and tried again
            if not self._failed(batch, error):
                self._backlog.pause(self._retry)
            elif (again := self._backlog.hand_over(0)) is not None:
                self._try(*again)  # also where this was to be the last: there is no file now
        else:
            self._backlog.written(ticket)
            if batch.records or batch.gap:
                self.recorded()

    def _failed(self, batch: Batch, error: Exception) -> bool:
        """Keep the batch; open the file anew next time, unless the disk is only full or held.

        True where it was damaged and is out of the way.
        """
        self._backlog.put_back(batch, reason(error))
        if code_of(error) == sqlite3.SQLITE_FULL:
            self.doubt()  # SQLite says 'full' also of a page that leads to where no page can be
        elif code_of(error) != sqlite3.SQLITE_BUSY:
            self._file.drop()
        if not (is_damage(error) and self._may_set_aside()):
            return False
        self._file.condemned = ""
        self._rounds.again()
        lost, before = (words.LOST_RECORDS,), self.opened
        after = opening.set_aside(self._path, before, reason(error), lost)
        if after is not before:
            self._say(after)
        return after is not before

    def _may_set_aside(self) -> bool:
        """Whether there is still one to spare today; then it counts."""
        now = clock.boottime()
        lately = tuple(each for each in self._asides if each > now - DAY)
        self._asides = (*lately, now)[:SET_ASIDE_AT_MOST]
        return len(lately) < SET_ASIDE_AT_MOST

    def _write(self, batch: Batch) -> None:
        self._file.write(batch, self._latest.epoch, self._everything)
        self._anew = 0

    def _everything(self, batch: Batch) -> Batch:
        """All that is in memory, and the batch."""
        with self._backlog.cond:
            full = self._in_memory()
            full.take(batch)
            if self.opened.set_aside or self.transactions:
                full.records.append(self._begun_anew())
        return full

    def _in_memory(self) -> Batch:
        """All that is in memory; the lock is held."""
        full = whole(self._latest)
        full.meta |= self._meta | self._unit
        full.said = {storable(topic): True for topic in self._said}
        return full

    def _begun_anew(self) -> rows.Row:
        """A record whose number keeps those that were given out from coming again."""
        if not self._anew:
            self._anew, self._next = self._next, self._next + 1
        body = {"why": self.opened.why, "set_aside": self.opened.set_aside or ""}
        anew = Record("journal begun anew", UNIT, body)
        return rows.record_row(self._anew, anew, self._now or clock.now(False))
