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
from pathlib import Path
from threading import Thread
from typing import Protocol

from relayd import clock, logs, notify
from relayd.channels.brokers import Brokers
from relayd.channels.post import Post
from relayd.channels.shown import Shown
from relayd.channels.stream import Stream
from relayd.contacts import Contacts
from relayd.control.server import ControlServer
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
)
from relayd.core.plan import SECOND
from relayd.core.showing import view
from relayd.engine import Engine
from relayd.errors import PlanRefused, RelaydError
from relayd.inbox import Inbox
from relayd.journal import lock
from relayd.journal.epoch import draw as draw_epoch
from relayd.journal.feed import Feed
from relayd.journal.store import Journal
from relayd.journal.upkeep import Keep
from relayd.pins.inputs import PinContacts
from relayd.questions import Questions
from relayd.settings import Loaded, Places, load, load_or_last_good, remember

ROUND = 5.0
"""Seconds between two looks at threads, clock and watchdog while nothing happens."""
LOOK = SECOND // 4
"""Nanoseconds between two of them at least while much happens: a look costs as much as a step."""
CONTACTS_LATE = 10 * SECOND

log = logs.get("daemon")


class Part(Protocol):
    """Whatever has a thread of its own."""

    def alive(self) -> bool:
        """Whether its thread runs."""


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
        self._harm = ""
        self._journal_died = False
        self._looks = 0
        self._read_last: dict[str, str] = {}
        self._sender = Post(self.inbox.put, loaded.rig.addresses)
        self.engine = Engine(loaded.plan, journal.open(), journal, self._sender, self._now)
        self.engine.answer, self.engine.published, self.engine.shown = (
            self._answer,
            self._show,
            self._follow,
        )
        self._file = places.state / "journal.db"
        self._shown = Shown(loaded.plan, journal.meta_get, journal.meta_note)
        self._brokers = Brokers(
            self.inbox.put,
            loaded.rig.brokers,
            loaded.plan,
            journal,
            self._stream,
            loaded.rig.announcements,
        )
        journal.recorded = self._brokers.wake
        ways = ("sender", *self._brokers.ways)
        self.answers = Questions(
            self.engine, journal, self._file, lambda: self._now(), lambda: self._shown.tree, ways
        )
        socket = places.run / "control.sock"
        self._control = ControlServer(socket, self.inbox.put, self.answers, self._asked)

    def run(self, refused: PlanRefused | None = None) -> int:
        """Watch until told to stop; the exit status."""
        self._begin(refused)
        try:
            while not self._stop:
                self._once(ROUND)
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
        planned = self._journal.meta_get("ended") in ("clean", None)
        self._journal.meta_set("ended", "no", wait=0)
        self._take(Started(planned, "" if planned else "the one before did not end by itself"))
        self._contacts.start(self.inbox.put)
        self._sender.start()
        self._control.start()
        self._brokers.show(self._shown.whole(self.engine.state, self._now()))
        self._brokers.start()
        if refused is not None:
            self._take(PlanJudged(True, "; ".join(refused.problems)[:500]))
        while self._once(0.0):
            pass
        notify.ready()
        # Only now: it may take a slow card a minute to read it all.
        Thread(target=self._journal.examine, name="examining", daemon=True).start()
        log.info("watching", unit=self._loaded.plan.unit, inputs=len(self._loaded.rig.lines))

    def _once(self, longest: float) -> bool:
        """Wait for the next event or deadline and take it; False where nothing came."""
        due = self.engine.due
        wait = longest if due is None else min(longest, (due - clock.boottime()) / SECOND)
        event = self.inbox.get(wait)
        if event is not None:
            self._take(event)
        elif due is not None and clock.boottime() >= due:
            self._take(TimePassed())
        if event is None or clock.boottime() >= self._looks:
            self._look()
        return event is not None

    def _take(self, event: Event) -> None:
        news: JournalJudged | FaultFound | None
        try:
            news = self.engine.turn(event)
        except Exception as error:
            if not isinstance(event, (Commanded, Sent)):
                raise
            log.exception("fault in a turn", of=type(event).__name__)
            news = FaultFound(type(event).__name__, f"{type(error).__name__}: {error}")
        if news is not None:
            self.inbox.put(news)

    def _look(self) -> None:
        """Judge clock, journal, threads and what was dropped; tell the watchdog."""
        self._looks = clock.boottime() + LOOK
        news = self.engine.judge_journal()
        if news is not None:
            self.inbox.put(news)
        if self.trust() != self.trusted:
            self.trusted = not self.trusted
            self.inbox.put(ClockJudged(self.trusted))
        dropped = self.inbox.dropped()
        if dropped:
            self.inbox.put(FaultFound("inbox", f"dropped {dropped}"))
        harm = self._journal.opened.harm()
        if harm and harm != self._harm:
            self.inbox.put(FaultFound("journal", harm))
        self._harm = harm
        if self._threads_live() and clock.boottime() - self._contacts.beat() < CONTACTS_LATE:
            notify.watchdog()

    def _threads_live(self) -> bool:
        if not self._journal.alive() and not self._journal_died:
            self._journal_died = True
            self.inbox.put(FaultFound("journal", "its thread died; started again"))
            self._journal.restart()
        parts: dict[str, Part] = {
            "contacts": self._contacts,
            "sender": self._sender,
            "control": self._control,
            "journal": self._journal,
            "mqtt": self._brokers,
        }
        dead = [name for name, part in parts.items() if not part.alive()]
        if dead and not self._stop:
            log.critical("a thread died", parts=dead)
            self.status = 70
            self.ask_to_stop(f"dead: {', '.join(dead)}")
        return not dead

    def _end(self) -> None:
        notify.stopping()
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
        """Reload, stop or begin a backup; raises PlanRefused where the plan on the disk is not usable."""
        if do == "backup":
            return self.answers.backup.begin()
        if do != "reload":
            self.ask_to_stop()
            return None
        self.reload()
        return "the plan is good: the unit begins anew with it"

    def reload(self) -> None:
        """Begin anew with the plan on the disk; raises PlanRefused and goes on where it is not usable."""
        load(self._places.plan, self._places.credentials, wall=self._now().wall)
        self.ask_to_stop("reload")


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
