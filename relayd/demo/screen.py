"""What the demo shows: one line a happening, with its time since the start and where it came from."""

import sys
import threading
from collections.abc import Iterable

from relayd.clock import boottime
from relayd.core.plan import SECOND

WORDS = {
    "contact": "36",
    "unit": "37",
    "alarm": "31;1",
    "notice": "33",
    "mail": "32",
    "mqtt": "35",
    "you": "34;1",
    "story": "1",
}


class Screen:
    """Prints lines from any thread and lets others wait for one that says something."""

    def __init__(self, colour: bool) -> None:
        self._colour = colour and sys.stdout.isatty()
        self._begun = boottime()
        self._changed = threading.Condition()
        self._lines: list[tuple[str, str]] = []

    def say(self, where: str, text: str, more: Iterable[str] = ()) -> None:
        """One happening, and the lines that belong to it."""
        seconds = (boottime() - self._begun) / SECOND
        head = f"{seconds:7.2f} s  {where:<8}"
        if self._colour:
            head = f"{seconds:7.2f} s  \033[{WORDS.get(where, '0')}m{where:<8}\033[0m"
        with self._changed:
            print(f"{head} {text}")
            for line in more:
                print(f"{'':19} | {line}")
            sys.stdout.flush()
            self._lines.append((where, text))
            self._changed.notify_all()

    def mark(self) -> int:
        """Where the lines now end."""
        with self._changed:
            return len(self._lines)

    def wait_for(self, where: str, part: str, after: int, patience: float) -> bool:
        """Whether a line from `where` with `part` in it came after that mark, within `patience` seconds."""
        with self._changed:
            return self._changed.wait_for(lambda: self._has(where, part, after), patience)

    def _has(self, where: str, part: str, after: int) -> bool:
        return any(each == where and part in text for each, text in self._lines[after:])
