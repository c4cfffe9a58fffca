"""A fault of the network, played: who was told what, over what, after how long, and what came afterwards.

The rows of the table are made here, and what must hold is asserted here.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from threading import BoundedSemaphore

from relayd.channels import event
from relayd.clock import boottime
from tests.channels.posted import children_of
from tests.faults.scene import PEOPLE, Happens, Scene
from tests.story.acts import number, seconds
from tests.story.faults_of_ways import ALERT, whole_tree
from tests.story.journal import Record
from tests.story.plans import CIRCUIT

FIRST_NEWS = 5.0
"""Seconds within which everybody has the first news over a healthy way (the requirement's)."""
SINGLES, WITHIN, PAUSE = 3, 60.0, 30.0
"""Messages to a person that go by themselves in so many seconds, and seconds between two messages
that name several (the design's section 7)."""
MOST = 6
"""Messages over one way on a return at most: the one that was tried, one with all that is owed, and
two channels that failed and work again, which are two messages each."""
GROWN = 4096
"""KiB by which a process may be larger at rest after a fault: pages of Python's own arenas come and
go in steps of 1 MiB; what each of some dozen failed sends left behind would be more (no source)."""
STARTING = BoundedSemaphore(2)
"""So many units start at once: a start is work, and the others are looked at meanwhile."""
START = 90.0
"""Seconds that a start may take until the broker shows everything, where many start at once."""
LATE = 400.0
"""Seconds to wait at most: the longest pause between two tries is 300 s."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What happens, and which way it takes: `mail` or `broker`."""

    happens: Happens
    way: str = "mail"


class Told:
    """One fault, from a healthy start to rest."""

    def __init__(self, scene: Scene, fault: Fault, quick: bool) -> None:
        self.scene, self.stage, self.unit = scene, scene.stage, scene.unit
        self.way, self.quick = fault.way, quick
        fault.happens(scene)

    def play(self) -> None:
        """Play all of it."""
        self.begins()
        if not self.quick:
            self._news(self._circuit("raised", "open"), "alarm-power")
            self._circuit("returned", "closed")
        (self._mail_fails if self.way == "mail" else self.broker_fails)()
        self.ends()

    def begins(self) -> None:
        """From a start where all is well to the first alarm under the fault, which is over by then."""
        with STARTING:
            self._well()
        self.before = self.scene.memory()
        self.mark, self.broke = self.unit.mark(), boottime()
        self.scene.breaks()
        self._news(self.stage.rises(), "high-level")
        self.stage.falls()

    def ends(self, again: bool = True) -> None:
        """The fault is over; what comes then, whether another alarm goes well, and nothing was lost."""
        self.unit.until(lambda: not self._open("hook"), "all told over the healthy way", 120)
        self._over_the_healthy_way()
        self._returns()
        if again and not self.quick:
            self._well_again()
        self._nothing_is_lost()
        self._grown()

    # ---- before and during the fault ------------------------------------------------------------

    def _well(self) -> None:
        """Everything works: one alarm comes and goes, and is taken over each way."""
        self.scene.begin()
        self.mark = 0
        self.scene.watcher.until(self.scene.watcher.ready, "ready", START)
        self.stage.rises()
        self.scene.watcher.until(lambda: ALERT in self.scene.watcher.tree, "the alarm is shown")
        self.stage.falls()
        self._rests(60)

    def _circuit(self, kind: str, stands: str) -> Record:
        mark = self.unit.mark()
        self.unit.move(CIRCUIT, stands)
        return self.unit.said(kind, after=mark, condition="alarm-power")

    def _news(self, raised: Record, condition: str) -> None:
        """Both people have it over the healthy ways at once."""
        high = condition == "high-level"
        for way in ("hook",) if self.way == "mail" else ("hook", "mail"):
            for person in PEOPLE:
                taken = self._taken(raised, condition, person, way)
                after = seconds(taken["up"] - raised["up"])
                if high:
                    self.stage.note(
                        f"{condition} told to {person} by {way}", raised["up"], taken["up"]
                    )
                    assert after < FIRST_NEWS, f"first news to {person} after {after:.1f} s"
        if high and self.way == "mail":
            self.scene.watcher.until(lambda: ALERT in self.scene.watcher.tree, "shown")
            self.stage.note(f"{condition} shown by the broker", raised["up"])

    def _taken(self, raised: Record, condition: str, person: str, way: str) -> Record:
        """The send that brought it: by itself, or in a message that names several."""
        made = self.unit.said(
            "notice made", after=raised["n"] - 1, person=person, condition=condition, why="raised"
        )

        def there() -> Record | None:
            notice, channel = made["body"]["notice"], f"{person}.{way}"
            for each in self.unit.found(
                "send withdrawn", self.mark, notice=notice, channel=channel
            ):
                notice = _told_in(each) or notice
            found = self.unit.found("send taken", self.mark, notice=notice, channel=channel)
            return found[0] if found else None

        return self.unit.until(there, f"{condition} to {person} by {way}", 60)

    def _mail_fails(self) -> None:
        """The sends fail in words; after a minute that is an alarm, told over the other way."""
        ended = [self._failed(person) for person in PEOPLE]
        first = min(ended, key=lambda each: int(each["up"]))
        said = f"{first['body']['outcome']}: {first['body']['detail']}"
        self.stage.note(f"by mail, {said}", self.broke, first["up"])
        if self.quick:
            self.unit.said("send failed", 2, after=self.mark, channel="anna.mail", seconds=60)
            return
        for person in PEOPLE:
            failing = self.unit.said(
                "raised", after=self.mark, seconds=200,
                condition="channel-failing", subject=f"channel:{person}.mail",
            )  # fmt: skip
            told = self._taken(failing, "channel-failing", person, "hook")
            self.stage.note(
                f"'{person}.mail fails' told to {person} by hook", self.broke, told["up"]
            )

    def _failed(self, person: str) -> Record:
        channel = f"{person}.mail"
        return self.unit.until(
            lambda: next(
                (
                    each
                    for kind in ("send failed", "send given up")
                    for each in self.unit.found(kind, self.mark, channel=channel)
                ),
                None,
            ),
            f"a send over {channel} ends",
            90,
        )

    def broker_fails(self) -> None:
        """It is judged to be away; after five minutes that is an alarm, told over both other ways."""
        down = self.unit.said("unit judged", after=self.mark, seconds=90, condition="mqtt-down")
        self.stage.note(f"broker away: {down['body']['why']}", self.broke, down["up"])
        if self.quick:
            return
        raised = self.unit.said("raised", after=self.mark, seconds=LATE, condition="mqtt-down")
        for person in PEOPLE:
            told = self._by_either_way(raised, person)
            way = told["body"]["channel"].partition(".")[2]
            self.stage.note(f"'broker away' told to {person} by {way}", self.broke, told["up"])

    def _by_either_way(self, raised: Record, person: str) -> Record:
        """The send that told it; of what is not high the second way only stands by."""
        made = self.unit.said(
            "notice made", after=raised["n"] - 1, person=person, condition="mqtt-down", why="raised"
        )
        return self.unit.said("send taken", notice=made["body"]["notice"], seconds=60)

    def _over_the_healthy_way(self) -> None:
        """What the healthy way brought meanwhile, in its order."""
        for person in PEOPLE:
            ids = [number(each) for each in self._hooks(person)]
            self.stage.note(f"meanwhile by hook to {person}: {len(ids)} messages")
            assert ids == sorted(ids), f"out of order by hook to {person}: {ids}"

    # ---- its end --------------------------------------------------------------------------------

    def _returns(self) -> None:
        """What is owed comes, as little as may be, and in its order."""
        mark, back = self.unit.mark(), boottime()
        hooks = {person: len(self._hooks(person)) for person in PEOPLE}
        self.scene.mends()
        if self.way == "broker":
            up = self.unit.said(
                "unit judged", after=mark, seconds=90, condition="mqtt-down", why="well again"
            )
            self.stage.note("back: the broker shows the whole tree", back, up["up"])
            shown, seen = whole_tree(self.unit), self.scene.watcher.tree
            self.scene.watcher.until(lambda: shown.items() <= seen.items(), "the whole tree")
        self._rests(LATE)
        for person in PEOPLE:
            mails = self.scene.to(person, back)
            for each in mails:
                self.stage.note(f"back: mail to {person}: {each.mail.title}", back, each.at)
            more = len(self._hooks(person)) - hooks[person]
            self.stage.note(f"back: {len(mails)} mails and {more} by hook to {person}")
            ids = [number(each.mail.id) for each in mails]
            assert ids == sorted(ids), f"out of order by mail to {person}: {ids}"
            _no_flood([(each.at, each.mail.title) for each in mails])
            assert max(len(mails), more) <= MOST, "a flood on return"
            assert mails or self.way == "broker", "nothing came by mail"

    def _well_again(self) -> None:
        """Afterwards an alarm goes over each way again."""
        raised = self.stage.rises()
        for way in ("hook", "mail"):
            times = [self._taken(raised, "high-level", each, way)["up"] for each in PEOPLE]
            self.stage.note(f"afterwards: a new alarm by {way} to both", raised["up"], max(times))
        self.scene.watcher.until(lambda: ALERT in self.scene.watcher.tree, "shown again")
        self.stage.falls()
        self._rests(90)

    def _nothing_is_lost(self) -> None:
        """Every notice came over each of its ways, by itself or in one that names it; so each record."""
        self._withdrawn_well()
        last = self.unit.mark()
        self.scene.reader.has(last)
        came = list(self.scene.reader.came)
        fresh, repeats = _first_time(came)
        gaps = [each["n"] for each in came if each["kind"] == event.GAP]
        whole = fresh == list(range(1, fresh[-1] + 1)) and fresh[-1] >= last
        assert whole, f"the event stream lacks records, or has them out of order: {fresh}"
        assert gaps == [0] or not gaps, f"gaps at {gaps}"
        self.stage.note(f"event stream: records 1 to {last} in order, {repeats} came twice")

    def _withdrawn_well(self) -> None:
        """What was taken back was told in another message, or a newer one said more."""
        for each in self.unit.found("send withdrawn"):
            channel, other = each["body"]["channel"], _told_in(each)
            while other and not self.unit.found("send taken", notice=other, channel=channel):
                further = self.unit.found("send withdrawn", notice=other, channel=channel)
                assert further, f"never told: {each['body']}"
                other = _told_in(further[-1])

    def _grown(self) -> None:
        sender = self.unit.sender()
        self.unit.until(lambda: not children_of(sender), "no send runs")
        for name, now in self.scene.memory().items():
            was = self.before[name]
            self.stage.note(f"{name}: {was / 1024:.1f} MiB before, {now / 1024:.1f} MiB after")
            assert now - was < GROWN, f"{name} grew by {now - was} KiB"

    # ---- what is asked --------------------------------------------------------------------------

    def _hooks(self, person: str) -> list[str]:
        """The ids of what the web hook brought to a person, in the order in which it came."""
        own = {each["body"]["notice"] for each in self.unit.found("notice made", person=person)}
        ids = [str(body["message"]).split()[-1] for body in list(self.scene.web.bodies)]
        return [each for each in ids if each in own]

    def _open(self, *ways: str) -> set[tuple[str, str]]:
        """The sends over these ways that were made and neither taken nor taken back."""
        made = {
            (each["body"]["notice"], channel)
            for each in self.unit.found("notice made")
            for channel in each["body"]["channels"]
            if channel.endswith(ways)
        }
        for kind in ("send taken", "send withdrawn", "send given up"):
            made -= {
                (each["body"]["notice"], each["body"]["channel"]) for each in self.unit.found(kind)
            }
        return made

    def _rests(self, limit: float) -> None:
        """Wait until nothing is owed over any way, and no channel is known to fail."""

        def rests() -> bool:
            failing = [each for each in self.unit.alarms() if _fails(each)]
            return not self._open("hook", "mail") and not failing

        self.unit.until(rests, "nothing is owed", limit)


def _fails(alarm: Record) -> bool:
    active = alarm["state"] in ("UNACK", "ACKED")
    return alarm["condition"] in ("channel-failing", "mqtt-down") and active


def _no_flood(came: list[tuple[int, str]]) -> None:
    """After the one that was under way, singles and messages of several keep their distances."""
    after = [(at, "messages" in title) for at, title in came[1:]]
    singles = [seconds(at) for at, several in after if not several]
    bundles = [seconds(at) for at, several in after if several]
    lately = [sum(at - WITHIN < each <= at for each in singles) for at in singles]
    assert max(lately, default=0) <= SINGLES, f"a flood of single messages: {came}"
    between = [later - sooner for sooner, later in pairwise(bundles)]
    assert min(between, default=PAUSE) >= PAUSE - 2, f"messages of several too soon: {came}"


def _told_in(withdrawn: Record) -> str:
    """The message in which a send that was taken back was told; '' where it was for another reason."""
    why: str = withdrawn["body"]["why"]
    return why.rpartition(" ")[2] if why.startswith("told with others in ") else ""


def _first_time(came: Iterable[Record]) -> tuple[list[int], int]:
    """The numbers of records in the order in which they first came, and how many came again."""
    fresh, repeats = list[int](), 0
    for each in came:
        if each["kind"] == event.GAP:
            continue
        if fresh and each["n"] <= fresh[-1]:
            repeats += 1
        else:
            fresh.append(each["n"])
    return fresh, repeats
