"""The one open connection that writes: a batch in one transaction, into the file that is meant.

In: batches. Out: rows on the disk, and the note of how far the file has come. Used by the writer's
thread only, once the journal is open. Raises what the database raises; knows no queue.
"""

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from relayd.journal import files, rows, witness
from relayd.journal.base import connect, transaction
from relayd.journal.batch import Batch
from relayd.journal.codec import JournalDamaged
from relayd.journal.witness import Reached


class File:
    """The journal's file, opened when it is written to, and anew after an error."""

    def __init__(self, path: Path) -> None:
        self.base: sqlite3.Connection | None = None
        self.condemned = ""
        """Why it must not be written any more; '' while it may."""
        self.transactions = 0
        self._path = path
        self._inode = 0
        self._reached = Reached("", 0, 0)

    def adopt(self, base: sqlite3.Connection | None, reached: Reached) -> None:
        """Go on with a connection that was opened before, and from where that file has come."""
        self.base, self._reached = base, reached

    def write(self, batch: Batch, epoch: str, everything: Callable[[Batch], Batch]) -> None:
        """Write one batch; into a file that is new: `everything` of it."""
        base, is_new = self._reach(epoch)
        if is_new:
            batch = everything(batch)
        with transaction(base):
            for sql, values in batch.work():
                base.executemany(sql, values)
        self.transactions += 1
        if is_new:
            self._reached = Reached(epoch, 0, 0)
        self._note(batch)

    def drop(self) -> None:
        """Close the connection, if there is one."""
        base, self.base = self.base, None
        if base is not None:
            with suppress(sqlite3.Error):  # it is given up either way
                base.close()

    def finish(self) -> None:
        """Empty the log and close."""
        with suppress(sqlite3.Error):  # only tidying: the next opening reads the log as well
            if self.base is not None:
                self.base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.drop()

    def _note(self, batch: Batch) -> None:
        """Note beside the file how far it has come, where that is news."""
        if batch.records or rows.COUNTER in batch.meta:
            last = batch.records[-1][0] if batch.records else self._reached.record
            counter = int(batch.meta.get(rows.COUNTER, self._reached.counter))
            self._reached = Reached(self._reached.epoch, last, counter)
            witness.write(self._path, self._reached)

    def _reach(self, epoch: str) -> tuple[sqlite3.Connection, bool]:
        """The connection, and whether its file is new; also where somebody took the file away."""
        if self.base is not None and self._inode not in (0, files.inode(self._path)):
            self.drop()
        if self.condemned:
            raise JournalDamaged(self.condemned)
        base = self.base = self.base or connect(self._path)
        self._inode = files.inode(self._path)
        found = rows.epoch_in(base.execute)
        if found not in (None, epoch):
            raise JournalDamaged(f"{self._path.name} holds the journal of another time")
        return base, found is None
