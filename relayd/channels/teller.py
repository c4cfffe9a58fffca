"""Keeps a broker showing the tree it was last given: one thread that publishes the difference.

In: trees and answers, from any thread, without waiting. Out: publishes through a `Wire`, a few at
a time, each taken by the broker before more go out. Knows nothing of paho.

Nothing is queued: the latest tree wins, and a new connection begins with the whole tree. `said`
is every topic that may stand at a broker: what is no longer wanted is cleared, also where an
earlier process said it. No lock of ours is held while the wire is used.
"""

import json
from collections import deque
from collections.abc import Callable, Mapping
from threading import Condition, Thread
from typing import Protocol

from relayd.channels import devices, homie
from relayd.channels.tickets import Tickets
from relayd.clock import boottime
from relayd.contacts import Post
from relayd.core.effects import Answer
from relayd.core.events import FaultFound

IN_FLIGHT = 10
"""Published and not yet taken by the broker (common practice, no source)."""
ANSWERS_KEPT = 32
TURN = 5.0
"""Seconds: without news the teller turns this often, for its beat."""
RECHECK = 0.2
FAREWELL = 2.0

OnSaid = Callable[[str, bool], None]


class Receipt(Protocol):
    """One message on its way."""

    def taken(self, wait: float) -> bool:
        """Whether it arrived, after at most `wait` seconds."""


class Wire(Protocol):
    """A connection to a broker that comes and goes."""

    def open(self) -> None:
        """Begin to connect, if that has not been done; called at every turn."""

    def session(self) -> int:
        """The number of the connection that stands now; 0 where none does."""

    def publish(self, topic: str, payload: str, retain: bool) -> Receipt | None:
        """Send without waiting; None where no connection stands."""

    def caught_up(self) -> None:
        """The broker has taken everything that is wanted."""

    def close(self) -> None:
        """Leave the broker for good."""


class Teller:
    """The thread between the daemon and a wire. One object lives once."""

    def __init__(
        self,
        wire: Wire,
        unit: str,
        tickets: Tickets,
        ticket_shown: bool,
        said: set[str],
        on_said: OnSaid,
    ) -> None:
        self._wire, self._unit, self._tickets, self._ticket_shown = (
            wire,
            unit,
            tickets,
            ticket_shown,
        )
        self._said, self._on_said = said, on_said
        self._news = Condition()
        self._dirty = self._stopping = False
        self._tree: Mapping[str, str] | None = None
        self._answers: deque[Answer] = deque()
        self._unsaid = 0
        self._session = 0
        self._told: dict[str, str | None] = {}
        self._flight: deque[Receipt] = deque()
        self._beat = boottime()
        self._thread = Thread(target=self._run, name="mqtt-teller", daemon=True)

    def start(self, post: Post) -> None:
        """Begin; a fault of the thread itself is posted before it ends."""
        self._post = post
        self._thread.start()

    def stop(self) -> None:
        """Say `disconnected`, leave the broker, end the thread; waits a few seconds at most."""
        with self._news:
            self._stopping = True
            self._news.notify_all()
        if self._thread.is_alive():
            self._thread.join(3 * FAREWELL)

    def show(self, tree: Mapping[str, str]) -> None:
        """From now on the broker is to show `tree`. Never waits."""
        with self._news:
            self._tree = tree
        self.wake()

    def answer(self, answer: Answer) -> None:
        """Publish an answer. Never waits; the oldest is dropped, and counted, where too many wait."""
        with self._news:
            self._answers.append(answer)
            if len(self._answers) > ANSWERS_KEPT:
                self._answers.popleft()
                self._unsaid += 1
        self.wake()

    def wake(self) -> None:
        """There is news: another connection, another ticket."""
        with self._news:
            self._dirty = True
            self._news.notify_all()

    def beat(self) -> int:
        """Boot time (ns) at which the thread last showed that it goes on."""
        return self._beat

    def alive(self) -> bool:
        """Whether the thread runs."""
        return self._thread.is_alive()

    @property
    def leaving(self) -> bool:
        """Whether `stop` was called."""
        return self._stopping

    # ---- the thread -----------------------------------------------------------------------

    def _run(self) -> None:
        try:
            while not self._stopping:
                self._turn()
            self._leave()
        except Exception as error:
            self._post(FaultFound("mqtt", f"{type(error).__name__}: {error}"))
            raise

    def _turn(self) -> None:
        self._wire.open()
        session = self._wire.session()
        if session != self._session:
            # What stands at this broker is not known: everything is said, or cleared, again.
            self._session, self._told = session, dict.fromkeys(self._said)
            self._flight.clear()
        if session and self._catch_up() and self._give_answers():
            self._wire.caught_up()
        with self._news:
            self._news.wait_for(lambda: self._dirty or self._stopping, TURN)
            self._dirty = False
        self._beat = boottime()

    def _catch_up(self) -> bool:
        """Publish the difference; True where the broker has taken all of it."""
        wanted = self._wanted()
        if wanted is None:
            return False
        cleared = []
        for topic, planned in devices.changes(self._told, wanted):
            payload = self._latest(topic, planned, wanted)
            if not self._say(topic, payload):
                return False
            cleared += [] if payload else [topic]
        if not self._room(0):
            return False
        for topic in cleared:
            self._said.discard(topic)
            self._on_said(topic, False)
        return True

    def _wanted(self) -> Mapping[str, str] | None:
        tree = self._tree
        if tree is None or not self._ticket_shown:
            return tree
        return {**tree, homie.command_topic(self._unit, "ticket"): self._tickets.current}

    def _latest(self, topic: str, planned: str, wanted: Mapping[str, str]) -> str:
        """What a topic is to show by now: it may have changed while others went out."""
        if topic not in wanted or topic.endswith("/$description"):
            return planned
        return (self._wanted() or wanted).get(topic, "")

    def _say(self, topic: str, payload: str) -> bool:
        if payload and topic not in self._said:
            self._said.add(topic)
            self._on_said(topic, True)
        if not self._publish(topic, payload, retain=True):
            return False
        if payload:
            self._told[topic] = payload
        else:
            self._told.pop(topic, None)
        return True

    def _publish(self, topic: str, payload: str, retain: bool) -> bool:
        """Send one message as soon as there is room; False where this connection is over."""
        if not self._room(IN_FLIGHT - 1):
            return False
        receipt = self._wire.publish(topic, payload, retain)
        if receipt is None:
            return False
        self._flight.append(receipt)
        return True

    def _room(self, most: int) -> bool:
        """Wait until at most `most` messages are on their way; False where this connection is over."""
        while len(self._flight) > most:
            if self._stopping or self._wire.session() != self._session:
                return False
            if self._flight[0].taken(RECHECK):
                self._flight.popleft()
            self._beat = boottime()
        return self._wire.session() == self._session

    def _give_answers(self) -> bool:
        while self._answers:
            answer = self._answers[0]
            body = json.dumps(self._tickets.body(answer), default=str)
            level = "info" if answer.ok else "warn"
            published = self._publish(
                homie.command_topic(self._unit, "answer"), body, retain=False
            ) and self._log(level, answer.say)
            if not published:
                return False
            with self._news:
                if self._answers and self._answers[0] is answer:
                    self._answers.popleft()
                unsaid, self._unsaid = self._unsaid, 0
            if unsaid and not self._log("warn", f"{unsaid} answers were dropped: too many at once"):
                return False
        return True

    def _log(self, level: str, text: str) -> bool:
        topic = f"{devices.ROOT}/{self._unit}/$log/{level}"
        return self._publish(topic, devices.clean(text), retain=False)

    def _leave(self) -> None:
        if self._wire.session() and self._tree is not None:
            last = None
            for device in reversed(devices.devices(self._tree)):
                last = self._wire.publish(devices.state_topic(device), "disconnected", True)
            if last is not None:
                last.taken(FAREWELL)
        self._wire.close()
