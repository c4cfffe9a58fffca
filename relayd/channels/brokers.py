"""Every broker of the plan, each with a client, a health and a memory of its own, behind one face.

In: the tree, answers, news of the journal, from the daemon. Out: the same to each broker. A broker
that is away holds up no other one. Knows nothing of paho and SQLite.
"""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Protocol

from relayd.answering.proving import Proving
from relayd.channels.branches import ELSEWHERE, Branches
from relayd.channels.mqtt import Listens, Mqtt
from relayd.channels.stream import Stream
from relayd.contacts import Post
from relayd.core.effects import Answer
from relayd.core.plan import Plan
from relayd.rig import FIRST, Announcement, Broker

ALL = "all"
"""What an announcement names that is for every broker."""
_BETWEEN = "|"
"""Between a broker's way and a topic, in the memory of what was said; no way holds it."""


class Memory(Protocol):
    """Which topics may stand at brokers; kept over restarts."""

    def said_topics(self) -> set[str]:
        """All of them."""

    def said(self, topic: str, present: bool) -> None:
        """From now on it may stand there, or it was cleared. Never waits."""


class Brokers:
    """All connections, kept up until `stop`. One object lives once."""

    def __init__(
        self,
        post: Post,
        brokers: Iterable[Broker],
        plan: Plan,
        memory: Memory,
        stream: Callable[[str], Stream | None],
        announcements: Iterable[Announcement] = (),
        proving: Proving | None = None,
        listens: Listens | None = None,
    ) -> None:
        """`stream` makes the events on their way to the broker of that way; `proving` knows codes."""
        told, announced = memory.said_topics(), tuple(announcements)
        self._beside: dict[str, dict[str, str]] = {}
        self._clients: dict[str, Mqtt] = {}
        for broker in brokers:
            mine = [each for each in announced if each.on in (broker.name, ALL)]
            self._beside[broker.way] = {each.topic: each.payload for each in mine if each.retain}
            self._clients[broker.way] = Mqtt(
                post,
                broker,
                plan,
                plan.unit,
                {topic for way, topic in map(_apart, told) if way == broker.way},
                partial(_keep, memory, broker.way),
                stream=stream(broker.way) if broker.stream else None,
                greetings={each.topic: each.payload for each in mine if not each.retain},
                proving=proving,
                listens=listens,
            )
        for each in told:
            if _apart(each)[0] not in self._clients and _apart(each)[0] != FIRST:
                memory.said(each, False)  # that broker is in the plan no more

    @property
    def ways(self) -> tuple[str, ...]:
        """What each is called: `mqtt`, `mqtt:<name>`."""
        return tuple(self._clients)

    def start(self) -> None:
        """Begin to connect. Waits for no broker."""
        for each in self._clients.values():
            each.start()

    def stop(self) -> None:
        """Leave every broker; waits a few seconds at most for each."""
        for each in self._clients.values():
            each.stop()

    def show(self, tree: Mapping[str, str]) -> None:
        """From now on each broker is to show `tree`. Never waits."""
        for way, each in self._clients.items():
            beside = self._beside[way]
            each.show(Branches.of(tree).grafted(ELSEWHERE, beside) if beside else tree)

    def answer(self, answer: Answer) -> None:
        """Publish it at the broker by which the command came."""
        for each in self._clients.values():
            each.answer(answer)

    def pulse(self, topic: str, payload: str) -> None:
        """Publish a heartbeat at every broker whose connection stands. Never waits."""
        for each in self._clients.values():
            each.pulse(topic, payload)

    def deaf(self, way: str, why: str) -> None:
        """That broker does not bring what it should: it counts as denied, until it connects anew."""
        self._clients[way].deaf(why)

    def wake(self) -> None:
        """The journal holds more records than before. Never waits."""
        for each in self._clients.values():
            each.wake()

    def beat(self) -> int | None:
        """Boot time (ns) of the last turn of the client that turned longest ago; None without any."""
        return min((each.beat() for each in self._clients.values()), default=None)

    def alive(self) -> bool:
        """Whether the threads of all clients run."""
        return all(each.alive() for each in self._clients.values())


def _apart(said: str) -> tuple[str, str]:
    """The way and the topic; the first broker's topics stand for themselves."""
    way, between, topic = said.partition(_BETWEEN)
    return (way, topic) if between and way.startswith(f"{FIRST}:") else (FIRST, said)


def _keep(memory: Memory, way: str, topic: str, present: bool) -> None:
    memory.said(topic if way == FIRST else f"{way}{_BETWEEN}{topic}", present)
