"""A loaded plan as plain values for people and programs: nothing secret, times as the plan writes them."""

from dataclasses import fields, is_dataclass
from enum import Enum

from relayd.core.plan import Input, Panel, Plan
from relayd.rig import Broker, Rig, Secret
from relayd.words import spelt

_TIMES = {
    "close_time", "open_time", "release_hold", "on_delay", "off_delay",
    "settle", "settle_alarm", "window", "silence_time",
    "after", "repeat", "slow_after", "slow",
}  # fmt: skip


def described(plan: Plan, rig: Rig) -> dict[str, object]:
    """The plan and the rig; of an address only its scheme, of a password only whether there is one."""
    return {
        "unit": {
            "id": plan.unit,
            "name": plan.unit_name,
            "zone": plan.zone,
            "call_list": plan.call_list,
        },
        "poll": spelt(rig.poll),
        "panels": [_panel(each, rig) for each in plan.panels.values()],
        "persons": [
            {**_plain(each), "channels": _channels(each.channels, plan, rig)}
            for each in plan.people.values()
        ],
        "call_lists": [_plain(each) for each in plan.call_lists.values()],
        "mqtt": None if rig.broker is None else _broker(rig.broker, plan),
    }


def _panel(panel: Panel, rig: Rig) -> dict[str, object]:
    return {**_plain(panel), "inputs": [_input(each, rig) for each in panel.inputs]}


def _input(contact: Input, rig: Rig) -> dict[str, object]:
    line = next(each for each in rig.lines if each.input == contact.id)
    wired = {"chip": line.chip, "line": line.line, "pull": line.pull}
    return {**_plain(contact), **wired, "closed_when": "low" if line.closed_when_low else "high"}


def _channels(names: tuple[str, ...], plan: Plan, rig: Rig) -> list[dict[str, object]]:
    return [
        {"id": each, "scheme": _scheme(rig.addresses[each]), "short": each in plan.short_forms}
        for each in names
    ]


def _scheme(address: Secret) -> str:
    return address.reveal().partition("://")[0].lower()


def _broker(broker: Broker, plan: Plan) -> dict[str, object]:
    return {
        "host": broker.host,
        "port": broker.port,
        "version": broker.version,
        "user": broker.user,
        "password": "set" if broker.password is not None else "not set",
        "tls": broker.tls,
        "ca": None if broker.ca is None else str(broker.ca),
        "commands": plan.remote_commands,
    }


def _plain(value: object) -> dict[str, object]:
    """A dataclass as a dictionary of plain values."""
    if not is_dataclass(value):
        raise TypeError(f"not a dataclass: {type(value).__name__}")
    return {each.name: _value(each.name, getattr(value, each.name)) for each in fields(value)}


def _value(key: str, value: object) -> object:
    if isinstance(value, Enum):
        return value.value
    if key in _TIMES and isinstance(value, int):
        return spelt(value)
    if isinstance(value, tuple):
        return [_plain(each) if is_dataclass(each) else each for each in value]
    return value
