"""Units and their brokers in simulated time: the real Peers over a network that can be broken.

Nothing waits: a heap of happenings, each at its time. A unit has a client for each broker with
paho's habits, as far as they matter here: a lost connection is noticed at once where the broker or
the process ends, and after 1.4 keepalives where nothing comes back; it tries again after 1, 2, 4 …
30 s. A message takes a few milliseconds.
"""

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count

from relayd.core.events import PeerHeard
from relayd.core.plan import SECOND
from relayd.rig import Peer
from relayd.supervision import beats
from relayd.supervision.beats import Beat
from relayd.supervision.peers import STATE, Peers

MS = SECOND // 1000
FLIGHT = 3 * MS
"""From a client to the broker, and from there to another client."""
NOTICED = 28 * SECOND
"""A connection on which nothing comes back is given up after 1.4 keepalives of 20 s."""
SHORT, SHORT_ONES = 10 * SECOND, 5
"""After so many connections in a row that ended sooner, a client waits as long as it ever does."""
RETRIES = (1, 2, 4, 8, 16, 30)
WILL_DELAY, BROKER_NOTICES = 30 * SECOND, 30 * SECOND


@dataclass
class Net:
    """All of it. `now` is everybody's boot time."""

    now: int = 1000 * SECOND
    happenings: list[tuple[int, int, Callable[[], None]]] = field(default_factory=list)
    order: "count[int]" = field(default_factory=count)
    brokers: dict[str, "Broker"] = field(default_factory=dict)
    units: dict[str, "Unit"] = field(default_factory=dict)
    said: list[tuple[int, str, PeerHeard]] = field(default_factory=list)
    """When, by which unit, what it told its core."""

    def at(self, when: int, act: Callable[[], None]) -> None:
        """Do it then."""
        heapq.heappush(self.happenings, (max(when, self.now), next(self.order), act))

    def run(self, length: float) -> None:
        """Let so many seconds pass."""
        end = self.now + round(length * SECOND)
        while self.happenings and self.happenings[0][0] <= end:
            self.now, _, act = heapq.heappop(self.happenings)
            act()
        self.now = end

    def broker(self, name: str = "mqtt") -> "Broker":
        """One more broker, up."""
        return self.brokers.setdefault(name, Broker(self))

    def unit(self, name: str, watches: Iterable[str], **more: object) -> "Unit":
        """One more unit, running, at every broker there is."""
        made = Unit(self, name, tuple(watches), **more)  # type: ignore[arg-type]
        self.units[name] = made
        made.begin()
        return made

    def silent(self, by: str, about: str) -> list[float]:
        """When that unit told of that peer's silence (s)."""
        return [
            at / SECOND
            for at, who, each in self.said
            if (who, each.peer) == (by, about) and each.why
        ]

    def back(self, by: str, about: str) -> list[float]:
        """When that unit told that the peer is heard, after it had told of its silence."""
        first = self.silent(by, about)
        return [
            at / SECOND
            for at, who, each in self.said
            if (who, each.peer) == (by, about) and not each.why and first and at / SECOND > first[0]
        ]


@dataclass(eq=False)
class Broker:
    """Brings what a client publishes to every client that is connected; keeps `$state`."""

    net: Net
    up: bool = True
    clients: list["Link"] = field(default_factory=list)
    kept: dict[str, bytes] = field(default_factory=dict)

    def publish(self, topic: str, payload: bytes) -> None:
        if self.up:
            for each in list(self.clients):
                each.bring(topic, payload)

    def keep(self, topic: str, payload: bytes) -> None:
        self.kept[topic] = payload
        self.publish(topic, payload)

    def stop(self) -> None:
        """It ends, and forgets what it kept; every client that is not cut off notices."""
        self.up = False
        self.kept.clear()
        for each in list(self.clients):
            each.lost()

    def start(self) -> None:
        self.up = True

    def restart(self, away: float = 0.3) -> None:
        self.stop()
        self.net.at(self.net.now + round(away * SECOND), self.start)


@dataclass(eq=False)
class Link:
    """A unit's client of one broker."""

    unit: "Unit"
    way: str
    broker: Broker
    up: bool = False
    tries: int = 0
    began: int = 0
    shorts: int = 0
    swallowed: bool = False
    """What goes either way is lost, and neither end knows."""

    def connect(self) -> None:
        if self.up or not self.unit.lives:
            return
        if not self.broker.up or self.swallowed or self.unit.frozen:
            self._again()
            return
        self.up, self.tries, self.began = True, 0, self.unit.net.now
        self.broker.clients.append(self)
        self.unit.peers.linked(self.way, True, self.unit.net.now)
        topics = set(self.unit.peers.topics)
        for topic, payload in self.broker.kept.items():
            if topic in topics:
                self.bring(topic, payload)
        self.state("ready")
        self.unit.beat()

    def state(self, payload: str) -> None:
        net, topic = self.unit.net, STATE.format(unit=self.unit.name)
        net.at(net.now + FLIGHT, lambda: self.broker.keep(topic, payload.encode()))

    def bring(self, topic: str, payload: bytes) -> None:
        net = self.unit.net
        if topic in self.unit.peers.topics and not self.swallowed:
            net.at(net.now + FLIGHT, lambda: self._heard(topic, payload))

    def _heard(self, topic: str, payload: bytes) -> None:
        if self.up and self.unit.awake and not self.swallowed:
            self.unit.peers.heard(self.way, topic, payload, self.unit.net.now)

    def lost(self) -> None:
        """The connection is over, and this end knows."""
        if self in self.broker.clients:
            self.broker.clients.remove(self)
        if self.up and not self.swallowed:
            self.up = False
            now = self.unit.net.now
            self.shorts = self.shorts + 1 if now - self.began < SHORT else 0
            self.tries = len(RETRIES) if self.shorts >= SHORT_ONES else self.tries
            self.unit.peers.linked(self.way, False, now)
            self._again()

    def swallow(self) -> None:
        """From now on nothing gets through; each end notices in its time."""
        self.swallowed = True
        net = self.unit.net
        net.at(net.now + NOTICED, self._noticed)
        net.at(net.now + BROKER_NOTICES + WILL_DELAY, self._willed)

    def heal(self) -> None:
        self.swallowed = False

    def _noticed(self) -> None:
        if self.swallowed and self.up:
            self.up = False
            self.unit.peers.linked(self.way, False, self.unit.net.now)
            self._again()

    def _willed(self) -> None:
        if (self.swallowed or not self.unit.awake) and not self.unit.stopped:
            if self in self.broker.clients:
                self.broker.clients.remove(self)
            topic = STATE.format(unit=self.unit.name)
            self.broker.keep(topic, b"lost")

    def _again(self) -> None:
        wait = RETRIES[min(self.tries, len(RETRIES) - 1)]
        self.tries += 1
        net = self.unit.net
        net.at(net.now + wait * SECOND, self.connect)


@dataclass(eq=False)
class Unit:
    """One unit: its links, its Peers, and a loop that looks when it is due."""

    net: Net
    name: str
    watches: tuple[str, ...]
    every: float = 1.0
    grace: float = 5.0
    high: int = 0
    tells: bool = True
    """Whether its people are told when it says that a peer is silent."""
    lives: bool = True
    frozen: bool = False
    stopped: bool = False
    seq: int = 0
    links: dict[str, Link] = field(default_factory=dict)
    peers: Peers = field(init=False)

    @property
    def awake(self) -> bool:
        return self.lives and not self.frozen

    def begin(self) -> None:
        """Start the program: a new life."""
        self.lives, self.frozen, self.stopped, self.seq = True, False, False, 0
        graces = [Peer(each, round(self.grace * SECOND)) for each in self.watches]
        life = f"{self.name}-{self.net.now}"
        self.peers = Peers(self.name, life, graces, self.net.brokers, self._said)
        self._life = life
        self.links = {way: Link(self, way, each) for way, each in self.net.brokers.items()}
        self._silent: set[str] = set()
        for each in self.links.values():
            each.connect()
        self._turn(life)

    def _said(self, event: PeerHeard) -> None:
        self.net.said.append((self.net.now, self.name, event))
        (self._silent.add if event.why else self._silent.discard)(event.peer)

    def _turn(self, life: str) -> None:
        """The regular heartbeat."""
        if not self.lives or life != self._life:
            return
        self.beat()
        self.net.at(self.net.now + round(self.every * SECOND), lambda: self._turn(life))

    def beat(self) -> None:
        if not self.awake:
            return
        self.seq += 1
        told = tuple(self._silent) if self.tells else ()
        beat = Beat(self.name, self.seq, self._life, "boot", high=self.high)
        beat = replace(beat, watches=self.watches, tells=told)
        self.peers.sent(self.seq, self.net.now)
        topic, payload = beats.topic(self.name), beats.encoded(beat).encode()
        for link in self.links.values():
            if link.up and not link.swallowed:
                self.net.at(self.net.now + FLIGHT, partial(link.broker.publish, topic, payload))
        self._wake()

    def _wake(self) -> None:
        due = self.peers.due(self.net.now)
        if due is not None:
            self.net.at(max(due, self.net.now + MS), self._look)

    def _look(self) -> None:
        if self.awake and self.peers.look(self.net.now):
            self.beat()

    def kill(self) -> None:
        """`kill -9`: its connections break at once."""
        self.lives = False
        for link in self.links.values():
            if link in link.broker.clients:
                link.broker.clients.remove(link)
            link.up = False
            self.net.at(self.net.now + WILL_DELAY, link._willed)

    def stop(self) -> None:
        """A planned end: it says so, and no will follows."""
        for link in self.links.values():
            if link.up:
                link.state("disconnected")
        self.kill()
        self.stopped = True

    def freeze(self) -> None:
        """SIGSTOP: its connections stand until the broker gives them up."""
        self.frozen = True
        for link in self.links.values():
            self.net.at(self.net.now + BROKER_NOTICES + WILL_DELAY, link._willed)
