"""[[mqtt.announce]]: topics of the site's own, for hubs that learn of devices in a way of their own.

In: the tables, the plan made of them. Out: every message with its names filled in, and problems.
Opens no file. A template is `$name` text, as the site's own words are; within a payload that is
JSON each value is written as JSON text is.
"""

import json
from collections.abc import Callable, Iterator, Mapping
from string import Template

from relayd.core import conditions
from relayd.core.draft import UNIT
from relayd.core.plan import Input, Panel, Plan
from relayd.core.saying import sentences
from relayd.rig import FIRST, Announcement
from relayd.settings import brokers
from relayd.settings.schema import PlanTable, sure
from relayd.settings.schema_mqtt import AnnounceTable
from relayd.settings.values import Per
from relayd.words import Loc, Problem, did_you_mean, one_of, quoted

LONGEST_TOPIC = 200
"""Bytes of a topic; MQTT itself allows 65,535, and many a hub far fewer (common practice, no source)."""
ROOT = "homie/5"
Values = Mapping[str, str]


def made(tables: PlanTable, plan: Plan) -> tuple[tuple[Announcement, ...], list[Problem]]:
    """Every announcement of this plan, and what is wrong with the templates."""
    found: dict[tuple[str, str], Announcement] = {}
    wrong: list[Problem] = []
    names = [each.name for each in brokers.places(tables)]
    for number, table in enumerate(tables.mqtt.announce or [] if tables.mqtt else []):
        loc: Loc = ("mqtt", "announce", number)
        problems = [*_templates(table, loc), *_broker(table, names, loc)]
        for values in _all(plan, table) if not problems else ():
            each = _filled(table, values)
            problems += _unfit(each, plan, loc)
            for on in names if each.on == brokers.ALL else [each.on]:
                if found.setdefault((on, each.topic), each) is not each:
                    say = (
                        f"{quoted(each.topic)} is announced twice to {on}; put an id into the topic"
                    )
                    problems.append(Problem((*loc, "topic"), say))
        wrong += list(dict.fromkeys(problems))[:3]
    return tuple(dict.fromkeys(found.values())), wrong


def _broker(table: AnnounceTable, names: list[str], loc: Loc) -> Iterator[Problem]:
    on = table.on or FIRST
    if on not in (*names, brokers.ALL):
        known = [*names, brokers.ALL]
        say = f"there is no broker {quoted(on)}; {one_of(known)}{did_you_mean(on, known)}"
        yield Problem((*loc, "on"), say)


def _templates(table: AnnounceTable, loc: Loc) -> Iterator[Problem]:
    """What is wrong with a template before anything is filled in."""
    known = sorted(_NAMES[sure(table.per)])
    for key, text in (("topic", sure(table.topic)), ("payload", sure(table.payload))):
        template = Template(text)
        if not template.is_valid():
            yield Problem(
                (*loc, key), "holds a '$' that begins no name (write '$$' for a dollar sign)"
            )
            continue
        for odd in sorted(set(template.get_identifiers()) - set(known)):
            names = ", ".join(f"${each}" for each in known)
            say = f"names ${odd}; for each {sure(table.per).value} there are {names}"
            yield Problem((*loc, key), f"{say}{did_you_mean(odd, known, '')}")


def _filled(table: AnnounceTable, values: Values) -> Announcement:
    payload = sure(table.payload)
    is_json = payload.lstrip()[:1] in ("{", "[")
    inside = {key: json.dumps(text)[1:-1] for key, text in values.items()} if is_json else values
    return Announcement(
        Template(sure(table.topic)).substitute(values),
        Template(payload).substitute(inside),
        table.retain is not False,
        table.on or FIRST,
    )


def _unfit(each: Announcement, plan: Plan, loc: Loc) -> Iterator[Problem]:
    """What is wrong with a message as it would be sent."""
    topic, shown = each.topic, quoted(each.topic)
    if not topic or any(char in topic for char in "+#\0") or not topic.isprintable():
        say = f"{shown} is no topic to publish to: no '+', no '#', and not empty"
        yield Problem((*loc, "topic"), say)
    if topic.startswith("$"):
        yield Problem((*loc, "topic"), f"{shown} belongs to the broker: begin with another letter")
    if len(topic.encode()) > LONGEST_TOPIC:
        yield Problem((*loc, "topic"), f"{shown} is longer than {LONGEST_TOPIC} bytes; shorten it")
    if f"{topic}/".startswith((f"{ROOT}/", f"relayd/{plan.unit}/")):
        yield Problem((*loc, "topic"), f"{shown} is within this unit's own topics; choose another")
    if not each.payload.strip():
        say = f"is empty for {shown}, and an empty payload clears a topic; add a word of your own"
        yield Problem((*loc, "payload"), say)
    if each.payload.lstrip()[:1] in ("{", "["):
        try:
            json.loads(each.payload)
        except ValueError as error:
            say = f"begins as JSON does and is none: {error}; mend it, or begin it otherwise"
            yield Problem((*loc, "payload"), say)


# ---- what there is to announce ----------------------------------------------------------------


def _all(plan: Plan, table: AnnounceTable) -> Iterator[Values]:
    return _EACH[sure(table.per)](plan)


def _unit(plan: Plan) -> dict[str, str]:
    return {"unit": plan.unit, "unit_name": plan.unit_name, "base": f"{ROOT}/{plan.unit}"}


def _panel(plan: Plan, panel: Panel) -> dict[str, str]:
    device = f"{ROOT}/{plan.unit}-{panel.id}"
    named = {"panel": panel.id, "panel_name": panel.name, "where": panel.where}
    return {**_unit(plan), **named, "device": device}


def _places(plan: Plan) -> Iterator[tuple[Panel | None, dict[str, str]]]:
    """Every panel, then the unit for what is its own: `unit` is no panel's id."""
    for each in plan.panels.values():
        yield each, _panel(plan, each)
    own = {"panel": UNIT, "panel_name": plan.unit_name, "where": ""}
    yield None, {**_unit(plan), **own, "device": f"{ROOT}/{plan.unit}"}


def _panels(plan: Plan) -> Iterator[Values]:
    for each in plan.panels.values():
        yield _panel(plan, each)


def _alarms(plan: Plan) -> Iterator[Values]:
    for panel, values in _places(plan):
        for each in conditions.of_panel(panel) if panel else conditions.of_unit(plan):
            node = f"{values['device']}/alarm-{each}"
            yield {**values, "condition": each, "name": sentences.name(each, panel), "node": node}


def _inputs(plan: Plan) -> Iterator[Values]:
    for panel, values in _places(plan):
        for each in panel.inputs if panel else plan.inputs:
            yield {**values, **_input(each, values["device"])}


def _input(spec: Input, device: str) -> dict[str, str]:
    name = spec.id.partition(".")[2]
    told = {"contact": f"{device}/inputs/{name}", "fact": f"{device}/facts/{name}"}
    return {"input": name, "means": spec.means.value, **told}


_EACH: Mapping[Per, Callable[[Plan], Iterator[Values]]] = {
    Per.UNIT: lambda plan: iter([_unit(plan)]),
    Per.PANEL: _panels,
    Per.ALARM: _alarms,
    Per.INPUT: _inputs,
}
_OF_UNIT = frozenset({"unit", "unit_name", "base"})
_OF_PANEL = _OF_UNIT | {"panel", "panel_name", "where", "device"}
_NAMES: Mapping[Per, frozenset[str]] = {
    Per.UNIT: _OF_UNIT,
    Per.PANEL: _OF_PANEL,
    Per.ALARM: _OF_PANEL | {"condition", "name", "node"},
    Per.INPUT: _OF_PANEL | {"input", "means", "contact", "fact"},
}
"""The names that a template may hold, by what it is made for."""
