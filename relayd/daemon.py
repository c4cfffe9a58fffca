"""`relayd run`: the alarm path's loop. Clock, inbox, engine, journal, ways out, watchdog.

Order of a start: lock, plan, journal, contacts, and only then whatever needs a network. The loop
waits once, for the next event or the next deadline. A way out that is down is an alarm and never
a reason to stop; a thread of ours that died and cannot be started again is (exit 70), since
systemd then starts the whole anew and the journal knows what is owed.
"""

import os
import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from threading import Thread

from relayd import clock, logs, notify
from relayd.channels.brokers import Brokers
from relayd.channels.post import Post
from relayd.channels.shown import Shown
from relayd.channels.stream import Stream
from relayd.contacts import Contacts
from relayd.control.server import ControlServer
from relayd.core.conditions import JOURNAL_DAMAGED
from relayd.core.effects import Answer
from relayd.core.events import (
    ClockJudged,
    Commanded,
    Event,
    FaultFound,
    JournalJudged,
    Now,
    PlanJudged,
    Sent,
    Started,
    TimePassed,
    UnitSensed,
)
from relayd.core.plan import SECOND, seconds
from relayd.core.showing import view
from relayd.engine import Engine
from relayd.errors import PlanRefused, RelaydError
from relayd.inbox import Inbox
from relayd.journal import lock
from relayd.journal.epoch import draw as draw_epoch
from relayd.journal.feed import Feed
from relayd.journal.store import Journal
from relayd.journal.upkeep import Keep
from relayd.mailbox.wiring import Afar
from relayd.pins.inputs import PinContacts
from relayd.questions import Questions
from relayd.settings import Loaded, Places, load, load_or_last_good, remember, year_of
from relayd.supervision import causes
from relayd.supervision.dead_man import Visits
from relayd.supervision.identity import adopt, standing
from relayd.supervision.sensing import Sensing
from relayd.supervision.supervisor import Supervisor
from relayd.supervision.threads import Guarded, Threads

ROUND = 5.0
"""Seconds between two looks at threads, clock and watchdog while nothing happens."""
LOOK = SECOND // 4
"""Nanoseconds between two of them at least while much happens: a look costs as much as a step."""

log = logs.get("daemon")


class Daemon:
    """One running unit. Made and run by one thread; other threads only put events in."""

    def __init__(
        self, places: Places, loaded: Loaded, contacts: Contacts, journal: Journal
    ) -> None:
        self.inbox = Inbox()
        self.trust: Callable[[], bool] = clock.wall_is_trusted
        self.trusted = self.trust()
        self.status = 0
        self._places, self._loaded, self._contacts, self._journal = (
            places,
            loaded,
            contacts,
            journal,
        )
        self._stop: str = ""
        self._looks = 0
        self._year = loaded.year
        self._round = min(ROUND, (notify.watchdog_interval() or 10 * SECOND) / SECOND)
        self._read_last: dict[str, str] = {}
        self._sender = Post(self.inbox.put, loaded.rig.addresses)
        state = journal.open()
        self._afar = Afar(
            loaded.plan,
            loaded.rig,
            places.state,
            journal,
            self.inbox.put,
            lambda: self._now(),
            lambda: self.engine.state,
        )
        sender = self._afar.before(self._sender)
        self.engine = Engine(loaded.plan, state, journal, sender, self._now)
        self.engine.answer, self.engine.published, self.engine.shown = (
            self._answer,
            self._show,
            self._follow,
        )
        self._file = places.state / "journal.db"
        self._shown = Shown(loaded.plan, journal.meta_get, journal.meta_note)
        identity = standing(places.state)
        # On a copied card the unit watches and tells, and leaves its name to the other one.
        self._reached = () if identity.copied else loaded.rig.brokers
        self._watch = Supervisor(
            loaded.plan.unit,
            loaded.rig.supervision,
            tuple(each.way for each in self._reached),
            loaded.digest,
            draw_epoch(),
            identity,
            places.state,
            self.inbox.put,
        )
        self._brokers = self._connected()
        journal.recorded = lambda: self._brokers.wake()
        self._watch.say = lambda topic, payload: self._brokers.pulse(topic, payload)
        self._watch.deaf = lambda way, why: self._brokers.deaf(way, why)
        ways = ("sender", *self._brokers.ways, *self._afar.ways)
        self.answers = Questions(
            self.engine, journal, self._file, lambda: self._now(), lambda: self._shown.tree, ways
        )
        socket = places.run / "control.sock"
        self._control = ControlServer(socket, self.inbox.put, self.answers, self._asked)
        self._threads = Threads(self._guarded(), self.inbox.put)

    def run(self, refused: PlanRefused | None = None) -> int:
        """Watch until told to stop; the exit status."""
        self._begin(refused)
        try:
            while not self._stop:
                self._once(self._round)
        except Exception as error:
            self.status, self._stop = 70, f"{causes.FAULT}{type(error).__name__}: {error}"
            raise
        finally:
            self._end()
        if self._stop == "reload":
            os.execv(sys.executable, [sys.executable, "-m", "relayd", *sys.argv[1:]])
        return self.status

    def ask_to_stop(self, why: str = "stop") -> None:
        """Stop after this turn; may be called from any thread or a signal handler."""
        self._stop = why
        self.inbox.put(TimePassed())

    def _begin(self, refused: PlanRefused | None) -> None:
        boot = self.engine.state.boot
        why = causes.cause(self._journal.meta_get("ended"), boot, clock.boot_id())
        self._journal.meta_set("ended", causes.NONE, wait=0)
        self._take(Started(not why, why))
        self._contacts.start(self.inbox.put)
        self._sender.start()
        self._control.start()
        self._brokers.show(self._shown.whole(self.engine.state, self._now()))
        self._brokers.start()
        self._afar.start()
        self._watch.start(self.trusted)
        if refused is not None:
            self._take(PlanJudged(True, "; ".join(refused.problems)[:500]))
        while self._once(0.0):
            pass
        notify.ready()
        notify.status(f"watching {len(self._loaded.rig.lines)} inputs of {self._loaded.plan.unit}")
        # Only now: it may take a slow card a minute to read it all.
        Thread(target=self._journal.examine, name="examining", daemon=True).start()
        log.info("watching", unit=self._loaded.plan.unit, inputs=len(self._loaded.rig.lines))

    def _once(self, longest: float) -> bool:
        """Wait for the next event or deadline and take it; False where nothing came."""
        began, due = clock.boottime(), self.engine.due
        looks = max(self._watch.due(), self._looks)
        first = looks if due is None else min(due, looks)
        wait = min(longest, (first - began) / SECOND)
        event = self.inbox.get(wait)
        woken = clock.boottime()
        if event is not None:
            self._take(event)
        elif due is not None and woken >= due:
            self._take(TimePassed())
        ended = clock.boottime()
        self._watch.turned(max(ended - woken, woken - began - seconds(max(wait, 0))))
        if event is None or ended >= self._looks:
            self._look()
        return event is not None

    def _take(self, event: Event) -> None:
        news: JournalJudged | FaultFound | None
        self._keep_up_with_the_year()
        try:
            news = self.engine.turn(event)
        except Exception as error:
            if not isinstance(event, (Commanded, Sent)):
                raise
            log.exception("fault in a turn", of=type(event).__name__)
            news = FaultFound(type(event).__name__, f"{type(error).__name__}: {error}")
        if news is not None:
            self.inbox.put(news)

    def _keep_up_with_the_year(self) -> None:
        """Local time, holidays and turns are resolved for some years: a clock that was set may leave them."""
        wall = self._now().wall
        if year_of(wall) != self._year:
            self._year = year_of(wall)
            try:
                plan = self._loaded.as_of(wall)
            except Exception as error:  # no clock may end the watch
                log.exception("calendar not resolved", year=self._year)
                self.inbox.put(FaultFound("calendar", f"{type(error).__name__}: {error}"))
                return
            self.engine.plan = plan
            self._shown.resolved(plan)
            self._afar.resolved(plan)
            log.info("calendar resolved anew", year=self._year)

    def _look(self) -> None:
        """Judge clock, journal, threads and what was dropped; tell the watchdog."""
        self._looks = clock.boottime() + LOOK
        self._afar.look()
        news = self.engine.judge_journal()
        if news is not None:
            self.inbox.put(news)
        if self.trust() != self.trusted:
            self.trusted = not self.trusted
            self.inbox.put(ClockJudged(self.trusted))
            self._watch.judge_clock(self.trusted)
        dropped = self.inbox.dropped()
        if dropped:
            self.inbox.put(FaultFound("inbox", f"dropped {dropped}"))
        if harm := self._journal.harm():
            self.inbox.put(UnitSensed(JOURNAL_DAMAGED, harm))
        self._watch.look(self.engine.state, self._now())
        # Every input was read within two polls, or has been reported lost.
        late = 2 * self._loaded.rig.poll + SECOND
        if self._threads_live() and clock.boottime() - self._contacts.beat() < late:
            notify.watchdog()

    def _threads_live(self) -> bool:
        dead = self._threads.look(clock.boottime())
        if dead and not self._stop:
            log.critical("a thread died", parts=dead)
            self.status = 70
            self.ask_to_stop(f"{causes.DEAD}{', '.join(dead)}")
        return not dead

    def _guarded(self) -> dict[str, Guarded]:
        """Every thread, and what helps where it died. The journal says itself when it is late."""
        found = {
            "contacts": Guarded(lambda: self._contacts, self._contacts.restart),
            "sender": Guarded(lambda: self._sender, self._sender.start, self._sender.beat),
            "control": Guarded(lambda: self._control, self._control.start, self._control.beat),
            "journal": Guarded(lambda: self._journal, self._journal.restart),
            "mqtt": Guarded(
                lambda: self._brokers, self._connect_anew, lambda: self._brokers.beat()
            ),
        }
        found["mailbox"] = Guarded(lambda: self._afar, None)
        for name, (part, limit) in self._watch.parts().items():
            found[name] = Guarded(partial(_itself, part), None, part.beat, limit)
        return found

    def _connected(self) -> Brokers:
        return Brokers(
            self.inbox.put,
            self._reached,
            self._loaded.plan,
            self._journal,
            self._stream,
            self._loaded.rig.announcements,
            self._afar.proving,
            self._watch,
        )

    def _connect_anew(self) -> None:
        """Other clients in place of those whose thread died."""
        self._brokers.stop()
        self._brokers = self._connected()
        self._brokers.show(self._shown.whole(self.engine.state, self._now()))
        self._brokers.start()

    def _end(self) -> None:
        # systemd kills who said that it stops and goes on: a reload is no stop.
        notify.reloading() if self._stop == "reload" else notify.stopping()
        self._afar.stop()
        self._watch.stop()
        self._brokers.stop()
        self._contacts.stop()
        self._sender.stop()
        self._control.close()
        self._journal.meta_set("ended", "clean" if self.status == 0 else self._stop)
        self._journal.close()

    # What goes out

    def _now(self) -> Now:
        return clock.now(self.trusted)

    def _answer(self, answer: Answer) -> None:
        if answer.token.startswith("mqtt:"):
            self._brokers.answer(answer)
        elif answer.token.startswith("mailbox:"):
            self._afar.answer(answer)
        else:
            self._control.answer(answer)

    def _show(self, subjects: Sequence[str]) -> None:
        self._brokers.show(self._shown.after(subjects, self.engine.state, self._now()))
        for name, reads in view.inputs(self.engine.state).items():
            if self._read_last.get(name) != reads:
                self._read_last[name] = reads
                self._control.publish({"what": "input", "input": name, "reads": reads})

    def _follow(self, line: Mapping[str, object]) -> None:
        log.info(str(line.get("what")), **{str(k): v for k, v in line.items() if k != "what"})
        self._control.publish(line)

    def _stream(self, way: str) -> Stream:
        """The events on their way to the broker of that name."""
        return Stream(
            self._loaded.plan.unit,
            way,
            Feed(self._file, self._journal, self.engine.state.epoch, self._now),
            lambda why: self.inbox.put(FaultFound(way, why)),
        )

    # What is asked, on the control thread

    def _asked(self, do: str, _asked: Mapping[str, object]) -> str | None:
        """Reload, stop, adopt or begin a backup; raises PlanRefused where the plan is not usable."""
        if do == "backup":
            return self.answers.backup.begin()
        if do == "stop":
            self.ask_to_stop()
            return None
        if do == "adopt":
            if not adopt(self._places.state):
                raise RelaydError("the identity could not be written: see to the disk first")
            self.ask_to_stop("reload")
            return "this card belongs to this board from now on: the unit begins anew"
        self.reload()
        return "the plan is good: the unit begins anew with it"

    def reload(self) -> None:
        """Begin anew with the plan on the disk; raises PlanRefused and goes on where it is not usable."""
        load(self._places.plan, self._places.credentials, wall=self._now().wall)
        self.ask_to_stop("reload")


def _itself(part: Sensing | Visits) -> Sensing | Visits:
    return part


def build(places: Places, loaded: Loaded, contacts: Contacts | None = None) -> Daemon:
    """A daemon on these places; `contacts` other than the real pins where a demo gives them."""
    keep = Keep(age=loaded.rig.keep, size=loaded.rig.keep_size)
    path = places.state / "journal.db"
    journal = Journal(path, loaded.plan.unit, draw_epoch, keep=keep)
    pins = contacts or PinContacts(loaded.rig.lines, loaded.rig.poll)
    return Daemon(places, loaded, pins, journal)


def main(places: Places) -> int:
    """Run until stopped; the exit status."""
    logs.configure()
    held = lock.take(places.state)
    Path(places.run).mkdir(parents=True, exist_ok=True)
    loaded, refused = load_or_last_good(places, wall=clock.now(False).wall)
    for warning in loaded.warnings:
        log.warning(warning)
    if refused is None:
        with suppress(
            OSError
        ):  # a full or read-only disk: the journal says so, and watching comes first
            remember(loaded, places.state)
    daemon = build(places, loaded)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: daemon.ask_to_stop())
    signal.signal(signal.SIGHUP, lambda *_: _hang_up(daemon))
    try:
        return daemon.run(refused)
    finally:
        held.release()


def _hang_up(daemon: Daemon) -> None:
    try:
        daemon.reload()
    except RelaydError as error:
        daemon.inbox.put(PlanJudged(True, str(error)[:500]))
