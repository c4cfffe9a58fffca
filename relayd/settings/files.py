"""The plan's text: read whole, parsed, and kept as the last good one.

Every fault of a file or of its syntax becomes words for the plan's owner. The line of a mistake
is shown only where it cannot hold a secret.
"""

import os
import re
import stat
import tempfile
import tomllib
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from relayd.errors import PlanRefused
from relayd.settings.lines import Lines
from relayd.words import key_of

LARGEST = 1024 * 1024
"""Bytes; a plan of a hundred panels takes a tenth of it."""
WIDEST = 200
"""Characters; a longer line would fill the screen and hide its caret."""
LAST_GOOD = "last-good.toml"

_POSITION = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_HARMLESS = re.compile(
    r"\s*(\[[\w.\s\[\]-]*|(id|kind|zone|means|line|chip|in_alarm|unpowered|after|tell|call_list)\s*=.*)"
)


@dataclass(frozen=True, slots=True)
class Source:
    """A plan's text as it was read, with its lines and its SHA-256."""

    path: Path
    text: str
    digest: str
    data: dict[str, object]
    lines: Lines
    mode: int


def read_whole(path: Path, largest: int = LARGEST) -> tuple[bytes, int]:
    """The bytes and the mode of a plain file. Raises OSError, ValueError for what is no such file."""
    # Asked before it is opened: opening a pipe would wait for ever.
    if not stat.S_ISREG(path.stat().st_mode):
        raise ValueError("is not a plain file")
    with path.open("rb") as file:
        mode = os.fstat(file.fileno()).st_mode
        raw = file.read(largest + 1)
    if len(raw) > largest:
        raise ValueError(f"is larger than {largest // 1024} KiB")
    return raw, mode


def parsed(path: Path) -> Source:
    """Read and parse a plan file. Raises PlanRefused with one problem."""
    try:
        raw, mode = read_whole(path)
    except FileNotFoundError:
        raise PlanRefused(
            [f"{path}: there is no such file; write the plan there or name another file"]
        ) from None
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise PlanRefused([f"{path}: cannot be read: {why}"]) from None
    text = _decoded(path, raw)
    data = _data(path, text)
    return Source(path, text, sha256(raw).hexdigest(), data, Lines(text), mode)


def keep(text: str, state: Path) -> Path:
    """Write the last good plan into the state directory, whole or not at all, mode 0600. Raises OSError."""
    target = state / LAST_GOOD
    if _holds(target, text):
        return target
    handle, name = tempfile.mkstemp(dir=state, prefix=".last-good-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(state)
    return target


def _holds(target: Path, text: str) -> bool:
    """Whether the file is already this text, for us alone: what need not be written is not."""
    try:
        raw, mode = read_whole(target)
    except (OSError, ValueError):
        # None there, or one that is no plan: it is written anew, and a real fault shows then.
        return False
    return raw == text.encode() and stat.S_IMODE(mode) == 0o600


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _decoded(path: Path, raw: bytes) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        say = "is not UTF-8 text; save the file as UTF-8 and write the letters of this line anew"
        raise PlanRefused([f"{path}:{line}: {say}"]) from None


def _data(path: Path, text: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanRefused([_syntax(path, text, str(error))]) from None
    except RecursionError:
        raise PlanRefused(
            [f"{path}: brackets are nested too deeply; no key of a plan needs that"]
        ) from None
    except ValueError:
        # Python reads no number of several thousand digits.
        raise PlanRefused([f"{path}: holds a number that is too long; write it shorter"]) from None


def _syntax(path: Path, text: str, error: str) -> str:
    lines = text.replace("\r\n", "\n").split("\n")
    found = _POSITION.search(error)
    what = error[: found.start()] if found else error
    if found and found[1]:
        line, column = int(found[1]), int(found[2])
    else:
        line, column = _end(lines)
    repeats = Lines("\n".join(lines[:line])).repeats
    if repeats:
        twice = repeats[-1]
        again = f"is written twice, first on line {twice.first}; keep one"
        return f"{path}:{twice.second}: {key_of(twice.loc)}: {again}"
    say = f"{path}:{line}: column {column}: is not TOML: {what[:1].lower()}{what[1:]}"
    shown = _shown(lines[line - 1])
    return f"{say}\n    {shown}\n    {' ' * (column - 1)}^" if len(shown) <= WIDEST else say


def _end(lines: list[str]) -> tuple[int, int]:
    """The last line that says something, and the column behind it."""
    number = max((n for n, line in enumerate(lines, 1) if line.strip()), default=1)
    return number, len(lines[number - 1]) + 1


def _shown(line: str) -> str:
    """The line without its value where it may hold a secret; blanks and length stay for the caret."""
    plain = "".join(char if char.isprintable() else " " for char in line)
    if _HARMLESS.fullmatch(plain) and "://" not in plain:
        return plain
    key, equals, value = plain.partition("=")
    if not equals:
        key, value = "", plain
    return key + equals + re.sub(r"\S", "*", value)
