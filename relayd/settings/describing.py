"""A loaded plan as plain values for people and programs: nothing secret, times as the plan writes them."""

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum

from relayd.core.plan import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Hours,
    Input,
    Limit,
    OnCall,
    Panel,
    Person,
    Plan,
)
from relayd.rig import Broker, Mailbox, Rig, Secret, Supervision
from relayd.settings.calendars import EPOCH
from relayd.settings.moments import DAYS
from relayd.words import spelt

_TIMES = {
    "close_time", "open_time", "release_hold", "on_delay", "off_delay",
    "settle", "settle_alarm", "window", "silence_time", "reserve", "pump_down", "run_limit",
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
            "medium_list": plan.medium_list,
            "low_list": plan.low_list,
            "hours": plan.work,
            "medium_waits": plan.medium_waits,
            "empty": plan.empty,
            "inputs": [_input(each, rig) for each in plan.inputs],
        },
        "poll": spelt(rig.poll),
        "keep": {"days": rig.keep // DAY, "mebibytes": rig.keep_size >> 20},
        "panels": [_panel(each, rig) for each in plan.panels.values()],
        "persons": [_person(each, plan, rig) for each in plan.people.values()],
        "call_lists": [_plain(each) for each in plan.call_lists.values()],
        "on_call": [_on_call(each) for each in plan.on_call.values()],
        "hours": [_hours(each) for each in plan.hours.values()],
        "languages": {each: len(texts) for each, texts in plan.languages.items()},
        "texts": dict(plan.texts),
        "mqtt": [_broker(each) for each in rig.brokers],
        "mailbox": None if rig.mailbox is None else _mailbox(rig.mailbox),
        "announcements": [_plain(each) for each in rig.announcements],
        "supervision": _supervision(plan, rig.supervision),
    }


def clock(time_of_day: int) -> str:
    """A time of day as the plan writes it: "08:00"."""
    return f"{time_of_day // HOUR:02}:{time_of_day % HOUR // MINUTE:02}"


def _panel(panel: Panel, rig: Rig) -> dict[str, object]:
    again = {name: spelt(span) for name, span in panel.realarm.items()}
    inputs = [_input(each, rig) for each in panel.inputs]
    return {**_plain(panel), "realarm": again, "inputs": inputs}


def _input(contact: Input, rig: Rig) -> dict[str, object]:
    line = next(each for each in rig.lines if each.input == contact.id)
    wired = {"chip": line.chip, "line": line.line, "pull": line.pull}
    return {**_plain(contact), **wired, "closed_when": "low" if line.closed_when_low else "high"}


def _person(person: Person, plan: Plan, rig: Rig) -> dict[str, object]:
    awake = [clock(each) for each in person.waking]
    channels = _channels(person.channels, plan, rig)
    return {**_plain(person), "waking": awake, "channels": channels}


def _channels(names: Iterable[str], plan: Plan, rig: Rig) -> list[dict[str, object]]:
    return [
        {
            "id": each,
            "scheme": _scheme(rig.addresses[each]),
            "short": each in plan.short_forms,
            "wakes": each in plan.wakes,
            "answers": each in plan.answers,
            "least": plan.least[each].value if each in plan.least else "low",
            "at_most": _limit(plan.at_most.get(each)),
        }
        for each in names
    ]


def _limit(limit: Limit | None) -> str:
    """How much the service takes, in words; '' where no limit is known."""
    return f"{limit.count} in {spelt(limit.span)}" if limit else ""


def _on_call(schedule: OnCall) -> dict[str, object]:
    turns = [{"begins": _utc(each.begins), "person": each.person} for each in schedule.turns]
    return {"id": schedule.id, "turns": turns}


def _utc(instant: int) -> str:
    return datetime.fromtimestamp(instant // SECOND, UTC).isoformat()


def _hours(hours: Hours) -> dict[str, object]:
    return {
        "id": hours.id,
        "days": {DAYS[day]: [clock(each) for each in span] for day, span in hours.days.items()},
        "holidays": [str(EPOCH + timedelta(days=each)) for each in sorted(hours.holidays)],
    }


def _scheme(address: Secret) -> str:
    return address.reveal().partition("://")[0].lower()


def _broker(broker: Broker) -> dict[str, object]:
    return {
        "name": broker.name,
        "host": broker.host,
        "port": broker.port,
        "version": broker.version,
        "user": broker.user,
        "password": "set" if broker.password is not None else "not set",
        "tls": broker.tls,
        "ca": None if broker.ca is None else str(broker.ca),
        "certificate": None if broker.certificate is None else str(broker.certificate),
        "key": "set" if broker.key is not None else "not set",
        "transport": broker.transport,
        "path": broker.path if broker.transport == "websockets" else "",
        "commands": broker.commands,
        "stream": broker.stream,
    }


def _mailbox(box: Mailbox) -> dict[str, object]:
    return {
        "host": box.host,
        "port": box.port,
        "secure": box.secure,
        "user": box.user,
        "password": "set",
        "ca": None if box.ca is None else str(box.ca),
        "folder": box.folder,
        "answers_from": {person: len(own) for person, own in box.senders.items()},
    }


def _supervision(plan: Plan, rig: Supervision) -> dict[str, object]:
    well, visited = plan.all_well, rig.dead_man
    return {
        "heartbeat": spelt(rig.heartbeat),
        "peers": [
            {"id": each.id, "name": plan.peers[each.id], "grace": spelt(each.grace)}
            for each in rig.peers
        ],
        "dead_man": None
        if visited is None
        else {
            "address": "set",
            "every": spelt(visited.every),
            "grace": spelt(visited.grace),
            "ca": None if visited.ca is None else str(visited.ca),
        },
        "all_well": None
        if well is None
        else {"day": DAYS[well.day], "at": clock(well.at), "keeper": well.keeper},
    }


def _plain(value: object) -> dict[str, object]:
    """A dataclass as a dictionary of plain values; not what was worked out from the others."""
    if not is_dataclass(value):
        raise TypeError(f"not a dataclass: {type(value).__name__}")
    given = (each.name for each in fields(value) if each.compare)
    return {name: _value(name, getattr(value, name)) for name in given}


def _value(key: str, value: object) -> object:
    if isinstance(value, Enum):
        return value.value
    if key in _TIMES and isinstance(value, int):
        return spelt(value)
    if isinstance(value, tuple):
        return [_plain(each) if is_dataclass(each) else _value("", each) for each in value]
    return dict(value) if isinstance(value, Mapping) else value
