"""What waits to be written, and who waits for it: tickets in order, never longer than asked.

Knows nothing of files. `cond` guards everything here; its lock may be taken again by its holder.
"""

import threading

from relayd.journal.batch import Batch


class Backlog:
    """One merged batch that waits, one in the writer's hand, and how far the writer has come."""

    def __init__(self) -> None:
        self.cond = threading.Condition()
        self.pending = Batch()
        self.why = ""
        self.closing = False
        self._in_hand: Batch | None = None
        self._asked = self._done = self._gave_up = 0

    def idle(self) -> bool:
        """Whether everything that was asked for is on the disk."""
        with self.cond:
            return self._done == self._asked

    def count(self) -> int:
        """How many asked in vain so far."""
        with self.cond:
            return self._asked - self._done

    def late(self) -> str:
        """Why what was asked for is not on the disk yet; '' while all is well."""
        with self.cond:
            return self.why or ("slow" if self._gave_up > self._done else "")

    def ask(self, wait: float) -> bool:
        """Wake the writer; True where all that waits now is on the disk within `wait` seconds.

        Nobody waits while somebody before waited in vain, nor once it is closed.
        """
        with self.cond:
            self._asked += 1
            ticket = self._asked
            self.cond.notify_all()
            if self.closing or self._gave_up > self._done:
                return False
            done = self.cond.wait_for(lambda: self._done >= ticket, wait)
            if not done and wait > 0:
                self._gave_up = ticket
            return done

    def give_up(self) -> None:
        """Nobody is to wait before what was asked for by now is on the disk."""
        with self.cond:
            self._gave_up = self._asked

    def hand_over(self, patience: float) -> tuple[Batch, int] | None:
        """The waiting batch and its ticket, for the writer; None where nothing came in `patience` s."""
        with self.cond:
            self.cond.wait_for(lambda: self.closing or self._asked > self._done, patience)
            if self._asked == self._done and not (self.closing and self.pending):
                return None
            batch, self.pending = self.pending, Batch()
            self._in_hand = batch
            return batch, self._asked

    def written(self, ticket: int) -> None:
        """What was handed over is on the disk."""
        with self.cond:
            self._done, self.why, self._in_hand = ticket, "", None
            self.cond.notify_all()

    def put_back(self, batch: Batch, why: str) -> None:
        """What was handed over could not be written: it waits again, before what came later."""
        with self.cond:
            batch.take(self.pending)
            self.pending, self._in_hand, self.why = batch, None, why

    def recover(self) -> None:
        """Put back what a writer that died had in its hand."""
        with self.cond:
            if self._in_hand is not None:
                self.put_back(self._in_hand, "the writer stopped")

    def pause(self, seconds: float) -> None:
        """Wait before trying again, unless it is being closed."""
        with self.cond:
            self.cond.wait_for(lambda: self.closing, seconds)

    def close(self) -> None:
        """Let the writer make its last try."""
        with self.cond:
            self.closing = True
            self.cond.notify_all()
