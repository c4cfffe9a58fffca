"""The brokers of a plan: [mqtt] and each [[mqtt.also]], their files, rules, doubts, and what is made of them.

In: the tables, the credentials folder. Out: problems and doubts, one for each that is wrong, and
the brokers for the rig; one whose files cannot be used is left out (only a forgiving load lets a
plan come so far).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from relayd.rig import FIRST, Broker, Secret
from relayd.settings import certificates
from relayd.settings.checks import Lines, twice
from relayd.settings.schema import PlanTable, sure
from relayd.settings.schema_mqtt import BrokerTable
from relayd.settings.values import Transport, Version
from relayd.words import Loc, Problem, quoted

LOOPBACK = ("localhost", "127.0.0.1", "::1")
ALL = "all"
"""Where an announcement names no single broker: none may be called so."""
PATH = "/mqtt"


@dataclass(frozen=True, slots=True)
class Place:
    """One broker's table, its name, and where it stands in the file."""

    loc: Loc
    name: str
    table: BrokerTable


def places(plan: PlanTable) -> Iterator[Place]:
    """The first broker, then the others; a name that was refused is ''."""
    if plan.mqtt is None:
        return
    yield Place((FIRST,), FIRST, plan.mqtt)
    for n, each in enumerate(plan.mqtt.also or []):
        yield Place((FIRST, "also", n), each.name or "", each)


# ---- rules ------------------------------------------------------------------------------------


def problems(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    """What must hold between the values of the brokers' tables."""
    for each in places(plan):
        yield from _whole(each)
    yield from _names(plan, line)
    yield from _one_each(plan, line)


def _whole(place: Place) -> Iterator[Problem]:
    table, loc = place.table, place.loc
    if table.host is None:
        what = "is missing; the broker's host name or address"
        why = ": commands = true needs a broker that brings them" if table.commands else ""
        yield Problem((*loc, "host"), what + why)
    if table.password_from is not None and table.user is None:
        yield Problem((*loc, "user"), "is missing; password_from is the password of a user")
    if table.certificate is not None and table.key_from is None:
        yield Problem((*loc, "key_from"), "is missing; the key that fits the certificate")
    if table.key_from is not None and table.certificate is None:
        yield Problem((*loc, "certificate"), "is missing; key_from is the key of a certificate")
    if table.path is not None and table.transport is not Transport.WEBSOCKETS:
        yield Problem(
            (*loc, "path"), 'goes with transport = "websockets"; take it out, or write that'
        )


def _names(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    others = [each for each in places(plan) if each.loc != (FIRST,)]
    for each in others:
        if each.name in (FIRST, ALL):
            what = "the broker of [mqtt]" if each.name == FIRST else "every broker at once"
            yield Problem(
                (*each.loc, "name"), f"is {quoted(each.name)}, and that is {what}; another"
            )
    locs = [(*each.loc, "name") for each in others]
    names = [each.name or None for each in others]
    yield from twice(names, locs, "each broker needs a name of its own", line)


def _one_each(plan: PlanTable, line: Lines) -> Iterator[Problem]:
    """No broker twice: both connections would take this unit's name from each other, for ever."""
    first: dict[tuple[str, int], Loc] = {}
    for each in places(plan):
        if each.table.host is None:
            continue
        key = each.table.host.lower(), port(each.table)
        if key in first:
            say = f"the same broker stands on line {line(first[key])}; each broker once"
            yield Problem((*each.loc, "host"), say)
        first.setdefault(key, (*each.loc, "host"))


# ---- files ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Papers:
    """What a broker's table names and others hold: the password, and the file of the key."""

    password: Secret | None = None
    key: Path | None = None


def file_problems(place: Place) -> Iterator[Problem]:
    """What is wrong with the file of the authority."""
    if place.table.ca is not None and (why := certificates.authority(Path(place.table.ca))):
        yield Problem((*place.loc, "ca"), why)


def key_problems(place: Place, key: Path, wall: int) -> tuple[list[Problem], list[Problem]]:
    """What is wrong with certificate and key, and what is doubtful, in two lists."""
    if why := certificates.open_to_all(key):
        return [Problem((*place.loc, "key_from"), why)], []
    if place.table.certificate is None:
        return [], []
    try:
        doubt = certificates.pair(Path(place.table.certificate), key, wall)
    except certificates.Unusable as error:
        return [Problem((*place.loc, error.key), error.why)], []
    return [], [Problem((*place.loc, "certificate"), doubt)] if doubt else []


# ---- doubts -----------------------------------------------------------------------------------


def doubts(place: Place) -> Iterator[Problem]:
    """What such a table may say, and should not without knowing what it costs."""
    table, loc = place.table, place.loc
    safe = secure(table) or table.host in LOOPBACK
    if table.commands and table.user is None and table.certificate is None:
        say = "without a user: whoever reaches the broker can acknowledge; give the unit a user"
        yield Problem((*loc, "commands"), say)
    if table.commands and not safe:
        say = "without tls: whoever is on the way can acknowledge; set tls = true"
        yield Problem((*loc, "commands"), say)
    if table.password_from is not None and not safe:
        yield Problem((*loc, "password_from"), "is sent in clear without tls; set tls = true")


# ---- what is made of them ---------------------------------------------------------------------


def secure(table: BrokerTable) -> bool:
    """Whether the table asks for TLS, in whichever way."""
    return bool(table.tls) or table.ca is not None or table.certificate is not None


def port(table: BrokerTable) -> int:
    """The port as given, else the usual one (MQTT's with IANA; RFC 6455, section 3, for websockets)."""
    if table.port is not None:
        return table.port
    if table.transport is Transport.WEBSOCKETS:
        return 443 if secure(table) else 80
    return 8883 if secure(table) else 1883


def built(
    plan: PlanTable, papers: dict[str, Papers], wrong: Sequence[Problem]
) -> tuple[Broker, ...]:
    """The brokers in their order, without those about which something is wrong."""
    return tuple(
        _broker(each, papers.get(each.name, Papers()))
        for each in places(plan)
        if not any(problem.loc[:-1] == each.loc for problem in wrong)
    )


def _broker(place: Place, papers: Papers) -> Broker:
    table = place.table
    return Broker(
        host=sure(table.host),
        port=port(table),
        version=(table.version or Version.FIVE).value,
        user=table.user or "",
        password=papers.password,
        tls=secure(table),
        ca=None if table.ca is None else Path(table.ca),
        name=place.name,
        certificate=None if table.certificate is None else Path(table.certificate),
        key=papers.key,
        transport=(table.transport or Transport.TCP).value,
        path=table.path or PATH,
        commands=bool(table.commands),
        stream=table.stream is not False,
    )
