"""A unit with every way to answer it, over real servers: Dovecot, mosquitto, its control socket.

Its own messages go to a mailbox that notes when each came. Four panels, so that alarms can be
raised one after another while others stand.
"""

import os
import random
import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from time import monotonic

from relayd.clock import boottime
from relayd.core.plan import SECOND
from relayd.errors import Refused
from tests.channels.watcher import Watcher
from tests.servers.broker import Mosquitto, mosquitto
from tests.servers.imap import ImapServer
from tests.story.journal import Record
from tests.story.mailbox import Came, Mailbox, mailbox
from tests.story.plans import AT_REST, LEVEL, Site, high_level, plan
from tests.story.unit import Scripted, Unit, closing

SOON = 5.0
"""Seconds from a contact to its first message, whatever comes in meanwhile."""
DELAY = 1.0
PLACES = ("barn", "mill", "pond")
FIRST = {"barn": "quick", "mill": "fresh", "pond": "fresh"}
"""The call list of each: Dora, who begins the fresh one, has had no message in the last minute."""
FRESH = """
[[call_list]]
id = "house"

[[call_list.step]]
after = "0 s"
tell = ["cleo"]

[[call_list]]
id = "fresh"

[[call_list.step]]
after = "0 s"
tell = ["dora"]

[[call_list.step]]
after = "3 s"
tell = ["ben"]

[[call_list.step]]
after = "6 s"
tell = ["cleo"]
"""
GROWTH = 24 * 1024
"""KiB that a process may grow by under a flood; the unit has 256 MiB in all (systemd/)."""
CODE = re.compile(r"^Code ([a-z0-9]{8})\s*$", re.MULTILINE)

PANEL = """
[[panel]]
id = "{name}"
name = "{title} tank"
where = "by the {name}"
kind = "effluent-demand"
settle = "10 s"
hoa = "dead-front"
call_list = "{calls}"

"""
BOX = """
[mailbox]
host = "localhost"
port = {port}
user = "{user}"
password_from = "mailbox"
ca = "{ca}"
"""


def asked(usual: int) -> tuple[int, int]:
    """How many forgeries, and the seed of this run; printed, so that it can be repeated."""
    many = int(os.environ.get("RELAYD_FORGED") or usual)
    seed = int(os.environ.get("RELAYD_SEED") or random.SystemRandom().randrange(1_000_000))
    print(f"RELAYD_FORGED={many} RELAYD_SEED={seed}")
    return many, seed


@dataclass
class Lags:
    """How long the loop took to answer, each time that it was asked (s)."""

    taken: list[float] = field(default_factory=list)

    def words(self) -> str:
        """The median and the greatest."""
        if not self.taken:
            return "loop not asked"
        middle = sorted(self.taken)[len(self.taken) // 2]
        most = max(self.taken)
        return f"loop answers in {middle * 1e3:.0f} ms, at most {most * 1e3:.0f} ms"


@dataclass
class Besieged:
    """The unit, its servers, and what is asked of them."""

    unit: Unit
    mail: Mailbox
    box: ImapServer
    broker: Mosquitto
    watcher: Watcher
    lags: Lags = field(default_factory=Lags)

    def __post_init__(self) -> None:
        self._asked = count(1)

    def raises(self, place: str) -> tuple[str, Came]:
        """The float of that place rises: the occurrence, and the first message of it."""
        person = "dora" if FIRST.get(place) == "fresh" else "anna"
        before = len(self.mail.to(person))
        self.unit.move(f"{place}.high-level", "closed")
        came = self.came(person, before, f"HIGH LEVEL - {place}")
        return self.occurrence(place), came

    def came(self, person: str, after: int, *parts: str) -> Came:
        """The first message to that person behind those that had come, with all these words."""

        def there() -> Came | None:
            fresh = self.mail.to(person)[after:]
            return next((each for each in fresh if all(_in(each, part) for part in parts)), None)

        return self.unit.until(there, f"{parts} to {person}", 90)

    def titles(self, person: str) -> list[str]:
        """What that person got."""
        return [each.mail.title for each in self.mail.to(person)]

    def occurrence(self, place: str) -> str:
        """The alarm that stands there."""
        (panel,) = [each for each in self.unit.ask("status")["panels"] if each["id"] == place]
        (one,) = [each for each in panel["alarms"] if each["condition"] == "high-level"]
        return str(one["occurrence"])

    def lag(self) -> float:
        """How long the loop takes to refuse what names no alarm (s)."""
        began = monotonic()
        about = {"occurrence": f"pumphouse.none.{next(self._asked)}"}
        try:
            self.unit.ask("acknowledge", about, "anna")
        except Refused:
            self.lags.taken.append(monotonic() - began)
            return self.lags.taken[-1]
        raise AssertionError(f"{about} was acknowledged")

    def alarm_in_time(self, place: str) -> tuple[str, Came, float]:
        """Raise one now: its occurrence, its message, and how long that took from the contact (s)."""
        began = boottime()
        occurrence, came = self.raises(place)
        after = (came.at - began) / SECOND
        assert after <= SOON, f"{place}: {after:.2f} s, {self.lags.words()}"
        return occurrence, came, after

    def acknowledged(self) -> list[tuple[str, str, str]]:
        """Every acknowledgement in the journal: who, what, at which place."""
        found = self.unit.found("acknowledged")
        return [(e["body"]["person"], e["body"]["act"], e["subject"]) for e in found]

    def locked(self) -> Record:
        """The alarm that says which way is locked."""
        return self.unit.said("raised", condition="answers-locked", seconds=60)

    def memory(self) -> dict[str, int]:
        """KiB that the daemon and the reader of its mailbox have for themselves (PSS)."""
        assert self.unit.process is not None
        reader = self.unit.until(self.reader, "a reader")
        return {"daemon": pss(self.unit.process.pid), "reader": pss(reader)}

    def reader(self) -> int | None:
        """The process that looks into the mailbox, if one does."""
        assert self.unit.process is not None
        for task in Path(f"/proc/{self.unit.process.pid}/task").glob("*/children"):
            for each in task.read_text().split():
                if "relayd.mailbox.reader" in Path(f"/proc/{each}/cmdline").read_text():
                    return int(each)
        return None

    def memory_held(self, before: dict[str, int]) -> str:
        """That neither has grown much since; in words."""
        after = self.memory()
        for name, had in before.items():
            assert after[name] - had < GROWTH, f"{name}: {had} KiB, then {after[name]} KiB"
        return ", ".join(f"{name} {before[name]} to {after[name]} KiB" for name in before)

    def command_line(self, occurrence: str, person: str) -> None:
        """That person takes it at the unit."""
        done = self.unit.relayd("ack", occurrence, "--by", person, "--taken")
        assert done.returncode == 0, done.stderr

    def ends(self, place: str) -> None:
        """The water falls there, and the alarm is over."""
        mark = self.unit.mark()
        self.unit.move(f"{place}.high-level", "open")
        self.unit.said("occurrence ended", after=mark, subject=f"panel:{place}")


def code(came: Came) -> str:
    """The code that a message carries."""
    found = CODE.search(came.mail.text)
    assert found, came.mail.text
    return found[1]


def pss(pid: int) -> int:
    """Its share of memory in KiB (proc(5), smaps_rollup)."""
    rows = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return next(int(each.split()[1]) for each in rows if each.startswith("Pss:"))


def held(pid: int) -> int:
    """The most that it has had resident, in KiB (proc(5), VmHWM); 0 where it has ended."""
    try:
        rows = Path(f"/proc/{pid}/status").read_text().splitlines()
    except (FileNotFoundError, ProcessLookupError):
        return 0
    return next((int(each.split()[1]) for each in rows if each.startswith("VmHWM:")), 0)


@contextmanager
def besieged(folder: Path, version: str = "5") -> Iterator[Besieged]:
    """The unit at rest, looking into its mailbox and connected to its broker."""
    with ExitStack() as around:
        mail = around.enter_context(mailbox())
        box = around.enter_context(ImapServer())
        broker = around.enter_context(mosquitto(folder))
        rest = {**AT_REST, **{f"{each}.high-level": "open" for each in PLACES}}
        unit = Unit(folder / "unit", Scripted(folder / "wires.json", rest))
        around.enter_context(closing(unit))
        _configure(unit, folder, mail, box, broker, version)
        watcher = around.enter_context(Watcher(broker.port))
        unit.start()
        made = Besieged(unit, mail, box, broker, watcher)
        for way in ("mailbox", "mqtt"):
            unit.until(lambda way=way: _stands(unit, way), f"{way} is up")  # type: ignore[misc]
        yield made


def _stands(unit: Unit, way: str) -> bool:
    return bool(unit.ask("status")["unit"]["ways"].get(way) == "up")


def _configure(
    unit: Unit, folder: Path, mail: Mailbox, box: ImapServer, broker: Mosquitto, version: str
) -> None:
    credentials = folder / "credentials"
    credentials.mkdir()
    (credentials / "mailbox").write_text(box.password)
    (credentials / "mailbox").chmod(0o600)
    unit.environment["RELAYD_CREDENTIALS"] = str(credentials)
    lines = unit.wires.lines()
    people = {each: {"mail": mail.address(each)} for each in ("anna", "ben", "cleo", "dora")}
    steps = ((0, ("anna",)), (3, ("ben",)), (6, ("cleo",)))
    at = (broker.port, version)
    text = plan(Site(people, unit.wires.chip, lines, at, steps, "holds", DELAY))
    text = text.replace('name = "mail"\n', 'name = "mail"\nanswers = true\n')
    for each in ("anna", "ben"):
        own = f'id = "{each}"\nanswers_from = ["{each}@example.org"]\n'
        text = text.replace(f'id = "{each}"\n', own)
    # What is wrong with the unit itself goes to Cleo, who has had few messages.
    text = text.replace('call_list = "quick"\n', 'call_list = "house"\n')
    text = text.replace('hoa = "dead-front"\n', 'hoa = "dead-front"\ncall_list = "quick"\n')
    for each in PLACES:
        line = lines[f"{each}.high-level"]
        text += PANEL.format(name=each, title=each.title(), calls=FIRST[each])
        text += high_level(line, DELAY)
    text += FRESH
    text += BOX.format(port=box.tls_port, user=box.user, ca=box.ca)
    unit.write_plan(text)


def _in(came: Came, part: str) -> bool:
    return part.lower() in f"{came.mail.title}\n{came.mail.text}".lower()


CABIN = LEVEL.partition(".")[0]
