"""Puts together what answers from afar need: the key, the codes, their limits, and the mailbox."""

from collections.abc import Callable
from pathlib import Path

from relayd.answering import key
from relayd.answering.codes import Codes, Memory
from relayd.answering.filling import Filling, Tells
from relayd.answering.proving import Proving
from relayd.core.effects import Answer
from relayd.core.events import Event, Now
from relayd.core.plan import Plan
from relayd.core.state import State
from relayd.mailbox.answers import WAY, Answers
from relayd.mailbox.keeper import Keeper
from relayd.mailbox.memory import Progress
from relayd.rig import Rig

WAYS = {WAY: "by mail", "mqtt": "over MQTT"}


class Afar:
    """Everything by which people answer from afar with a code; nothing of it where no plan asks for it."""

    def __init__(
        self,
        plan: Plan,
        rig: Rig,
        folder: Path,
        memory: Memory,
        post: Callable[[Event], None],
        now: Callable[[], Now],
        state: Callable[[], State],
    ) -> None:
        self.proving: Proving | None = None
        self._codes: Codes | None = None
        self._answers: Answers | None = None
        self._keeper: Keeper | None = None
        if not plan.codes:
            return
        self._codes = Codes(plan, key.kept(folder), memory, state)
        open_ = {WAY: plan.mailbox, "mqtt": plan.remote_commands}
        ways = {way: words for way, words in WAYS.items() if open_[way]}
        self.proving = Proving(plan, self._codes, ways, post, now)
        if rig.mailbox is not None:
            self._answers = Answers(plan, rig.mailbox.senders, self.proving, post, now)
            self._keeper = Keeper(post, rig.mailbox, self._answers, Progress(memory))

    @property
    def ways(self) -> tuple[str, ...]:
        """What may be down of it: the mailbox, where there is one."""
        return () if self._keeper is None else (WAY,)

    def before(self, sender: Tells) -> Tells:
        """What is to be given the messages: it writes their codes in, and hands them to `sender`."""
        return sender if self._codes is None else Filling(sender, self._codes)

    def answer(self, answer: Answer) -> None:
        """The core has answered what came by mail."""
        if self._keeper is not None:
            self._keeper.answer(answer)

    def resolved(self, plan: Plan) -> None:
        """The same plan, its local time resolved around another year."""
        for each in (self.proving, self._answers):
            if each is not None:
                each.plan = plan

    def start(self) -> None:
        """Begin to look into the mailbox. Waits for no server."""
        if self._keeper is not None:
            self._keeper.start()

    def look(self) -> None:
        """Say so where a lock has ended; record what was only counted."""
        if self.proving is not None:
            self.proving.look()
        if self._keeper is not None:
            self._keeper.look()

    def alive(self) -> bool:
        """Whether its thread runs, where there is one."""
        return self._keeper is None or self._keeper.alive()

    def stop(self) -> None:
        """Look no more."""
        if self._keeper is not None:
            self._keeper.stop()
