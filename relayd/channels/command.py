"""A command as it comes from a broker: read strictly, or refused with what to send instead.

In: a payload, its retain flag, the ticket now in force, the plan. Out: what is asked, or a refusal.
Knows nothing of connections. A command may have waited at a broker for hours, may be retained and
come again, may be recorded and sent again: so it carries the ticket that this unit shows now,
which is made anew at every connection and after every accepted command.
"""

import json
import re
from dataclasses import dataclass

from relayd.core.events import Acknowledge, Act, HornWire, Wire
from relayd.core.plan import HOUR, MINUTE, Plan

LONGEST = 4096
"""Bytes of a payload; a whole command needs less than 200."""
LONGEST_WITHIN = 24 * HOUR
KEYS = ("ticket", "occurrence", "person", "act", "within", "code")
CODED = ("ticket", "code", "act", "within")
"""What may stand beside a code: it names occurrence and person itself."""
ACKNOWLEDGE, HORN_WIRE = "acknowledge", "horn-wire"
KINDS = {
    ACKNOWLEDGE: (KEYS, KEYS[:3]),
    HORN_WIRE: (("ticket", "panel", "person", "wire"),) * 2,
}
"""What may be asked for -> the keys that it may have, and those that it needs. Nothing else ever:
a broker is no place to put alarms aside."""
_WITHIN = re.compile(r"([1-9][0-9]{0,3}) ?(min|h)")
_CODE = re.compile(r"[A-Za-z0-9]{8}")
_ID = r"[a-z0-9]+(?:-[a-z0-9]+)*"
_OCCURRENCE = re.compile(rf"{_ID}\.{_ID}\.[1-9][0-9]{{0,17}}")


@dataclass(frozen=True, slots=True)
class Asked:
    """A command that may be handed to the core, and who asks.

    Where it carries a code, that tells who asks, and about which occurrence: then neither is named.
    """

    command: Acknowledge | HornWire
    person: str
    code: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """Why nothing is done: one word, and a sentence that says what to send."""

    code: str
    say: str


class _Repeated(ValueError):
    """A key came twice."""


def read(
    payload: bytes, retained: bool, ticket: str, plan: Plan, kind: str = ACKNOWLEDGE
) -> Asked | Refused:
    """What `payload` asks for, of that kind; nothing in it can raise."""
    if not plan.remote_commands:
        say = "commands over MQTT are off in the plan; acknowledge on the unit or on its page"
        return Refused("off", say)
    if retained:
        clear = "send it without the retain flag, and clear the retained one with an empty payload"
        return Refused(
            "retained", f"a retained command would come again at every connection: {clear}"
        )
    if len(payload) > LONGEST:
        return Refused("too-long", f"at most {LONGEST} bytes. {_example(plan, kind)}")
    fields = _fields(payload, plan, kind)
    if not isinstance(fields, Refused):
        fields = _current(fields, ticket, plan) or fields
    if isinstance(fields, Refused):
        return fields
    return _asked(fields, plan) if kind == ACKNOWLEDGE else _wire(fields, plan)


def _fields(payload: bytes, plan: Plan, kind: str) -> dict[str, str] | Refused:
    try:
        found = json.loads(payload.decode("utf-8"), object_pairs_hook=_once)
    except _Repeated as repeated:
        return Refused("repeated-key", f"{repeated} comes twice. {_example(plan, kind)}")
    except (ValueError, RecursionError):
        return Refused("not-json", f"this is not a JSON object. {_example(plan, kind)}")
    if not isinstance(found, dict):
        return Refused("not-an-object", f"a command names what and who. {_example(plan, kind)}")
    known, needed = KINDS[kind]
    unknown = [key for key in found if key not in known]
    if unknown:
        keys = ", ".join(known)
        return Refused(
            "unknown-key", f"{_shown(unknown[0])} is not one of {keys}. {_example(plan, kind)}"
        )
    if "code" in found:
        needed = CODED[:2]
        if beside := [key for key in found if key not in CODED]:
            say = f"a code names occurrence and person itself: leave out {beside[0]}"
            return Refused("too-many-keys", f"{say}. {_example(plan, kind)}")
    missing = [key for key in needed if key not in found]
    if missing:
        return Refused("missing-key", f"{missing[0]} is missing. {_example(plan, kind)}")
    wrong = [key for key, value in found.items() if not isinstance(value, str)]
    if wrong:
        return Refused("wrong-type", f"{wrong[0]} must be text in quotes. {_example(plan, kind)}")
    return found


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for key, value in pairs:
        if key in found:
            raise _Repeated(_shown(key))
        found[key] = value
    return found


def _current(fields: dict[str, str], ticket: str, plan: Plan) -> Refused | None:
    """Why a command is not of now, or of nobody."""
    if fields["ticket"] != ticket:
        say = (
            "the ticket is not the one shown now: this command is old, or another one came before."
            f" Look whether it is still wanted, then send it with the ticket {ticket}"
        )
        return Refused("old-ticket", say)
    if "code" not in fields and fields["person"] not in plan.people:
        people = ", ".join(plan.people)
        return Refused("unknown-person", f"{_shown(fields['person'])} is none of {people}")
    return None


def _wire(fields: dict[str, str], plan: Plan) -> Asked | Refused:
    if fields["panel"] not in plan.panels:
        panels = ", ".join(plan.panels)
        return Refused("unknown-panel", f"{_shown(fields['panel'])} is none of {panels}")
    if fields["wire"] not in tuple(Wire):
        return Refused("bad-wire", f"wire must be {' or '.join(Wire)}")
    return Asked(HornWire(fields["panel"], Wire(fields["wire"])), fields["person"])


def _asked(fields: dict[str, str], plan: Plan) -> Asked | Refused:
    if "code" in fields:
        if not _CODE.fullmatch(fields["code"]):
            return Refused("bad-code", "code must be the 8 letters and digits that a message shows")
        return _timed(fields)
    if not _OCCURRENCE.fullmatch(fields["occurrence"]):
        say = f"occurrence must be as shown by the alarm, like {plan.unit}.k7.12"
        return Refused("bad-occurrence", say)
    if not fields["occurrence"].startswith(f"{plan.unit}."):
        return Refused(
            "other-unit", f"that occurrence is not of {plan.unit}: send it to its own unit"
        )
    return _timed(fields)


def _timed(fields: dict[str, str]) -> Asked | Refused:
    act = fields.get("act")
    if act is not None and act not in tuple(Act):
        return Refused("bad-act", f"act must be {' or '.join(Act)}, or be left out")
    within = None
    if "within" in fields:
        within = _duration(fields["within"])
        if within is None:
            return Refused("bad-within", 'within must be like "45 min" or "2 h", at most 24 h')
        if act == Act.SEEN:
            say = 'within goes with "act": "taken": who has only seen it promises no time'
            return Refused("bad-within", say)
    kind = None if act is None else Act(act)
    acknowledge = Acknowledge(occurrence=fields.get("occurrence"), act=kind, within=within)
    return Asked(acknowledge, fields.get("person", ""), fields.get("code", ""))


def _duration(text: str) -> int | None:
    found = _WITHIN.fullmatch(text)
    if found is None:
        return None
    length = int(found[1]) * (MINUTE if found[2] == "min" else HOUR)
    return length if length <= LONGEST_WITHIN else None


def _example(plan: Plan, kind: str) -> str:
    person = next(iter(plan.people), "anna")
    panel = next(iter(plan.panels), "cabin")
    pairs = {"ticket": "(as shown)", "occurrence": f"{plan.unit}.k7.12", "person": person}
    if kind == HORN_WIRE:
        pairs = {"ticket": "(as shown)", "panel": panel, "person": person, "wire": "off"}
    return f"Send, for example: {json.dumps(pairs)}"


def _shown(text: str) -> str:
    """Foreign text, made harmless: one short line of plain characters."""
    return ascii(text if len(text) <= 40 else text[:37] + "...")
