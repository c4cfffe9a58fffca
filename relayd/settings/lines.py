"""On which line of a TOML text does a value stand? The parser of the standard library forgets it.

In: a text that the parser has accepted (or the part of one before its first mistake).
Out: a line for each table, key and array entry, counted from 1. Knows nothing of the plan.

Reads keys, strings, arrays and inline tables just closely enough to walk over them; what it
cannot read ends the walk, so that a broken text gives what stands before the break.
"""

import re
import tomllib
from bisect import bisect_left
from dataclasses import dataclass

from relayd.words import Loc

_BLANKS = re.compile(r"[ \t]*")
_SPACE = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]+")
_STRINGS = (
    # A long string may end in up to two quotes of its own before the closing three.
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


@dataclass(frozen=True, slots=True)
class Repeat:
    """A table or key that is written twice, with both lines."""

    loc: Loc
    first: int
    second: int


class _Unread(Exception):
    """What follows is not TOML: the walk ends here."""


class Lines:
    """The lines of one TOML text."""

    def __init__(self, text: str) -> None:
        self._text = text.replace("\r\n", "\n")
        self._ends = [n for n, char in enumerate(self._text) if char == "\n"]
        self._at = 0
        self._lines: dict[Loc, int] = {}
        self._written: set[Loc] = set()
        self._entries: dict[Loc, int] = {}
        self.repeats: list[Repeat] = []
        """What is written twice, in the order of the text."""
        try:
            self._statements()
        except _Unread:
            self.complete = False
        else:
            self.complete = True

    def line(self, loc: Loc) -> int:
        """The line of that place, or of the nearest table around it, or 1."""
        for length in range(len(loc), 0, -1):
            if (found := self._lines.get(loc[:length])) is not None:
                return found
        return 1

    def knows(self, loc: Loc) -> bool:
        """Whether exactly this place stands in the text."""
        return loc in self._lines

    def _statements(self) -> None:
        here: Loc = ()
        self._take(_SPACE)
        while self._at < len(self._text):
            begin = self._at
            if self._skip("[["):
                here = self._entry(self._keys(), begin)
                self._need("]]")
            elif self._skip("["):
                here = self._table(self._keys(), begin)
                self._need("]")
            else:
                self._pair(here)
            self._take(_SPACE)

    def _entry(self, keys: Loc, begin: int) -> Loc:
        array = (*self._inside(keys[:-1], begin), keys[-1])
        number = self._entries.get(array, 0)
        if number == 0 and array in self._written:
            self._again(array, begin)
        self._entries[array] = number + 1
        self._lines.setdefault(array, self._line(begin))
        self._lines[*array, number] = self._line(begin)
        return (*array, number)

    def _table(self, keys: Loc, begin: int) -> Loc:
        loc = (*self._inside(keys[:-1], begin), keys[-1])
        if loc in self._entries:
            self._again(loc, begin)
        else:
            self._write(loc, begin)
        return loc

    def _inside(self, keys: Loc, begin: int) -> Loc:
        """The tables on the way to a header: of several entries the last one is meant."""
        loc: Loc = ()
        for key in keys:
            loc = (*loc, key)
            self._lines.setdefault(loc, self._line(begin))
            if loc in self._entries:
                loc = (*loc, self._entries[loc] - 1)
        return loc

    def _pair(self, table: Loc) -> None:
        begin = self._at
        *way, last = self._keys()
        for key in way:
            table = (*table, key)
            self._lines.setdefault(table, self._line(begin))
        self._need("=")
        self._take(_BLANKS)
        self._write((*table, last), begin)
        self._value((*table, last))

    def _keys(self) -> Loc:
        keys: list[str] = []
        while True:
            self._take(_BLANKS)
            quoted = self._ahead() in {'"', "'"}
            raw = self._string() if quoted else self._take(_BARE_KEY)
            keys.append(_unquoted(raw) if quoted else raw)
            self._take(_BLANKS)
            if not self._skip("."):
                return tuple(keys)

    def _value(self, loc: Loc) -> None:
        if self._ahead() in {'"', "'"}:
            self._string()
        elif self._skip("["):
            self._array(loc)
        elif self._skip("{"):
            self._inline(loc)
        else:
            self._take(_SCALAR)

    def _array(self, loc: Loc) -> None:
        number = 0
        self._take(_SPACE)
        while not self._skip("]"):
            self._lines[*loc, number] = self._line(self._at)
            self._value((*loc, number))
            number += 1
            self._between("]")

    def _inline(self, loc: Loc) -> None:
        self._take(_SPACE)
        while not self._skip("}"):
            self._pair(loc)
            self._between("}")

    def _between(self, end: str) -> None:
        self._take(_SPACE)
        if self._skip(","):
            self._take(_SPACE)
        elif self._ahead() != end:
            raise _Unread

    def _string(self) -> str:
        for kind in _STRINGS:
            if kind.match(self._text, self._at):
                return self._take(kind)
        raise _Unread

    def _write(self, loc: Loc, begin: int) -> None:
        if loc in self._written:
            self._again(loc, begin)
            return
        self._written.add(loc)
        self._lines[loc] = self._line(begin)

    def _again(self, loc: Loc, begin: int) -> None:
        self.repeats.append(Repeat(loc, self._lines[loc], self._line(begin)))

    def _line(self, at: int) -> int:
        return bisect_left(self._ends, at) + 1

    def _ahead(self) -> str:
        return self._text[self._at : self._at + 1]

    def _skip(self, mark: str) -> bool:
        if not self._text.startswith(mark, self._at):
            return False
        self._at += len(mark)
        return True

    def _need(self, mark: str) -> None:
        if not self._skip(mark):
            raise _Unread

    def _take(self, shape: re.Pattern[str]) -> str:
        found = shape.match(self._text, self._at)
        if found is None:
            raise _Unread
        self._at = found.end()
        return found[0]


def _unquoted(raw: str) -> str:
    """What a quoted key says; the standard parser knows the escapes."""
    try:
        return str(tomllib.loads(f"key = {raw}")["key"])
    except tomllib.TOMLDecodeError:
        raise _Unread from None
