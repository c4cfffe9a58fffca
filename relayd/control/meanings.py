"""What a request of the control socket means: its values, read strictly, as a command of the core.

In: a request whose form is right. Out: a command, or a refusal that says what is wrong. Knows no
socket and no plan. The keys of "with" (a name in brackets may be left out):

    acknowledge     occurrence or panel; [act] seen or taken; [until] or [within]
    looked          panel; level: normal or high
    shelve          panel, condition; until or within; [why]
    unshelve        panel, condition
    out-of-service  panel, [condition]; until or within; [why]
    in-service      panel, [condition]
    reset           panel, [condition]
    horn-wire       panel; wire: off or back; [why]
    put-off         panel, key; until or within; why
    settled         panel, key
    visit           panel; stage: begin, extend or end; [within]; at the end [left], [why]
    away            person; until or within; [stand-in]
    back            person

`until` is UTC in nanoseconds since 1970, `within` nanoseconds from now, `left` a list of texts.
"""

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TypeVar

from relayd.control.wire import Refusal, Request, Value, malformed, only, text
from relayd.core.events import (
    Acknowledge,
    Act,
    AtPanel,
    ComeBack,
    Command,
    GoAway,
    HornWire,
    InService,
    Looked,
    OutOfService,
    PutOff,
    Reset,
    Settled,
    Shelve,
    Stage,
    Unshelve,
    Wire,
)

Values = Mapping[str, Value]
Choice = TypeVar("Choice", bound=StrEnum)


class Level(StrEnum):
    """What a person at the panel says of the water."""

    NORMAL = "normal"
    HIGH = "high"


def command(asked: Request) -> Command:
    """The command that a request means. Raises Refusal where its values do not fit."""
    try:
        return _MEANS[asked.do](asked.what)
    except Refusal as refusal:
        raise Refusal(refusal.code, refusal.say, asked.id) from None


def _acknowledge(what: Values) -> Command:
    only(what, ("occurrence", "panel", "act", "until", "within"))
    occurrence, panel = _optional(what, "occurrence"), _optional(what, "panel")
    if (occurrence is None) == (panel is None):
        malformed("give one of 'occurrence' and 'panel'")
    act = _choice(what, "act", Act) if what.get("act") is not None else None
    return Acknowledge(occurrence, panel, act, *_end(what))


def _looked(what: Values) -> Command:
    only(what, ("panel", "level"))
    return Looked(_needed(what, "panel"), _choice(what, "level", Level) is Level.NORMAL)


def _shelve(what: Values) -> Command:
    only(what, ("panel", "condition", "until", "within", "why"))
    panel, condition = _needed(what, "panel"), _needed(what, "condition")
    return Shelve(panel, condition, *_end(what), _or_blank(what, "why"))


def _unshelve(what: Values) -> Command:
    only(what, ("panel", "condition"))
    return Unshelve(_needed(what, "panel"), _needed(what, "condition"))


def _out_of_service(what: Values) -> Command:
    only(what, ("panel", "condition", "until", "within", "why"))
    panel, condition = _needed(what, "panel"), _or_blank(what, "condition")
    return OutOfService(panel, condition, *_end(what), _or_blank(what, "why"))


def _in_service(what: Values) -> Command:
    only(what, ("panel", "condition"))
    return InService(_needed(what, "panel"), _or_blank(what, "condition"))


def _reset(what: Values) -> Command:
    only(what, ("panel", "condition"))
    return Reset(_needed(what, "panel"), _or_blank(what, "condition"))


def _horn_wire(what: Values) -> Command:
    only(what, ("panel", "wire", "why"))
    return HornWire(_needed(what, "panel"), _choice(what, "wire", Wire), _or_blank(what, "why"))


def _put_off(what: Values) -> Command:
    only(what, ("panel", "key", "until", "within", "why"))
    panel, key = _needed(what, "panel"), _needed(what, "key")
    return PutOff(panel, key, *_end(what), _or_blank(what, "why"))


def _settled(what: Values) -> Command:
    only(what, ("panel", "key"))
    return Settled(_needed(what, "panel"), _needed(what, "key"))


def _visit(what: Values) -> Command:
    only(what, ("panel", "stage", "within", "left", "why"))
    panel, stage = _needed(what, "panel"), _choice(what, "stage", Stage)
    within, left, why = _nanoseconds(what, "within"), _texts(what, "left"), _or_blank(what, "why")
    if stage is Stage.END and within is not None:
        malformed("'within' goes with 'begin' and 'extend': an end is now")
    if stage is not Stage.END and (left or why):
        malformed("'left' and 'why' go with 'end'")
    return AtPanel(panel, stage, within, left, why)


def _away(what: Values) -> Command:
    only(what, ("person", "until", "within", "stand-in"))
    return GoAway(_needed(what, "person"), *_end(what), _or_blank(what, "stand-in"))


def _back(what: Values) -> Command:
    only(what, ("person",))
    return ComeBack(_needed(what, "person"))


_MEANS: dict[str, Callable[[Values], Command]] = {
    "acknowledge": _acknowledge,
    "looked": _looked,
    "shelve": _shelve,
    "unshelve": _unshelve,
    "out-of-service": _out_of_service,
    "in-service": _in_service,
    "reset": _reset,
    "horn-wire": _horn_wire,
    "put-off": _put_off,
    "settled": _settled,
    "visit": _visit,
    "away": _away,
    "back": _back,
}


def _end(what: Values) -> tuple[int | None, int | None]:
    until, within = _nanoseconds(what, "until"), _nanoseconds(what, "within")
    if until is not None and within is not None:
        malformed("give 'until' or 'within', not both")
    return until, within


def _needed(what: Values, key: str) -> str:
    value = _optional(what, key)
    if not value:
        malformed(f"'{key}' is missing")
    return value


def _or_blank(what: Values, key: str) -> str:
    return _optional(what, key) or ""


def _optional(what: Values, key: str) -> str | None:
    value = what.get(key)
    return None if value is None else text(value, key)


def _texts(what: Values, key: str) -> tuple[str, ...]:
    value = what.get(key)
    if value is None:
        return ()
    if not isinstance(value, tuple):
        malformed(f"'{key}' must be a list of texts")
    return value


def _nanoseconds(what: Values, key: str) -> int | None:
    value = what.get(key)
    if value is None:
        return None
    if type(value) is not int or value < 0:
        malformed(f"'{key}' must be a whole number of nanoseconds")
    return value


def _choice(what: Values, key: str, choices: type[Choice]) -> Choice:
    value = what.get(key)
    if value not in list(choices):
        malformed(f"'{key}' must be one of: {', '.join(choices)}")
    return choices(str(value))
