"""Keeps a broker showing the tree it was last given: one thread that publishes the difference.

In: trees and answers, from any thread, without waiting. Out: publishes through a `Wire`, a few at
a time, each taken by the broker before more go out. Knows nothing of paho.

Nothing is queued: the latest tree wins, and a new connection begins with the whole tree. `said`
is every topic that may stand at a broker: what is no longer wanted is cleared, also where an
earlier process said it. Events (stream.py) go out only while the broker has the whole tree, a few
at a time. No lock of ours is held while the wire is used.
"""

import json
from collections import deque
from collections.abc import Callable, Mapping
from threading import Condition, Thread
from types import MappingProxyType
from typing import Protocol

from relayd.channels import devices, homie
from relayd.channels.branches import Branches
from relayd.channels.event import asked_from
from relayd.channels.stream import Receipt, Stream
from relayd.channels.tickets import Tickets
from relayd.clock import boottime
from relayd.contacts import Post
from relayd.core.effects import Answer
from relayd.core.events import FaultFound

IN_FLIGHT = 10
"""Published and not yet taken by the broker (common practice, no source)."""
ANSWERS_KEPT = 32
NOTES_KEPT = 8
"""Complaints about what was asked for at the event stream; older ones are dropped."""
TURN = 5.0
"""Seconds: without news the teller turns this often, for its beat."""
RECHECK = 0.2
FAREWELL = 2.0

OnSaid = Callable[[str, bool], None]


class Wire(Protocol):
    """A connection to a broker that comes and goes."""

    def open(self) -> None:
        """Begin to connect, if that has not been done; called at every turn."""

    def session(self) -> int:
        """The number of the connection that stands now; 0 where none does."""

    def publish(
        self, topic: str, payload: str, retain: bool, qos: int | None = None
    ) -> Receipt | None:
        """Send without waiting; None where no connection stands.

        Without `qos`: 1 for what is retained, 0 for the rest.
        """

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
        stream: Stream | None = None,
        greetings: Mapping[str, str] = MappingProxyType({}),
    ) -> None:
        self._wire, self._unit, self._tickets, self._ticket_shown = (
            wire,
            unit,
            tickets,
            ticket_shown,
        )
        self._said, self._on_said, self._stream = said, on_said, stream
        self._greetings, self._greeted = greetings, 0
        self._news = Condition()
        self._dirty = self._poked = self._stopping = False
        self._level = False
        self._tree: Mapping[str, str] | None = None
        self._answers: deque[Answer] = deque()
        self._unsaid = 0
        self._notes: deque[str] = deque(maxlen=NOTES_KEPT)
        self._pulse: tuple[str, str] | None = None
        self._session = 0
        self._told: Branches[str | None] = Branches()
        self._settled: Branches[str] | None = None
        """The tree that this connection shows in full, as the daemon gave it."""
        self._flight: deque[Receipt] = deque()
        self._beat = boottime()
        self._thread = Thread(target=self._run, name="mqtt-teller", daemon=True)
        if stream is not None:
            stream.wake = self._poke

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
        """Publish an answer. Never waits; where too many wait the oldest refusal is dropped, and counted."""
        with self._news:
            self._answers.append(answer)
            if len(self._answers) > ANSWERS_KEPT:
                # A flood of what is refused must not push out word that something was done.
                first = next((each for each in self._answers if not each.ok), self._answers[0])
                self._answers.remove(first)
                self._unsaid += 1
        self.wake()

    def replay(self, payload: bytes, retained: bool) -> None:
        """Somebody asks for events again; what is wrong with that goes into the log topic."""
        if self._stream is None:
            return
        try:
            if retained:
                raise ValueError("send it without the retain flag, and clear the retained one")
            wrong = self._stream.replay(asked_from(payload))
        except ValueError as error:
            wrong = str(error)
        if wrong:
            self._notes.append(f"events/replay: {wrong}")
            self.wake()

    def pulse(self, topic: str, payload: str) -> None:
        """Publish a heartbeat before anything else; where no connection stands it is dropped."""
        with self._news:
            self._pulse = (topic, payload)
        self._poke()

    def wake(self) -> None:
        """There is news: another connection, another ticket."""
        with self._news:
            self._dirty = True
            self._news.notify_all()

    def recorded(self) -> None:
        """The journal holds more than before. Never waits."""
        if self._stream is not None:
            self._stream.news()
            self._poke()

    def _poke(self) -> None:
        """The stream can go on; the tree is as it was."""
        with self._news:
            self._poked = True
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
                if not self._turn():
                    self._rest()
            self._leave()
        except Exception as error:
            self._post(FaultFound("mqtt", f"{type(error).__name__}: {error}"))
            raise

    def _turn(self) -> bool:
        """Do what there is to do; True where there is more to do at once."""
        self._wire.open()
        session = self._wire.session()
        if session != self._session:
            self._begin(session)
        self._live()
        if session and (self._dirty or not self._level):
            self._dirty = False
            self._level = self._catch_up() and self._greet() and self._give_answers()
            if self._level:
                self._wire.caught_up()
        self._beat = boottime()
        if self._stream is None or not (session and self._level):
            return False
        return self._stream.step(self._event, self._quiet)

    def _live(self) -> None:
        """Send the heartbeat that waits, if one does."""
        pulse, self._pulse = self._pulse, None
        if pulse is not None:
            self._wire.publish(*pulse, retain=False, qos=0)

    def _begin(self, session: int) -> None:
        """What stands at this broker is not known: everything is said, or cleared, again."""
        self._session, self._settled = session, None
        self._told = Branches(dict.fromkeys(self._said))
        self._level = False
        self._flight.clear()
        if self._stream is not None:
            self._stream.begin()

    def _rest(self) -> None:
        """Wait for news, a turn at most; then look at everything again, unless only poked."""
        with self._news:
            self._news.wait_for(lambda: self._dirty or self._poked or self._stopping, TURN)
            self._dirty = self._dirty or not self._poked
            self._poked = False

    def _event(self, topic: str, payload: str) -> Receipt | None:
        return self._wire.publish(topic, payload, retain=False, qos=1)

    def _quiet(self) -> bool:
        """Whether nothing that comes before the events is waiting."""
        news = self._dirty or self._stopping
        return not news and self._wire.session() == self._session

    def _catch_up(self) -> bool:
        """Publish the difference; True where the broker has taken all of it."""
        wanted = self._wanted()
        if wanted is None:
            return False
        cleared = []
        # Until this pass is through, nothing is taken to be shown in full.
        settled, self._settled = self._settled, None
        for topic, planned in devices.changes(self._told, wanted, settled):
            payload = self._latest(topic, planned, wanted)
            if not self._say(topic, payload):
                return False
            cleared += [] if payload else [topic]
        if not self._room(0):
            return False
        for topic in cleared:
            self._said.discard(topic)
            self._on_said(topic, False)
        self._settled = wanted
        return True

    def _wanted(self) -> Branches[str] | None:
        if self._tree is None:
            return None
        tree = Branches.of(self._tree)
        if not self._ticket_shown:
            return tree
        return tree.plus({homie.command_topic(self._unit, "ticket"): self._tickets.current})

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
            self._live()
            self._beat = boottime()
        return self._wire.session() == self._session

    def _greet(self) -> bool:
        """Publish what is told once at each connection; False where this connection is over."""
        if self._greeted == self._session:
            return True
        done = all(self._publish(*each, retain=False) for each in self._greetings.items())
        self._greeted = self._session if done else self._greeted
        return done

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
        while self._notes:
            if not self._log("warn", self._notes[0]):
                return False
            self._notes.popleft()
        return True

    def _log(self, level: str, text: str) -> bool:
        topic = f"{devices.ROOT}/{self._unit}/$log/{level}"
        return self._publish(topic, devices.clean(text), retain=False)

    def _leave(self) -> None:
        if self._stream is not None:
            self._stream.stop()
        if self._wire.session() and self._tree is not None:
            last = None
            for device in reversed(devices.devices(self._tree)):
                last = self._wire.publish(devices.state_topic(device), "disconnected", True)
            if last is not None:
                last.taken(FAREWELL)
        self._wire.close()
