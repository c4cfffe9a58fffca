"""What is asked of a running unit, answered on the control thread: it reads a state that never changes.

In: the engine, the journal's file, the tree. Out: plain dicts. A disk that stalls holds up no
acknowledgement: what is read from it has a thread of its own, and a time.
"""

from collections.abc import Callable, Mapping
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from threading import Thread
from typing import Any, TypeVar

from relayd.core.events import Now
from relayd.core.plan import Plan, Priority
from relayd.core.showing import quietness, view
from relayd.core.state import State
from relayd.engine import Engine
from relayd.errors import RelaydError
from relayd.journal import reader
from relayd.journal.backup import Backup
from relayd.journal.codec import JournalDamaged
from relayd.journal.store import Journal

LAST = 50
"""Records that are shown where nobody says how many."""
READ_WAIT = 2.0
"""Seconds that a question about the journal may hold up the acknowledgements behind it."""
STALLED = "the disk does not answer: the journal cannot be read now; ask again later"

T = TypeVar("T")
Asked = Mapping[str, object]


class Questions:
    """Answers; called by one thread at a time."""

    def __init__(
        self,
        engine: Engine,
        journal: Journal,
        file: Path,
        now: Callable[[], Now],
        tree: Callable[[], Mapping[str, str]],
        ways: tuple[str, ...],
    ) -> None:
        """`file` is the journal's; `ways` are the ways out that there are."""
        self._engine, self._journal, self._file = engine, journal, file
        self._now, self._tree, self._ways = now, tree, ways
        self._reading: Future[Any] | None = None
        self.backup = Backup(file)

    def __call__(self, do: str, asked: Asked) -> Mapping[str, object]:
        """The answer to a question of that name. Raises RelaydError for a wrong one."""
        return _READS[do](self, asked)

    def status(self, _asked: Asked) -> Mapping[str, object]:
        """The whole state in words."""
        return view.status(*self._known(), self._journal.late(), self._ways)

    def why(self, asked: Asked) -> Mapping[str, object]:
        """Why nobody is told, panel by panel."""
        return {"lines": quietness.lines(*self._known(), self._panel(asked))}

    def who(self, asked: Asked) -> Mapping[str, object]:
        """Who would be told now and next, of one panel or the unit, and of one priority or all."""
        plan, state, now = self._known()
        told = [each for each in Priority if each is not Priority.RECORD_ONLY]
        wanted = asked.get("priority")
        if wanted is not None and wanted not in told:
            raise RelaydError(f"'priority' must be one of: {', '.join(told)}")
        panel, chosen = self._panel(asked), [each for each in told if wanted in (None, each)]
        return {"lists": [view.who(plan, state, panel, each, now) for each in chosen]}

    def log(self, asked: Asked) -> Mapping[str, object]:
        """Records of the journal."""
        panel = asked.get("panel")
        question = partial(
            reader.records,
            self._file,
            subject=f"panel:{panel}" if panel else None,
            since=_whole(asked, "since"),
            limit=_whole(asked, "last") or LAST,
        )
        return {"records": self._from_disk(question)}

    def backup_part(self, asked: Asked) -> Mapping[str, object]:
        """Some bytes of the backup that was begun."""
        token, first = str(asked.get("token") or ""), _whole(asked, "from") or 0
        return self._from_disk(partial(self.backup.part, token, first))

    def tree(self, asked: Asked) -> Mapping[str, object]:
        """What a broker is shown; only the topics that begin with `under` where that is given."""
        under = str(asked.get("under") or "")
        return {topic: text for topic, text in self._tree().items() if topic.startswith(under)}

    def _known(self) -> tuple[Plan, State, Now]:
        """What a question is answered from."""
        return self._engine.plan, self._engine.state, self._now()

    def _panel(self, asked: Asked) -> str:
        """The panel that was asked for, or ''. Raises RelaydError where there is none of that name."""
        wanted, known = str(asked.get("panel") or ""), self._engine.plan.panels
        if wanted and wanted not in known:
            say = f"no panel is called '{wanted}'; the plan knows: {', '.join(known)}"
            raise RelaydError(say)
        return wanted

    def _from_disk(self, question: Callable[[], T]) -> T:
        """The answer, from a thread of its own: a disk that stalls must hold up no acknowledgement."""
        if self._reading is not None and not self._reading.done():
            raise RelaydError(STALLED)
        answer = Future[T]()
        self._reading = answer

        def read() -> None:
            try:
                answer.set_result(question())
            except Exception as error:  # noqa: BLE001 - it is raised again, to the asker
                if isinstance(error, JournalDamaged):
                    self._journal.doubt()
                answer.set_exception(error)

        Thread(target=read, name="reading", daemon=True).start()
        try:
            return answer.result(READ_WAIT)
        except TimeoutError:
            raise RelaydError(STALLED) from None


def _whole(asked: Asked, name: str) -> int | None:
    """A whole number that was asked for, or None. Raises RelaydError where it is something else."""
    value = asked.get(name)
    if value is None:
        return None
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**63:
        raise RelaydError(f"'{name}' must be a whole number, not below 0")
    return value


_READS: dict[str, Callable[[Questions, Asked], Mapping[str, object]]] = {
    "status": Questions.status,
    "why": Questions.why,
    "log": Questions.log,
    "tree": Questions.tree,
    "who": Questions.who,
    "backup-part": Questions.backup_part,
}
