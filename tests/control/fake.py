"""A daemon that remembers what it was asked, on a real control socket."""

import json
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from queue import SimpleQueue

from relayd.control.server import ControlServer
from relayd.core.effects import Answer
from relayd.core.events import Commanded, Event
from relayd.errors import PlanRefused, RelaydError

DEADLINE = 10.0
Line = dict[str, object]


class FakeDaemon:
    """Answers commands at once with `says`, or leaves them in `events` where that is None."""

    def __init__(self, path: Path) -> None:
        self.events: SimpleQueue[Event] = SimpleQueue()
        self.acts: SimpleQueue[tuple[str, Mapping[str, object]]] = SimpleQueue()
        self.asked: SimpleQueue[tuple[str, Mapping[str, object]]] = SimpleQueue()
        self.says: Answer | None = Answer("", True, "taken", "Anna has it until 14:00; told: Bert")
        self.reads: Mapping[str, object] | Exception = {"unit": {"id": "unit-1"}}
        self.refuses: RelaydError | None = None
        self.control = ControlServer(path, self.post, self.read, self.act)

    def post(self, event: Event) -> None:
        self.events.put(event)
        if isinstance(event, Commanded) and self.says is not None:
            says = self.says
            self.control.answer(Answer(event.token, says.ok, says.code, says.say, says.body))

    def read(self, do: str, asked: Mapping[str, object]) -> Mapping[str, object]:
        self.asked.put((do, asked))
        if isinstance(self.reads, Exception):
            raise self.reads
        return self.reads

    def act(self, do: str, asked: Mapping[str, object]) -> None:
        self.acts.put((do, asked))
        if self.refuses is not None:
            raise self.refuses

    def happened(self) -> Event:
        return self.events.get(timeout=DEADLINE)


@contextmanager
def running(path: Path) -> Iterator[FakeDaemon]:
    daemon = FakeDaemon(path)
    daemon.control.start()
    try:
        yield daemon
    finally:
        daemon.control.close()


class Client:
    """The other end, by hand: whatever bytes one likes, and the lines that come back."""

    def __init__(self, path: Path) -> None:
        self.link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.link.settimeout(DEADLINE)
        self.link.connect(str(path))
        self._reader = self.link.makefile("rb")

    def __enter__(self) -> "Client":
        return self

    def __exit__(self, *_: object) -> None:
        self._reader.close()
        self.link.close()

    def send(self, line: bytes) -> None:
        self.link.sendall(line)

    def say(self, do: str, id: int = 7, by: str | None = "anna", **what: object) -> None:
        self.send(json.dumps({"v": 1, "id": id, "do": do, "with": what, "by": by}).encode() + b"\n")

    def hear(self) -> Line:
        """The next line; {} at the end."""
        line = self._reader.readline()
        return dict(json.loads(line)) if line else {}

    def ask(self, do: str, id: int = 7, by: str | None = "anna", **what: object) -> Line:
        self.say(do, id, by, **what)
        return self.hear()

    def code(self) -> object:
        """The reason of the next line, which is a no."""
        no = self.hear()["no"]
        assert isinstance(no, dict)
        return no["code"]


def refused(daemon: FakeDaemon, problems: list[str]) -> None:
    daemon.refuses = PlanRefused(problems)
