"""Everything that watches this unit and its peers, behind one face for the loop.

In: the loop's turns and how late they were, what comes from the brokers. Out: events, through
`post`; heartbeats, through `say`. The loop calls `look` at every turn that is due: a heartbeat is
made by the loop itself, so that a loop that hangs makes none, and visits outside stop with it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from relayd.clock import boottime
from relayd.core import unit_words
from relayd.core.conditions import (
    CLOCK_UNSET,
    COPIED,
    LOOP_SLOW,
    SENDER_DOWN,
    of_peer,
)
from relayd.core.draft import UNIT
from relayd.core.events import Event, Now, UnitSensed
from relayd.core.life.alarm import ACTIVE
from relayd.core.plan import SECOND, Priority
from relayd.core.saying.when import lasted
from relayd.core.state import State, Subject
from relayd.rig import Supervision
from relayd.supervision import beats
from relayd.supervision.beats import Beat
from relayd.supervision.dead_man import Visits
from relayd.supervision.identity import Standing
from relayd.supervision.peers import Peers
from relayd.supervision.senses import Senses
from relayd.supervision.sensing import Sensing

SLOW, QUICK = 2 * SECOND, SECOND
"""A loop that is later than the first is told of; later than the second, it is not well again."""
WINDOW = 60 * SECOND
LOOKED = 30 * SECOND
"""A loop that has not looked for so long does not live, as far as the outside is told."""
DEAF = (
    "this broker does not bring back this unit's own heartbeat, so no peer can be watched over it:"
    " let the unit read relayd/+/heartbeat there"
)


@dataclass(slots=True)
class Lag:
    """How late the loop was at worst, since the last heartbeat and within the last minute."""

    beat: int = 0
    worst: int = 0
    since: int = field(default_factory=boottime)


class Supervisor:
    """The watch of one unit. `look`, `turned` and `judge_clock` are the loop's."""

    def __init__(
        self,
        unit: str,
        rig: Supervision,
        ways: tuple[str, ...],
        plan: str,
        life: str,
        identity: Standing,
        state: Path,
        post: Callable[[Event], None],
        root: Path = Path("/"),
    ) -> None:
        """`plan`: the digest of its file; `life`: drawn at this start; `state`: the journal's folder."""
        self._unit, self._rig, self._plan, self._life = unit, rig, plan[:12], life
        self._post, self._identity = post, identity
        self._peers = Peers(unit, life, rig.peers, ways, post)
        unread = () if identity.kept else ("identity",)
        self._sensing = Sensing(Senses(state, root, unread), post)
        self._visits = Visits(rig.dead_man, post, self._lives) if rig.dead_man else None
        self._seq = 0
        self._next = self._looked = 0
        self._deaf: set[str] = set()
        self._lag = Lag()
        self._slow: str | None = None
        self.say: Callable[[str, str], None] = lambda _topic, _payload: None
        """Publishes a heartbeat at every broker; never waits."""
        self.deaf: Callable[[str, str], None] = lambda _way, _why: None
        """Is told of a broker that brings nothing back."""

    # ---- what a broker's client calls, from its own thread -----------------------------------

    @property
    def topics(self) -> tuple[str, ...]:
        """What is listened to."""
        return self._peers.topics

    def linked(self, way: str, up: bool) -> None:
        """That broker is there, or lost."""
        self._peers.linked(way, up, boottime())
        if up:
            self._deaf.discard(way)
            self._next = 0

    def heard(self, way: str, topic: str, payload: bytes) -> None:
        """Something came on one of the topics."""
        self._peers.heard(way, topic, payload, boottime())

    # ---- what the loop calls ------------------------------------------------------------------

    def start(self, trusted: bool) -> None:
        """Begin to sense and to visit; say what is known already."""
        self._looked = boottime()
        copied = unit_words.ANOTHER_BOARD if self._identity.copied else ""
        self._post(UnitSensed(COPIED, copied))
        self.judge_clock(trusted)
        self._sensing.start()
        if self._visits:
            self._visits.start()

    def stop(self) -> None:
        """End what has a thread, without waiting."""
        self._sensing.stop()
        if self._visits:
            self._visits.stop()

    def judge_clock(self, trusted: bool) -> None:
        """Whether the wall clock is to be believed."""
        self._post(UnitSensed(CLOCK_UNSET, "" if trusted else unit_words.NOT_SET))

    def turned(self, late: int) -> None:
        """The loop was so late (ns), or so long at one thing."""
        self._lag.beat = max(self._lag.beat, late)
        self._lag.worst = max(self._lag.worst, late)

    def due(self) -> int:
        """When to look next (boot ns)."""
        peers = self._peers.due(boottime())
        return self._next if peers is None else min(self._next, peers)

    def look(self, state: State, now: Now) -> None:
        """Judge the peers; send a heartbeat where one is due or wanted."""
        self._looked = now.up
        if self._peers.look(now.up) or now.up >= self._next:
            self._next = now.up + self._rig.heartbeat
            self._beat(state, now)
        if now.up - self._lag.since >= WINDOW:
            self._judge_lag(now.up)
        for way, is_deaf in self._peers.deaf(now.up).items():
            if is_deaf and way not in self._deaf:
                self._deaf.add(way)
                self.deaf(way, DEAF)

    def parts(self) -> dict[str, tuple[Sensing | Visits, int]]:
        """What has a thread of its own here, and how long a turn of it may take (ns)."""
        found: dict[str, tuple[Sensing | Visits, int]] = {"senses": (self._sensing, 300 * SECOND)}
        if self._visits and self._rig.dead_man:
            found["outside watch"] = (self._visits, self._rig.dead_man.every + 300 * SECOND)
        return found

    # ---- inside -------------------------------------------------------------------------------

    def _lives(self) -> bool:
        return boottime() - self._looked < LOOKED

    def _beat(self, state: State, now: Now) -> None:
        self._seq += 1
        standing = [
            alarm
            for owner in state.subjects.values()
            for alarm in owner.alarms.values()
            if alarm.process in ACTIVE
        ]
        beat = Beat(
            unit=self._unit,
            seq=self._seq,
            life=self._life,
            boot=now.boot,
            up=round(now.up / SECOND, 3),
            every=self._rig.heartbeat / SECOND,
            plan=self._plan,
            trusted=now.trusted,
            free=self._sensing.free,
            lag=self._lag.beat // 1_000_000,
            alarms=len(standing),
            high=sum(each.priority is Priority.HIGH for each in standing),
            watches=self._peers.names,
            tells=tuple(filter(partial(_is_told, state), self._peers.names)),
        )
        self._lag.beat = 0
        self._peers.sent(self._seq, now.up)
        self.say(beats.topic(self._unit), beats.encoded(beat))

    def _judge_lag(self, now: int) -> None:
        worst, self._lag = self._lag.worst, Lag(self._lag.beat, since=now)
        if worst > SLOW or (self._slow and worst > QUICK):
            why = unit_words.LAGGED.format(time=lasted(worst))
        else:
            why = ""
        if bool(why) != bool(self._slow) or self._slow is None:
            self._post(UnitSensed(LOOP_SLOW, why))
        self._slow = why


def _is_told(state: State, peer: str) -> bool:
    """Whether people were told that this peer is silent, by a sender that works."""
    unit = state.subjects.get(UNIT) or Subject(UNIT)
    alarm = unit.alarms.get(of_peer(peer))
    told = alarm is not None and alarm.process in ACTIVE and bool(alarm.told)
    return told and SENDER_DOWN not in unit.said
