"""What a line of the control socket may hold: JSON, one object a line, at most 64 KiB.

In: bytes from anybody. Out: a checked request, or a refusal that says what is wrong. Knows no
socket. A request:

    {"v":1,"id":7,"do":"acknowledge","with":{"panel":"creek-1"},"by":"anna"}

Its answer is {"id":7,"ok":{...}} or {"id":7,"no":{"code":"not-active","say":"..."}}. After
"follow" events come as lines without an id; {"end":{"code":"...","say":"..."}} is the last one.
"with" holds texts, numbers, true, false, null, and for "left" a list of texts. What each request
means is in meanings.py (commands) and in relayd/core/showing/view.py (status, why, who).
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NoReturn

VERSION = 1
LONGEST = 64 * 1024
"""Bytes of a line, its line end included, in both directions."""
LONGEST_TEXT = 200
"""Characters of one value."""
LISTS = ("left",)
"""Keys whose value may be a list of texts."""
LONGEST_LIST = 40
"""Texts in one."""

COMMANDS = (
    *("acknowledge", "looked", "shelve", "unshelve", "out-of-service", "in-service", "reset"),
    *("horn-wire", "put-off", "settled", "visit", "away", "back"),
)
"""Each is put into effect by the core; what it takes is in meanings.py."""
READS = ("status", "log", "why", "tree", "who", "backup-part")
ACTS = ("reload", "stop", "adopt", "backup")
FOLLOW = "follow"
_KEYS = ("v", "id", "do", "with", "by")

Value = str | int | float | bool | tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Request:
    """One request whose form is right; whether it makes sense is for others to say."""

    id: int
    do: str
    what: Mapping[str, Value]
    by: str | None


class Refusal(Exception):
    """Why a request is refused: one word, a sentence, and the request's id where it could be read."""

    def __init__(self, code: str, say: str, id: int | None = None) -> None:
        super().__init__(say)
        self.code = code
        self.say = say
        self.id = id


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
    return encode({"id": id, "no": {"code": code, "say": shortened(say, 4_000)}})


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


def malformed(say: str) -> NoReturn:
    """Refuse it for its form. Raises Refusal."""
    raise Refusal("malformed", say)


def _object(line: bytes) -> dict[str, object]:
    try:
        body = json.loads(line.decode("utf-8"), parse_constant=malformed)
    except (ValueError, RecursionError) as error:
        raise Refusal("malformed", f"not a line of JSON: {shortened(str(error), 80)}") from None
    if not isinstance(body, dict):
        malformed("a request is a JSON object in braces")
    return body


def _id(body: Mapping[str, object]) -> int:
    id = body.get("id")
    if type(id) is not int or not 0 <= id < 2**53:
        malformed("'id' must be a whole number from 0 to 2^53")
    return id


def _checked(body: Mapping[str, object], id: int) -> Request:
    if body.get("v") != VERSION or type(body["v"]) is not int:
        raise Refusal("version", f"'v' must be {VERSION}: this daemon speaks no other version")
    only(body, _KEYS)
    do = body.get("do")
    if not isinstance(do, str):
        malformed("'do' must say what is asked for")
    known = (*COMMANDS, *READS, *ACTS, FOLLOW)
    if do not in known:
        raise Refusal("unknown", f"'{shortened(do)}' is not known; known: {', '.join(known)}")
    what = body.get("with", {})
    if not isinstance(what, dict):
        malformed("'with' must be a JSON object in braces")
    by = body.get("by")
    return Request(id, do, _values(what), None if by is None else text(by, "by"))


def _values(what: Mapping[str, object]) -> dict[str, Value]:
    return {text(key, "a key of 'with'"): _value(value, key) for key, value in what.items()}


def _value(value: object, key: str) -> Value:
    if isinstance(value, str):
        return text(value, key)
    if isinstance(value, list) and key in LISTS:
        if len(value) > LONGEST_LIST:
            malformed(f"'{key}' may hold {LONGEST_LIST} texts at most")
        return tuple(text(each, f"each of '{key}'") for each in value)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, int | float) and abs(value) < 2**63:
        return value
    malformed(f"'{shortened(key)}' must be a text, a number, true, false or null")


def text(value: object, key: str) -> str:
    """The value as a text of one printable line. Raises Refusal."""
    if not isinstance(value, str) or not value.isprintable() or len(value) > LONGEST_TEXT:
        malformed(f"'{shortened(key)}' must be a text of at most {LONGEST_TEXT} characters")
    return value


def only(body: Mapping[str, object], known: tuple[str, ...]) -> None:
    """Let no other key pass. Raises Refusal."""
    odd = [key for key in body if key not in known]
    if odd:
        malformed(f"'{shortened(odd[0])}' is not a key here; keys: {', '.join(known)}")


def shortened(text: str, longest: int = 60) -> str:
    """The text, cut where it is longer than that."""
    return text if len(text) <= longest else text[: longest - 3] + "..."
