"""Which peers are silent: by their heartbeats, and by this unit's own, which must come back.

In: what comes over each way, when the ways come and go, time. Out: PeerHeard where something is
news; whether a heartbeat of our own is wanted now. Knows nothing of brokers and reads no clock.

Silence is counted only while a way by which the peer is heard stands, and anew when it stands
again: then the peer may need as long to come back as the way was away, since both try less and
less often. And it is judged only by what has been proved: this unit's own heartbeat goes the same
way, and when it is back, whatever the peer said before it would be here. So a cut of our own, of
which we do not know yet, is nobody's silence.

Of several units that watch a peer the one with the lowest id tells, the others a grace later, and
not while one that is heard says that its people have been told.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from threading import Lock

from relayd.core import unit_words
from relayd.core.events import PeerHeard
from relayd.core.plan import SECOND, Priority
from relayd.core.saying.when import lasted
from relayd.rig import Peer
from relayd.supervision import beats
from relayd.supervision.beats import Beat

STATE = "homie/5/{unit}/$state"
ASK_AGAIN, ASK_SELDOM = SECOND, 30 * SECOND
"""A heartbeat of our own that is wanted and has not come back is sent again after that time."""
STALLED = 3 * SECOND
"""A way that takes longer to bring a heartbeat back was interrupted."""
SHORT = 12 * SECOND
LONGEST_RETRY = 45 * SECOND
"""A unit tries its broker again at least so often, connecting included."""
DEAF_AFTER = 30 * SECOND
KEPT = 64
"""Own heartbeats whose coming back is waited for."""


def _pause(late: int) -> int:
    return ASK_AGAIN if late < DEAF_AFTER else ASK_SELDOM


@dataclass(slots=True)
class _Way:
    """One broker. Times are boot times."""

    since: int | None = None
    """Since when it stands."""
    lost: int | None = None
    away: int = 0
    """How long it was away before that."""
    was_short: bool = False
    """The connection before this one did not last."""
    proved: int = 0
    """What came over it is complete up to then."""
    asked: int | None = None
    """The first own heartbeat of this connection that has not come back."""


@dataclass(slots=True)
class _Watched:
    """What is known of one peer."""

    peer: Peer
    at: int | None = None
    """When it was last heard."""
    ways: set[str] = field(default_factory=set)
    beat: Beat | None = None
    state: str = ""
    silent: bool | None = None
    """None: not judged since this unit began."""


class Peers:
    """The watch over the peers of one unit; its methods may be called from any thread."""

    def __init__(
        self,
        unit: str,
        life: str,
        peers: Iterable[Peer],
        ways: Iterable[str],
        post: Callable[[PeerHeard], None],
    ) -> None:
        self._unit, self._life, self._post = unit, life, post
        self._ways = {way: _Way() for way in ways}
        self._watched = {each.id: _Watched(each) for each in peers}
        self._sent: dict[int, int] = {}
        self._asked = 0
        self._lock = Lock()

    @property
    def topics(self) -> tuple[str, ...]:
        """What is listened to; nothing where nobody is watched."""
        heard = [(beats.topic(each), STATE.format(unit=each)) for each in self._watched]
        return (beats.topic(self._unit), *(t for each in heard for t in each)) if heard else ()

    @property
    def names(self) -> tuple[str, ...]:
        """The peers' ids."""
        return tuple(self._watched)

    def linked(self, way: str, up: bool, now: int) -> None:
        """That way stands again, or is lost."""
        with self._lock:
            each = self._ways[way]
            if up:
                each.away = now - each.lost if each.lost is not None else 0
                # After a short connection a unit suspects a twin and waits before the next one.
                each.away = LONGEST_RETRY if each.was_short else each.away
                each.since, each.asked = now, None
            elif each.since is not None:
                each.was_short = now - each.since < SHORT
                each.since, each.lost = None, now

    def sent(self, seq: int, now: int) -> None:
        """An own heartbeat goes out over every way."""
        with self._lock:
            self._sent[seq] = now
            for old in [each for each in self._sent if each <= seq - KEPT]:
                del self._sent[old]
            for way in self._ways.values():
                if way.since is not None and way.asked is None:
                    way.asked = now

    def heard(self, way: str, topic: str, payload: bytes, now: int) -> None:
        """Something came; what is no heartbeat is nobody's sign of life."""
        with self._lock:
            news = self._taken(way, topic, payload, now)
        for each in news:
            self._post(each)

    def look(self, now: int) -> bool:
        """Judge what time has proved; whether a heartbeat of our own is wanted to prove more."""
        with self._lock:
            news, wanted = self._judged(now), False
            late = self._late(now)
            if late is not None and now - self._asked >= _pause(late):
                self._asked, wanted = now, True
        for each in news:
            self._post(each)
        return wanted

    def due(self, now: int) -> int | None:
        """When to look next; None where nobody can fall silent."""
        with self._lock:
            times = [at for each in self._watched.values() if (at := self._deadline(each))]
        return min((max(at, self._asked + _pause(now - at)) for at in times), default=None)

    def deaf(self, now: int) -> dict[str, bool]:
        """Of each way that stands whether our own heartbeats do not come back over it."""
        with self._lock:
            return {
                name: way.asked is not None and now - way.asked > DEAF_AFTER
                for name, way in self._ways.items()
                if way.since is not None and self._watched
            }

    # ---- under the lock ---------------------------------------------------------------------

    def _taken(self, way: str, topic: str, payload: bytes, now: int) -> list[PeerHeard]:
        head, _, rest = topic.partition("/")
        name, _, what = rest.removeprefix("5/").partition("/")
        if head == "homie" and name in self._watched and what == "$state":
            self._watched[name].state = payload.decode(errors="replace")
            return []
        try:
            beat = beats.decoded(payload)
        except (ValueError, TypeError):
            return []
        if beat.unit == self._unit and beat.life == self._life:
            return self._echo(self._ways[way], beat.seq, now)
        if beat.unit in self._watched and topic == beats.topic(beat.unit):
            return self._sign(self._watched[beat.unit], way, beat, now)
        return []

    def _echo(self, way: _Way, seq: int, now: int) -> list[PeerHeard]:
        at = self._sent.get(seq)
        if at is None or way.since is None or at < way.since:
            return []
        if way.asked is not None and now - way.asked > STALLED:
            # It stood, and brought nothing: as if it had been away for so long.
            way.since, way.away = now, now - way.asked
        way.proved, way.asked = max(way.proved, at), None
        return self._judged(now)

    def _sign(self, each: _Watched, way: str, beat: Beat, now: int) -> list[PeerHeard]:
        before, each.silent = each.silent, False
        each.at, each.beat, each.state = now, beat, ""
        each.ways.add(way)
        return [PeerHeard(each.peer.id)] if before is not False else []

    def _judged(self, now: int) -> list[PeerHeard]:
        news = []
        for each in self._watched.values():
            deadline = self._deadline(each)
            if deadline is None or now < deadline or self._proof(each) < deadline:
                continue
            each.silent = True
            news.append(self._silence(each, now))
        return news

    def _late(self, now: int) -> int | None:
        """For how long the newest overdue judgement has waited for a proof; None where none waits."""
        deadlines = (self._deadline(each) for each in self._watched.values())
        return min((now - at for at in deadlines if at is not None and at <= now), default=None)

    def _deadline(self, each: _Watched) -> int | None:
        """When this unit says that the peer is silent; None while that is said, or cannot be known."""
        begins = [
            way.since + min(way.away, LONGEST_RETRY)
            for way in self._heard_by(each)
            if way.since is not None
        ]
        if each.silent or not begins:
            return None
        base = max(min(begins), each.at or 0)
        others = self._others(each.peer.id)
        if all(self._unit < other.peer.id for other in others):
            return base + each.peer.grace
        told = [
            other.at or 0 for other in others if other.beat and each.peer.id in other.beat.tells
        ]
        return max([base + 2 * each.peer.grace, *(at + each.peer.grace for at in told)])

    def _heard_by(self, each: _Watched) -> list[_Way]:
        return [self._ways[name] for name in each.ways or self._ways]

    def _others(self, peer: str) -> list[_Watched]:
        """Peers that are heard and watch that one too."""
        return [
            each
            for each in self._watched.values()
            if each.silent is False and each.beat is not None and peer in each.beat.watches
        ]

    def _proof(self, each: _Watched) -> int:
        standing = [way.proved for way in self._heard_by(each) if way.since is not None]
        return max(standing, default=0)

    def _silence(self, each: _Watched, now: int) -> PeerHeard:
        if each.at is None:
            parts = [unit_words.NEVER_HEARD]
        else:
            parts = [unit_words.NOT_HEARD.format(time=lasted(now - each.at))]
        stopped = each.state == "disconnected"
        if stopped:
            parts.append(unit_words.STOPPED)
        elif each.state == "lost":
            parts.append(unit_words.BROKER_LOST)
        alarms = each.beat is not None and each.beat.high > 0
        if alarms:
            parts.append(unit_words.ALARM_OPEN)
        graver = Priority.HIGH if alarms else Priority.LOW if stopped else None
        return PeerHeard(each.peer.id, "; ".join(parts), graver)
