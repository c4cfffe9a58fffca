"""How far a mailbox was read, kept over restarts: no answer is lost, and none counts twice.

A mail is done when the core has answered, or needs not be asked; a crash before that has it read
again. A mail at which the reader died twice is left out, and that is said.
"""

import json
from collections import OrderedDict

from relayd.answering.codes import Memory

At = tuple[int, int]
"""What the folder is numbered by (UIDVALIDITY), and a mail's number in it (UID)."""
_KEPT = "mailbox"
IDS = 500
"""Mails that are known again by their Message-ID, whatever number they carry."""
DEATHS = 2


class Progress:
    """Used by the keeper's thread; `done` by the daemon's as well, one at a time."""

    def __init__(self, memory: Memory) -> None:
        self._memory = memory
        kept = json.loads(memory.meta_get(_KEPT) or "{}")
        self._at: At | None = tuple(kept["at"]) if kept.get("at") else None
        self._top = self._at
        """The last mail that is done; one before it may still wait for the core."""
        self._ids: OrderedDict[str, None] = OrderedDict.fromkeys(kept.get("ids", ()))
        self._open: dict[str, tuple[At, str]] = {}
        """Token -> where the mail lies, and its Message-ID."""
        self._looking: At | None = None
        self._deaths = 0

    def since(self) -> At | None:
        """Where the reader is to begin: behind the last mail that is done."""
        return self._at

    def begun(self, at: At) -> None:
        """The reader says from where it looks."""
        if self._at is None or self._at[0] != at[0]:
            self._at = self._top = at
            self._keep()

    def looking(self, at: At) -> None:
        """The reader begins with that mail."""
        if at != self._looking:
            self._looking, self._deaths = at, 0

    def died(self) -> bool:
        """The reader ended; True where it has now died at one mail too often, which is left out."""
        if self._looking is None:
            return False
        self._deaths += 1
        if self._deaths < DEATHS:
            return False
        self.done(self._looking)
        return True

    def known(self, id: str) -> bool:
        """Whether a mail of that Message-ID was read before; then it is."""
        known = id in self._ids
        self._ids[id] = None
        while len(self._ids) > IDS:
            self._ids.popitem(last=False)
        return known

    def asked(self, token: str, at: At, id: str) -> None:
        """The core is asked: that mail is done when it has answered."""
        self._open[token] = at, id
        self._looking = None

    def answered(self, token: str) -> None:
        """The core has answered."""
        found = self._open.pop(token, None)
        if found is not None:
            self.done(found[0])

    def done(self, at: At) -> None:
        """Nothing is to be done about that mail any more."""
        if at == self._looking:
            self._looking = None
        if self._top is None or self._top[0] != at[0] or at[1] > self._top[1]:
            self._top = at
        waits = [at[1] - 1 for at, _ in self._open.values() if at[0] == self._top[0]]
        self._at = (self._top[0], min([self._top[1], *waits]))
        self._keep()

    def _keep(self) -> None:
        open_ = {id for _, id in self._open.values()}  # read again after a crash, and not known
        kept = {"at": self._at, "ids": [each for each in self._ids if each not in open_]}
        self._memory.meta_note(_KEPT, json.dumps(kept))
