"""`relayd run`: the alarm path's loop. Clock, inbox, engine, journal, ways out, watchdog.

Order of a start: lock, plan, journal, contacts, and only then whatever needs a network. The loop
waits once, for the next event or the next deadline. A way out that is down is an alarm and never
a reason to stop; a thread of ours that died and cannot be started again is (exit 70), since
systemd then starts the whole anew and the journal knows what is owed.
"""

import os
import secrets
import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from functools import partial
from pathlib import Path
from threading import Thread
from typing import Protocol

from relayd import clock, logs, notify
from relayd.channels import homie
from relayd.channels.mqtt import Mqtt
from relayd.channels.post import Post
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
from relayd.core.plan import SECOND, Plan, Priority
from relayd.core.showing import quietness, view
from relayd.core.state import State
from relayd.engine import Engine
from relayd.errors import PlanRefused, RelaydError
from relayd.inbox import Inbox
from relayd.journal import lock, reader
from relayd.journal.store import Journal
from relayd.pins.inputs import PinContacts
from relayd.rig import Rig
from relayd.settings import Loaded, Places, load, load_or_last_good, remember

ROUND = 5.0
"""Seconds between two looks at threads, clock and watchdog while nothing happens."""
LOOK = SECOND // 4
"""Nanoseconds between two of them at least while much happens: a look costs as much as a step."""
CONTACTS_LATE = 10 * SECOND
LAST = 50
"""Records that are shown where nobody says how many."""
READ_WAIT = 2.0
"""Seconds that a question about the journal may hold up the acknowledgements behind it."""
STALLED = "the disk does not answer: the journal cannot be read now; ask again later"
LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"

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
        self._set_aside: str | None = None
        self._journal_died = False
        self._looks = 0
        self._reading: Future[list[reader.Row]] | None = None
        self._tree: dict[str, str] = {}
        self._read_last: dict[str, str] = {}
        self._sender = Post(self.inbox.put, loaded.rig.addresses)
        self.engine = Engine(loaded.plan, journal.open(), journal, self._sender, self._now)
        self.engine.answer, self.engine.published, self.engine.shown = (
            self._answer,
            self._show,
            self._follow,
        )
        self._control = ControlServer(
            places.run / "control.sock", self.inbox.put, self._read, self._asked
        )
        self._mqtt = self._broker(loaded.rig)

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
        if self._mqtt is not None:
            self._show_all()
            self._mqtt.start()
        if refused is not None:
            self._take(PlanJudged(True, "; ".join(refused.problems)[:500]))
        while self._once(0.0):
            pass
        notify.ready()
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
        aside = self._journal.opened.set_aside
        if aside != self._set_aside:
            self._set_aside = aside
            self.inbox.put(
                FaultFound("journal", f"damaged, set aside as {aside}; a fresh one was begun")
            )
        if self._threads_live() and clock.boottime() - self._contacts.beat() < CONTACTS_LATE:
            notify.watchdog()

    def _threads_live(self) -> bool:
        if not self._journal.alive() and not self._journal_died:
            self._journal_died = True
            self.inbox.put(FaultFound("journal", "its thread died; started again"))
            self._journal.restart()
        parts: dict[str, Part | None] = {
            "contacts": self._contacts,
            "sender": self._sender,
            "control": self._control,
            "journal": self._journal,
            "mqtt": self._mqtt,
        }
        dead = [name for name, part in parts.items() if part is not None and not part.alive()]
        if dead and not self._stop:
            log.critical("a thread died", parts=dead)
            self.status = 70
            self.ask_to_stop(f"dead: {', '.join(dead)}")
        return not dead

    def _end(self) -> None:
        notify.stopping()
        if self._mqtt is not None:
            self._mqtt.stop()
        self._contacts.stop()
        self._sender.stop()
        self._control.close()
        self._journal.meta_set("ended", "clean" if self.status == 0 else self._stop)
        self._journal.close()

    # What goes out

    def _now(self) -> Now:
        return clock.now(self.trusted)

    def _answer(self, answer: Answer) -> None:
        if answer.token.startswith("mqtt:") and self._mqtt is not None:
            self._mqtt.answer(answer)
        else:
            self._control.answer(answer)

    def _show(self, subjects: Sequence[str]) -> None:
        now = self._now()
        for subject in subjects:
            self._tree = homie.graft(self._tree, subject, self.engine.state, self.engine.plan, now)
        if self._mqtt is not None:
            self._mqtt.show(self._tree)
        for name, reads in view.inputs(self.engine.state).items():
            if self._read_last.get(name) != reads:
                self._read_last[name] = reads
                self._control.publish({"what": "input", "input": name, "reads": reads})

    def _show_all(self) -> None:
        self._tree = homie.tree(self.engine.state, self.engine.plan, self._now())
        if self._mqtt is not None:
            self._mqtt.show(self._tree)

    def _follow(self, line: Mapping[str, object]) -> None:
        log.info(str(line.get("what")), **{str(k): v for k, v in line.items() if k != "what"})
        self._control.publish(line)

    def _broker(self, rig: Rig) -> Mqtt | None:
        if rig.broker is None:
            return None
        said = self._journal.said_topics()
        plan = self._loaded.plan
        return Mqtt(self.inbox.put, rig.broker, plan, plan.unit, said, self._journal.said)

    # What is asked, on the control thread: reads only a state that never changes

    def _read(self, do: str, asked: Mapping[str, object]) -> Mapping[str, object]:
        return _READS[do](self, asked)

    def _asked(self, do: str, _asked: Mapping[str, object]) -> str | None:
        """Reload or stop; raises PlanRefused where the plan on the disk is not usable."""
        if do != "reload":
            self.ask_to_stop()
            return None
        self.reload()
        return "the plan is good: the unit begins anew with it"

    def reload(self) -> None:
        """Begin anew with the plan on the disk; raises PlanRefused and goes on where it is not usable."""
        load(self._places.plan, self._places.credentials, wall=self._now().wall)
        self.ask_to_stop("reload")

    def read_status(self, _asked: Mapping[str, object]) -> Mapping[str, object]:
        """The whole state in words."""
        ways = ("sender",) if self._mqtt is None else ("sender", "mqtt")
        return view.status(
            self.engine.plan, self.engine.state, self._now(), self._journal.late(), ways
        )

    def read_why(self, asked: Mapping[str, object]) -> Mapping[str, object]:
        """Why nobody is told, panel by panel."""
        return {"lines": quietness.lines(*self._known(), self._panel(asked))}

    def read_who(self, asked: Mapping[str, object]) -> Mapping[str, object]:
        """Who would be told now and next, of one panel or the unit, and of one priority or all."""
        plan, state, now = self._known()
        told = [each for each in Priority if each is not Priority.RECORD_ONLY]
        wanted = asked.get("priority")
        if wanted is not None and wanted not in told:
            raise RelaydError(f"'priority' must be one of: {', '.join(told)}")
        panel, chosen = self._panel(asked), [each for each in told if wanted in (None, each)]
        return {"lists": [view.who(plan, state, panel, each, now) for each in chosen]}

    def _known(self) -> tuple[Plan, State, Now]:
        """What a question is answered from."""
        return self.engine.plan, self.engine.state, self._now()

    def _panel(self, asked: Mapping[str, object]) -> str:
        """The panel that was asked for, or ''. Raises RelaydError where there is none of that name."""
        wanted, known = str(asked.get("panel") or ""), self.engine.plan.panels
        if wanted and wanted not in known:
            say = f"no panel is called '{wanted}'; the plan knows: {', '.join(known)}"
            raise RelaydError(say)
        return wanted

    def read_log(self, asked: Mapping[str, object]) -> Mapping[str, object]:
        """Records of the journal."""
        panel = asked.get("panel")
        question = partial(
            reader.records,
            self._places.state / "journal.db",
            subject=f"panel:{panel}" if panel else None,
            since=_whole(asked, "since"),
            limit=_whole(asked, "last") or LAST,
        )
        return {"records": self._from_disk(question)}

    def _from_disk(self, question: Callable[[], list[reader.Row]]) -> list[reader.Row]:
        """The answer, from a thread of its own: a disk that stalls must hold up no acknowledgement."""
        if self._reading is not None and not self._reading.done():
            raise RelaydError(STALLED)
        self._reading = answer = Future[list[reader.Row]]()

        def read() -> None:
            try:
                answer.set_result(question())
            except Exception as error:  # noqa: BLE001 - it is raised again, to the asker
                answer.set_exception(error)

        Thread(target=read, name="reading", daemon=True).start()
        try:
            return answer.result(READ_WAIT)
        except TimeoutError:
            raise RelaydError(STALLED) from None

    def read_tree(self, _asked: Mapping[str, object]) -> Mapping[str, object]:
        """What the broker is shown."""
        return dict(self._tree)


def _whole(asked: Mapping[str, object], name: str) -> int | None:
    """A whole number that was asked for, or None. Raises RelaydError where it is something else."""
    value = asked.get(name)
    if value is None:
        return None
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**63:
        raise RelaydError(f"'{name}' must be a whole number, not below 0")
    return value


_READS: dict[str, Callable[[Daemon, Mapping[str, object]], Mapping[str, object]]] = {
    "status": Daemon.read_status,
    "why": Daemon.read_why,
    "log": Daemon.read_log,
    "tree": Daemon.read_tree,
    "who": Daemon.read_who,
}


def draw_epoch() -> str:
    """Six random letters that tell this journal's ids from those of any other."""
    return "".join(secrets.choice(LETTERS) for _ in range(6))


def build(places: Places, loaded: Loaded, contacts: Contacts | None = None) -> Daemon:
    """A daemon on these places; `contacts` other than the real pins where a demo gives them."""
    journal = Journal(places.state / "journal.db", loaded.plan.unit, draw_epoch)
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
