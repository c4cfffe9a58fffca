"""What a line of the control socket may hold: JSON, one object a line, at most 64 KiB.

In: bytes from anybody. Out: a checked request, or a refusal that says what is wrong. Knows no
socket. A request:

    {"v":1,"id":7,"do":"acknowledge","with":{"panel":"creek-1"},"by":"anna"}

Its answer is {"id":7,"ok":{...}} or {"id":7,"no":{"code":"not-active","say":"..."}}. After
"follow" events come as lines without an id; {"end":{"code":"...","say":"..."}} is the last one.
`until` is UTC in nanoseconds since 1970, `within` nanoseconds from now.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NoReturn, TypeVar

from relayd.core.events import Acknowledge, Act, Command, Looked

VERSION = 1
LONGEST = 64 * 1024
"""Bytes of a line, its line end included, in both directions."""
LONGEST_TEXT = 200
"""Characters of one value."""

COMMANDS = ("acknowledge", "looked")
READS = ("status", "log", "why", "tree")
ACTS = ("reload", "stop")
FOLLOW = "follow"
_KEYS = ("v", "id", "do", "with", "by")

Scalar = str | int | float | bool | None
Choice = TypeVar("Choice", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class Request:
    """One request whose form is right; whether it makes sense is for others to say."""

    id: int
    do: str
    what: Mapping[str, Scalar]
    by: str | None


class Refusal(Exception):
    """Why a request is refused: one word, a sentence, and the request's id where it could be read."""

    def __init__(self, code: str, say: str, id: int | None = None) -> None:
        super().__init__(say)
        self.code = code
        self.say = say
        self.id = id


class Level(StrEnum):
    """What a person at the panel says of the water."""

    NORMAL = "normal"
    HIGH = "high"


def encode(body: Mapping[str, object]) -> bytes:
    """One line. Raises Refusal where it would be longer than a line may be."""
    line = json.dumps(body, separators=(",", ":"), allow_nan=False).encode("ascii") + b"\n"
    if len(line) > LONGEST:
        raise Refusal("too-large", "the answer is longer than a line may be: ask for less at once")
    return line


def yes(id: int, body: Mapping[str, object]) -> bytes:
    """The line of an answer that is yes, or of a refusal where it is too long for a line."""
    try:
        return encode({"id": id, "ok": body})
    except Refusal as refusal:
        return no(id, refusal.code, refusal.say)


def no(id: int | None, code: str, say: str) -> bytes:
    """The line of an answer that is no."""
    return encode({"id": id, "no": {"code": code, "say": _shortened(say, 4_000)}})


def end(code: str, say: str) -> bytes:
    """The last line of a stream."""
    return encode({"end": {"code": code, "say": say}})


def request(line: bytes) -> Request:
    """Take one line apart. Raises Refusal for whatever is not a request of this version."""
    body = _object(line)
    id = _id(body)
    try:
        return _checked(body, id)
    except Refusal as refusal:
        raise Refusal(refusal.code, refusal.say, id) from None


def command(asked: Request) -> Command:
    """The command that a request means. Raises Refusal where its values do not fit."""
    try:
        return _acknowledge(asked.what) if asked.do == "acknowledge" else _looked(asked.what)
    except Refusal as refusal:
        raise Refusal(refusal.code, refusal.say, asked.id) from None


def _malformed(say: str) -> NoReturn:
    raise Refusal("malformed", say)


def _object(line: bytes) -> dict[str, object]:
    try:
        body = json.loads(line.decode("utf-8"), parse_constant=_malformed)
    except (ValueError, RecursionError) as error:
        raise Refusal("malformed", f"not a line of JSON: {_shortened(str(error), 80)}") from None
    if not isinstance(body, dict):
        _malformed("a request is a JSON object in braces")
    return body


def _id(body: Mapping[str, object]) -> int:
    id = body.get("id")
    if type(id) is not int or not 0 <= id < 2**53:
        _malformed("'id' must be a whole number from 0 to 2^53")
    return id


def _checked(body: Mapping[str, object], id: int) -> Request:
    if body.get("v") != VERSION or type(body["v"]) is not int:
        raise Refusal("version", f"'v' must be {VERSION}: this daemon speaks no other version")
    _only(body, _KEYS)
    do = body.get("do")
    if not isinstance(do, str):
        _malformed("'do' must say what is asked for")
    known = (*COMMANDS, *READS, *ACTS, FOLLOW)
    if do not in known:
        raise Refusal("unknown", f"'{_shortened(do)}' is not known; known: {', '.join(known)}")
    what = body.get("with", {})
    if not isinstance(what, dict):
        _malformed("'with' must be a JSON object in braces")
    by = body.get("by")
    return Request(id, do, _scalars(what), None if by is None else _text(by, "by"))


def _scalars(what: Mapping[str, object]) -> dict[str, Scalar]:
    return {_text(key, "a key of 'with'"): _scalar(value, key) for key, value in what.items()}


def _scalar(value: object, key: str) -> Scalar:
    if isinstance(value, str):
        return _text(value, key)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int | float) and abs(value) < 2**63:
        return value
    _malformed(f"'{_shortened(key)}' must be a text, a number, true, false or null")


def _text(value: object, key: str) -> str:
    if not isinstance(value, str) or not value.isprintable() or len(value) > LONGEST_TEXT:
        _malformed(f"'{_shortened(key)}' must be a text of at most {LONGEST_TEXT} characters")
    return value


def _acknowledge(what: Mapping[str, Scalar]) -> Acknowledge:
    _only(what, ("occurrence", "panel", "act", "until", "within"))
    occurrence, panel = _optional_text(what, "occurrence"), _optional_text(what, "panel")
    if (occurrence is None) == (panel is None):
        _malformed("give one of 'occurrence' and 'panel'")
    until, within = _nanoseconds(what, "until"), _nanoseconds(what, "within")
    if until is not None and within is not None:
        _malformed("give 'until' or 'within', not both")
    act = _choice(what, "act", Act) if what.get("act") is not None else None
    return Acknowledge(occurrence, panel, act, until, within)


def _looked(what: Mapping[str, Scalar]) -> Looked:
    _only(what, ("panel", "level"))
    panel = _optional_text(what, "panel")
    if panel is None:
        _malformed("'panel' is missing")
    return Looked(panel, _choice(what, "level", Level) is Level.NORMAL)


def _only(body: Mapping[str, object], known: tuple[str, ...]) -> None:
    odd = [key for key in body if key not in known]
    if odd:
        _malformed(f"'{_shortened(odd[0])}' is not a key here; keys: {', '.join(known)}")


def _optional_text(what: Mapping[str, Scalar], key: str) -> str | None:
    value = what.get(key)
    return None if value is None else _text(value, key)


def _nanoseconds(what: Mapping[str, Scalar], key: str) -> int | None:
    value = what.get(key)
    if value is not None and (type(value) is not int or value < 0):
        _malformed(f"'{key}' must be a whole number of nanoseconds")
    return value


def _choice(what: Mapping[str, Scalar], key: str, choices: type[Choice]) -> Choice:
    value = what.get(key)
    if value not in list(choices):
        _malformed(f"'{key}' must be one of: {', '.join(choices)}")
    return choices(str(value))


def _shortened(text: str, longest: int = 60) -> str:
    return text if len(text) <= longest else text[: longest - 3] + "..."
